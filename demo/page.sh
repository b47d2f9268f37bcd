#!/usr/bin/env bash
# Draws the README's pictures of the page: the demo's brief on a desk, light and dark, and on a phone.
# Needs chromium and the program as built: demo/page.sh PROGRAM.
set -euo pipefail
program=$(realpath "$1")
cd "$(dirname "$0")/.."
work=$(mktemp -d)
"$program" demo --keep-running --dir "$work/demo" >/dev/null 2>"$work/log" &
demo=$!
trap 'kill "$demo" 2>/dev/null; wait "$demo" 2>/dev/null || true; rm -rf "$work"' EXIT
for _ in $(seq 300); do
  address=$("$program" -C "$work/demo" open --print 2>/dev/null) && break
  kill -0 "$demo" || { cat "$work/log" >&2; exit 1; }
  sleep 0.2
done
[ -n "${address:-}" ] || { cat "$work/log" >&2; exit 1; }
# The build is worked out once, and the pictures need not wait for it.
python3 - "${address}brief/media-room" <<'ASK'
import sys, urllib.request
urllib.request.urlopen(sys.argv[1], timeout=60).read()
ASK
flags="--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking
  --disable-component-update --disable-sync --hide-scrollbars --timeout=4000 --lang=en-GB"
# Windows have a least width, which is that of a wide phone.
picture() { # name, page, width and height, theme (0 is dark)
  # shellcheck disable=SC2086
  chromium $flags --user-data-dir="$work/profile" --blink-settings=preferredColorScheme="$4" \
    --window-size="$3" --screenshot="$PWD/demo/$1.png" "$address$2" 2>/dev/null
}
picture page-desk brief/media-room 1280,1000 1
picture page-desk-dark brief/media-room 1280,1000 0
picture page-phone brief/media-room 500,1000 1
