#!/usr/bin/env bash
# Ten weeks of watching in one go, with faults of every kind and twenty kills; says how far it is and what
# it took. It is a release build: without, most of the time goes into checks of the compiler's. As root the
# ledger lies on a small tmpfs, which fills up now and then; otherwise that is left out.
#
#   tests/endurance.sh [DAYS]
set -euo pipefail
cd "$(dirname "$0")/.."
if [ "$(id -u)" = 0 ]; then
  RIGTIDE_ENDURANCE_DISK=$(mktemp -d)
  export RIGTIDE_ENDURANCE_DISK
  mount -t tmpfs -o size=256m tmpfs "$RIGTIDE_ENDURANCE_DISK"
  trap 'umount "$RIGTIDE_ENDURANCE_DISK"; rmdir "$RIGTIDE_ENDURANCE_DISK"' EXIT
else
  echo "not root: the disk does not fill up"
fi
RIGTIDE_ENDURANCE_DAYS=${1:-70} cargo test --locked --release --test suite -- --exact --nocapture \
  endurance::weeks_of_faults_and_kills_leave_every_decision_that_of_a_fresh_solve
