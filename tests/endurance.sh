#!/usr/bin/env bash
# Ten weeks of watching in one go, with faults of every kind and twenty kills; says what it took.
#
#   tests/endurance.sh [DAYS]
set -euo pipefail
cd "$(dirname "$0")/.."
RIGTIDE_ENDURANCE_DAYS=${1:-70} cargo test --locked --test suite -- --exact --nocapture \
  endurance::weeks_of_faults_and_kills_leave_every_decision_that_of_a_fresh_solve
