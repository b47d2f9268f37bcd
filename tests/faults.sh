#!/usr/bin/env bash
# The long form of tests/suite/faults.rs: kill -9 in ROUNDS rounds (200 unless told), then a disk
# that is really full, which needs root for a small tmpfs; without root that part is left out and
# said to be. ROUNDS=20 tests/faults.sh takes about a minute.
set -euo pipefail
cd "$(dirname "$0")/.."
export RIGTIDE_FAULT_ROUNDS="${ROUNDS:-200}"
cargo test --locked --test suite -- --nocapture faults::

if [ "$(id -u)" != 0 ]; then
    echo "not root: the test on a full disk is left out"
    exit 0
fi
cargo build --locked
program="$(cargo metadata --format-version 1 --no-deps | sed 's/.*"target_directory":"\([^"]*\)".*/\1/')/debug/rigtide"
place="$(mktemp -d)"
disk="$place/disk"
mkdir "$disk"
mount -t tmpfs -o size=2m tmpfs "$disk"
daemon=
finish() {
    [ -z "$daemon" ] || kill "$daemon" 2>/dev/null || true
    [ -z "$daemon" ] || wait "$daemon" 2>/dev/null || true
    umount "$disk"
    rm -rf "$place"
}
trap finish EXIT
"$program" init "$place/guides" >/dev/null
sed -i "s#^ledger = .*#ledger = \"$disk/ledger.sqlite\"#" "$place/guides/rigtide.toml"
# Every minute, so that polls fall due while the disk is full.
sed -i 's#"7 \* \* \* \*"#"* * * * *"#' "$place/guides/retailers/example.toml"
"$program" -C "$place/guides" poll >/dev/null
before="$("$program" -C "$place/guides" history askerune-fjell-26 --json)"
"$program" -C "$place/guides" watch 2>"$place/log" >/dev/null &
daemon=$!
sleep 3
dd if=/dev/zero of="$disk/fill" bs=4k 2>/dev/null || true
says() {
    for _ in $(seq 200); do
        if grep -q "$1" "$place/log"; then return 0; fi
        sleep 1
    done
    echo "the daemon never said: $1"
    cat "$place/log"
    exit 1
}
sed -i 's/,189.90,/,188.90,/' "$place/guides/retailers/example-offers.csv"
says "the ledger cannot be written"
kill -0 "$daemon"
[ "$(grep -c "the ledger cannot be written" "$place/log")" = 1 ]
"$program" -C "$place/guides" verify >/dev/null
rm "$disk/fill"
says "the ledger is written again"
"$program" -C "$place/guides" verify | tail -1
after="$("$program" -C "$place/guides" history askerune-fjell-26 --json)"
[ "$before" != "$after" ]
echo "a full disk: the daemon went on, told once, and stored what it had kept"
