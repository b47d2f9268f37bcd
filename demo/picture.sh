#!/usr/bin/env bash
# Draws the README's picture: what the demo prints, as an SVG of a terminal.
# Ports differ from run to run, so they are shown as PORT.
set -euo pipefail
cd "$(dirname "$0")/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cargo run --quiet --release -- demo --dir "$work/rigtide-demo" >"$work/out.txt"
sed -e "s#$work/##g" -e 's/127\.0\.0\.1:[0-9]*/127.0.0.1:PORT/g' "$work/out.txt" |
  demo/terminal.sh "What rigtide demo prints" >demo/demo.svg
