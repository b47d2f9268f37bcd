#!/usr/bin/env bash
# Holds every form of the guide against readers outside the project: html5lib (strict), commonmark,
# Python's csv, DuckDB, openpyxl, pyld, and axe-core in Chromium, light and dark, 360 to 1600 pixels
# wide, and pypdf for what Chromium prints. Their packages go into target/guide. Needs the program as built: tests/guide.sh PROGRAM.
set -euo pipefail
program=$(realpath "$1")
cd "$(dirname "$0")/.."
work=target/guide

skip() {
  echo "skipped: $1" >&2
  [ "${CI:-}" != true ]
  exit
}
python3 -c 'import venv, ensurepip' 2>/dev/null || skip "no python3 with venv, so no form of the guide is read"
wanted="html5lib==1.1 commonmark==0.9.1 PyLD==2.0.4 tinycss2==1.4.0 duckdb==2.0.1 openpyxl==3.1.5 pypdf==7.1.1"
if [ "$(cat "$work/versions" 2>/dev/null)" != "$wanted" ]; then
  rm -rf "$work"
  python3 -m venv "$work/venv"
  # shellcheck disable=SC2086
  "$work/venv/bin/pip" --quiet --disable-pip-version-check install $wanted
  echo "$wanted" >"$work/versions"
fi

rm -rf "$work/guides" "$work/out"
mkdir -p "$work/out"
"$program" init "$work/guides" >/dev/null
# A tag, so that the disclosure and paid links are looked at too.
sed -i '0,/^\[\[feed\]\]$/s//[link]\ntemplate = "https:\/\/go.example\/c?id={tag}\&item={sku}"\ntag = "author-1"\n\n&/' "$work/guides/retailers/example.toml"
# A second shop in another country that does not sell everything, and whose name is a formula.
sed -e 's/^country = "DE"/country = "AT"/; s/^name = .*/name = "=1+1"/; s/author-1/author-2/; s/example-offers/alpen-offers/' \
  "$work/guides/retailers/example.toml" >"$work/guides/retailers/alpen.toml"
grep -v '^EX-102' "$work/guides/retailers/example-offers.csv" >"$work/guides/retailers/alpen-offers.csv"
sed -i 's/^# countries = .*/countries = ["AT"]/' "$work/guides/briefs/example.toml"
"$program" -C "$work/guides" poll >/dev/null
# A measurement of the very build.
awk '{ print } /^id = "gaming-1080p"/ { seen = 1 } seen && /^reference/ { print "[[workload.test]]\ntest = \"Harrow Fields\"\nsetting = \"1080p high\""; seen = 0 }' \
  "$work/guides/catalogue/workloads.toml" >"$work/workloads.toml"
mv "$work/workloads.toml" "$work/guides/catalogue/workloads.toml"
# shellcheck disable=SC2046
"$program" -C "$work/guides" measure add $("$program" -C "$work/guides" best --json | python3 -c '
import json, sys
picks = json.load(sys.stdin)["picks"]
print(*[pick["part"] for pick in picks if pick["role"] in ("processor", "graphics")])') \
  --test "Harrow Fields" --setting "1080p high" --value 73.5 --unit frames/s \
  --temperature-c 68.5 --wall-w 260 --clock-mhz 2580 --voltage-v 0.95 --note "clock of the card" >/dev/null
for form in html:html markdown:md csv:csv json:json text:txt; do
  "$program" -C "$work/guides" guide --format "${form%:*}" --out "$work/out/guide.${form#*:}"
done
"$work/venv/bin/python" tests/reference/guide.py "$work/out"

# A browser and axe-core come from registries that a machine may not reach; without them the page is
# not looked at, and that is said.
unseen() {
  echo "skipped: $1, so the page is not looked at in a browser" >&2
  exit 0
}
if ! command -v chromium >/dev/null && [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
  { apt-get -qq update && apt-get -qq install -y --no-install-recommends chromium; } >/dev/null 2>&1 || true
fi
command -v chromium >/dev/null || unseen "no chromium"
command -v npm >/dev/null || unseen "no npm for axe-core"
if [ ! -e "$work/axe.min.js" ]; then
  (cd "$work" && npm pack --silent --ignore-scripts axe-core@4.10.3 >/dev/null) || unseen "no axe-core"
  (cd "$work" && tar -xzf axe-core-*.tgz package/axe.min.js)
  mv "$work/package/axe.min.js" "$work/axe.min.js"
fi
"$work/venv/bin/python" tests/reference/guide_in_browser.py "$work"
