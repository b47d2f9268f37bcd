#!/usr/bin/env bash
# Draws text as an SVG of a terminal: demo/terminal.sh LABEL <TEXT >SVG.
set -euo pipefail
label=$1 awk '
  { gsub(/&/, "\\&amp;"); gsub(/</, "\\&lt;"); gsub(/>/, "\\&gt;"); lines[NR] = substr($0, 1, 118) }
  END {
    height = NR * 17 + 36
    printf "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"900\" height=\"%d\" viewBox=\"0 0 900 %d\" role=\"img\" aria-label=\"%s\">\n", height, height, ENVIRON["label"]
    printf "<rect width=\"900\" height=\"%d\" rx=\"6\" fill=\"#f7f5f0\" stroke=\"#c9c3b4\"/>\n", height
    printf "<g font-family=\"monospace\" font-size=\"12.4\" fill=\"#262420\" xml:space=\"preserve\">\n"
    for (i = 1; i <= NR; i++) printf "<text x=\"18\" y=\"%d\">%s</text>\n", i * 17 + 14, lines[i]
    print "</g>\n</svg>"
  }'
