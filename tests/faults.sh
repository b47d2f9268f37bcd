#!/usr/bin/env bash
# The long form of tests/suite/faults.rs: kill -9 in ROUNDS rounds (200 unless told), then a disk that
# fills up at a random write of a poll, in a fifth as many rounds, or under a running daemon, and one that
# the kernel turns read-only under it. These need root, for a small tmpfs and an ext4 in a file; without it
# they are left out and said to be.
# ROUNDS=20 tests/faults.sh takes about two minutes.
set -euo pipefail
cd "$(dirname "$0")/.."
export RIGTIDE_FAULT_ROUNDS="${ROUNDS:-200}"
cargo test --locked --test suite -- --nocapture faults::

if [ "$(id -u)" != 0 ]; then
    echo "not root: the tests on a full and on a read-only disk are left out"
    exit 0
fi
cargo build --locked
program="$(cargo metadata --format-version 1 --no-deps | sed 's/.*"target_directory":"\([^"]*\)".*/\1/')/debug/rigtide"
place="$(mktemp -d)"
disk="$place/disk"
guides="$place/guides"
log="$place/log"
mkdir "$disk"
daemon=
finish() {
    stop
    ! mountpoint -q "$disk" || umount "$disk"
    rm -rf "$place"
}
stop() {
    [ -z "$daemon" ] || kill "$daemon" 2>/dev/null || true
    [ -z "$daemon" ] || wait "$daemon" 2>/dev/null || true
    daemon=
}
trap finish EXIT

# A ledger on the disk with its first poll, and a daemon that polls every minute.
begin() {
    rm -rf "$guides"
    "$program" init "$guides" >/dev/null
    sed -i "s#^ledger = .*#ledger = \"$disk/ledger.sqlite\"#" "$guides/rigtide.toml"
    sed -i 's#"7 \* \* \* \*"#"* * * * *"#' "$guides/retailers/example.toml"
    "$program" -C "$guides" poll >/dev/null
    before="$(past)"
    "$program" -C "$guides" watch 2>"$log" >/dev/null &
    daemon=$!
    sleep 3
}
# The prices of a part, one after another.
past() {
    "$program" -C "$guides" history askerune-fjell-26 --json | grep -o '"price_minor":[0-9]*'
}
says() {
    for _ in $(seq 200); do
        if grep -q "$1" "$log"; then return 0; fi
        sleep 1
    done
    echo "the daemon never said: $1"
    cat "$log"
    exit 1
}
# It lives, has said once that it cannot write, and what it had written before holds.
holds_on() {
    says "the ledger cannot be written"
    kill -0 "$daemon"
    [ "$(grep -c "the ledger cannot be written" "$log")" = 1 ]
    "$program" -C "$guides" verify | tail -1
    [ "$before" = "$(past)" ]
}
new_price() {
    sed -i 's/,189.90,/,188.90,/' "$guides/retailers/example-offers.csv"
}

mount -t tmpfs -o size=2m tmpfs "$disk"
begin
stop
full=0
stored=0
price=18990
for round in $(seq 1 "$((RIGTIDE_FAULT_ROUNDS / 5))"); do
    next=$((18000 + round))
    sed -i "s/,${price:0:3}\.${price:3},/,${next:0:3}.${next:3},/" "$guides/retailers/example-offers.csv"
    price=$next
    before="$(past)"
    free="$(df --output=avail -k "$disk" | tail -1)"
    left=$((RANDOM % 120))
    [ "$free" -le "$left" ] || dd if=/dev/zero of="$disk/fill" bs=1k count=$((free - left)) 2>/dev/null
    if "$program" -C "$guides" poll >/dev/null 2>"$place/refused"; then
        stored=$((stored + 1))
        rm -f "$disk/fill"
        [ "$before" != "$(past)" ]
    else
        full=$((full + 1))
        rm -f "$disk/fill"
        grep -q "no room to write\|cannot be read or written\|cannot be opened" "$place/refused"
        [ "$before" = "$(past)" ]
    fi
    "$program" -C "$guides" verify >/dev/null
done
[ "$full" -gt 0 ] && [ "$stored" -gt 0 ]
echo "a disk that filled up at a random write: $full polls were refused whole, $stored stored whole"
umount "$disk"

mount -t tmpfs -o size=2m tmpfs "$disk"
begin
dd if=/dev/zero of="$disk/fill" bs=4k 2>/dev/null || true
new_price
holds_on
rm "$disk/fill"
says "the ledger is written again"
"$program" -C "$guides" verify | tail -1
[ "$before" != "$(past)" ]
echo "a full disk: the daemon went on, told once, and stored what it had kept"
stop
umount "$disk"

# The kernel makes a file system read-only when it finds it damaged, though files are open to be
# written; asked for by hand, it refuses that.
truncate -s 16m "$place/image"
mkfs.ext4 -q -F "$place/image"
if ! mount -o loop,errors=remount-ro "$place/image" "$disk"; then
    echo "no loop devices: the test on a read-only disk is left out"
    exit 0
fi
begin
echo 1 >"/sys/fs/ext4/$(basename "$(findmnt -no SOURCE "$disk")")/trigger_fs_error"
sleep 1
! touch "$disk/probe" 2>/dev/null
new_price
holds_on
grep "the ledger cannot be written" "$log"
if "$program" -C "$guides" poll 2>"$place/refused"; then
    echo "a poll was stored on a read-only disk"
    exit 1
fi
cat "$place/refused"
stop
umount "$disk"
e2fsck -p "$place/image" >/dev/null || [ $? = 1 ]
mount -o loop "$place/image" "$disk"
"$program" -C "$guides" verify | tail -1
[ "$before" = "$(past)" ]
"$program" -C "$guides" poll >/dev/null
[ "$before" != "$(past)" ]
echo "a disk turned read-only: the daemon went on and told once, and what stood before stands"
