#!/usr/bin/env bash
# Draws the README's pictures of the page: the starter configuration's brief on a desk, light and dark, and
# on a phone. Needs chromium and the program as built: demo/page.sh PROGRAM.
set -euo pipefail
program=$(realpath "$1")
cd "$(dirname "$0")/.."
work=$(mktemp -d)
"$program" init "$work/guides" >/dev/null
printf '\n[web]\nlisten = "127.0.0.1:9477"\n' >>"$work/guides/rigtide.toml"
"$program" -C "$work/guides" watch 2>"$work/log" >/dev/null &
watch=$!
trap 'kill "$watch"; wait "$watch" 2>/dev/null || true; rm -rf "$work"' EXIT
"$program" -C "$work/guides" poll >/dev/null 2>&1 || true
sleep 3
flags="--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking
  --disable-component-update --disable-sync --hide-scrollbars --timeout=4000 --lang=en-GB"
# Windows have a least width, which is that of a wide phone.
picture() { # name, page, width and height, theme (0 is dark)
  # shellcheck disable=SC2086
  chromium $flags --user-data-dir="$work/profile" --blink-settings=preferredColorScheme="$4" \
    --window-size="$3" --screenshot="$PWD/demo/$1.png" "http://127.0.0.1:9477$2" 2>/dev/null
}
picture page-desk /brief/example 1280,1000 1
picture page-desk-dark /brief/example 1280,1000 0
picture page-phone /brief/example 500,1000 1
