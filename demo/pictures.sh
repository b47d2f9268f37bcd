#!/usr/bin/env bash
# Draws the README's pictures of the guide, the starter configuration's, as each form's readers see it: the
# page on a phone and on a desk, light and dark, and printed; the Markdown as CommonMark; the text in a
# terminal; the CSV in a spreadsheet. Needs chromium, pdftoppm (poppler-utils), soffice (LibreOffice Calc),
# python3 with venv, and the program as built: demo/pictures.sh PROGRAM.
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

# The first page of what a browser prints.
# shellcheck disable=SC2086
chromium $flags --user-data-dir="$work/profile" --no-pdf-header-footer --print-to-pdf="$work/guide.pdf" \
  "file://$work/guide.html" 2>/dev/null
pdftoppm -png -r 60 -singlefile "$work/guide.pdf" "$PWD/demo/guide-print"

python3 -m venv "$work/venv"
"$work/venv/bin/pip" --quiet --disable-pip-version-check install commonmark==0.9.1
"$program" -C "$work/guides" guide --format markdown --out "$work/guide.md"
{
  echo '<!DOCTYPE html><meta charset="utf-8"><style>body{max-width:46em;margin:2em auto;font:16px/1.5 sans-serif}</style>'
  "$work/venv/bin/python" -c 'import commonmark, sys; print(commonmark.commonmark(sys.stdin.read()))' <"$work/guide.md"
} >"$work/markdown.html"
picture guide-markdown markdown.html 900,1100 1

"$program" -C "$work/guides" guide --format text | head -n 44 >"$work/guide.txt"
demo/terminal.sh "The guide as text" <"$work/guide.txt" >demo/guide-text.svg

"$program" -C "$work/guides" guide --format csv --out "$work/guide.csv"
convert() { # file, form
  soffice -env:UserInstallation="file://$work/office" --headless --convert-to "$2" --outdir "$work" "$1" >/dev/null 2>&1
}
convert "$work/guide.csv" ods
convert "$work/guide.ods" 'pdf:calc_pdf_Export:{"SinglePageSheets":{"type":"boolean","value":"true"}}'
pdftoppm -png -r 80 -singlefile "$work/guide.pdf" "$PWD/demo/guide-sheet"
