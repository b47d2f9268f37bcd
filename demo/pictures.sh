#!/usr/bin/env bash
# Draws the README's pictures of the guide: the starter configuration's, on a phone and on a desk,
# light and dark. Needs chromium and the program as built: demo/pictures.sh PROGRAM.
set -euo pipefail
program=$(realpath "$1")
cd "$(dirname "$0")/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
"$program" init "$work/guides" >/dev/null
"$program" -C "$work/guides" poll >/dev/null
"$program" -C "$work/guides" guide --format html --out "$work/guide.html"
flags="--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking
  --disable-component-update --disable-sync --hide-scrollbars"
# Windows have a least width, so the phone's is a frame.
printf '<!DOCTYPE html><style>body{margin:0}iframe{border:0;width:390px;height:1500px}</style><iframe src="guide.html"></iframe>' >"$work/phone.html"
picture() { # name, page, width and height, theme (0 is dark)
  # shellcheck disable=SC2086
  chromium $flags --user-data-dir="$work/profile" --blink-settings=preferredColorScheme="$4" \
    --window-size="$3" --screenshot="$PWD/demo/$1.png" "file://$work/$2" 2>/dev/null
}
picture guide-desk guide.html 1100,1500 1
picture guide-desk-dark guide.html 1100,1500 0
picture guide-phone phone.html 390,1500 1
