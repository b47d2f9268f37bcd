#!/usr/bin/env bash
# Measures what a watch takes while it rests: resident memory after a first poll of 5,000 parts and
# 25,000 offers, and processor time within a minute. Needs Linux, python3 and a release build.
#
#   tests/idle.sh [PROGRAM [SECONDS]]
set -euo pipefail
cd "$(dirname "$0")/.."
program=${1:-target/release/rigtide}
seconds=${2:-60}
world=$(mktemp -d)
trap 'kill "${watch:-}" 2>/dev/null || true; rm -rf "$world"' EXIT

"$program" init "$world/guides" >/dev/null
python3 tests/idle.py "$world/guides"
"$program" -C "$world/guides" watch 2>"$world/log" &
watch=$!
for _ in $(seq 600); do
  grep -q "bulletin: " "$world/log" && break
  kill -0 "$watch" || { cat "$world/log" >&2; exit 1; }
  sleep 0.5
done
[ "$(grep -c " polled " "$world/log")" = 5 ] || { cat "$world/log" >&2; exit 1; }
sleep 5

# utime and stime in ticks, proc_pid_stat(5).
ticks() { sed 's/.*) //' "/proc/$watch/stat" | awk '{ print $12 + $13 }'; }
status() { awk -v key="$1:" '$1 == key { printf "%.1f", $2 / 1024 }' "/proc/$watch/status"; }
before=$(ticks)
sleep "$seconds"
after=$(ticks)
awk -v ticks=$((after - before)) -v hz="$(getconf CLK_TCK)" -v seconds="$seconds" \
  'BEGIN { printf "processor: %.3f %% of one core over %d s\n", 100 * ticks / hz / seconds, seconds }'
echo "resident: $(status VmRSS) MiB; peak: $(status VmHWM) MiB"
echo "of that anonymous: $(status RssAnon) MiB, of files: $(status RssFile) MiB"
