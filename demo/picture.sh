#!/usr/bin/env bash
# Draws the README's picture: what the demo prints, as an SVG of a terminal.
# Ports differ from run to run, so they are shown as PORT.
set -euo pipefail
cd "$(dirname "$0")/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cargo run --quiet --release -- demo --dir "$work/rigtide-demo" >"$work/out.txt"
sed -e "s#$work/##g" -e 's/127\.0\.0\.1:[0-9]*/127.0.0.1:PORT/g' "$work/out.txt" |
awk '
  { gsub(/&/, "\\&amp;"); gsub(/</, "\\&lt;"); gsub(/>/, "\\&gt;"); lines[NR] = substr($0, 1, 118) }
  END {
    height = NR * 17 + 36
    printf "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"900\" height=\"%d\" viewBox=\"0 0 900 %d\" role=\"img\" aria-label=\"What rigtide demo prints\">\n", height, height
    printf "<rect width=\"900\" height=\"%d\" rx=\"6\" fill=\"#f7f5f0\" stroke=\"#c9c3b4\"/>\n", height
    printf "<g font-family=\"monospace\" font-size=\"12.4\" fill=\"#262420\" xml:space=\"preserve\">\n"
    for (i = 1; i <= NR; i++) printf "<text x=\"18\" y=\"%d\">%s</text>\n", i * 17 + 14, lines[i]
    print "</g>\n</svg>"
  }' >demo/demo.svg
