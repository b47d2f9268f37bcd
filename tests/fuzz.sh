#!/bin/sh
# Fuzzes every reader of foreign text with so many inputs each, a million unless said otherwise:
#
#     tests/fuzz.sh [ROUNDS [SEED]]
#
# A failure prints the input. `cargo test` does a short run of the same.
set -eu
cd "$(dirname "$0")/.."
RIGTIDE_FUZZ_ROUNDS="${1:-1000000}" RIGTIDE_FUZZ_SEED="${2:-1}" \
    exec cargo test --release --test suite fuzz:: -- --nocapture
