#!/usr/bin/env bash
# Holds what the page gives to programs against its own description, by a tester outside the project:
# schemathesis asks a daemon on loopback thousands of questions made of the description, sensible and
# not, and looks at status, media type and schema of each answer. Its packages go into target/page_api.
# Needs the program as built: tests/page_api.sh PROGRAM.
set -euo pipefail
program=$(realpath "$1")
cd "$(dirname "$0")/.."
work=$PWD/target/page_api

skip() {
  echo "skipped: $1" >&2
  [ "${CI:-}" != true ]
  exit
}
python3 -c 'import venv, ensurepip' 2>/dev/null || skip "no python3 with venv, so nobody outside asks the page"
wanted="schemathesis==4.32.5"
if [ "$(cat "$work/versions" 2>/dev/null)" != "$wanted" ]; then
  rm -rf "$work"
  mkdir -p "$work"
  python3 -m venv "$work/venv"
  "$work/venv/bin/pip" --quiet --disable-pip-version-check install "$wanted" || skip "no $wanted to be had"
  echo "$wanted" >"$work/versions"
fi

rm -rf "$work/guides"
"$program" init "$work/guides" >/dev/null
printf '\n[web]\nlisten = "127.0.0.1:0"\n' >>"$work/guides/rigtide.toml"
"$program" -C "$work/guides" poll >/dev/null
# A price that cannot be right is held, and a listing whose numbers name two parts is asked about.
offers=$work/guides/retailers/example-offers.csv
sed -i 's/^\(EX-101,.*\),189.90,/\1,18990.00,/' "$offers"
echo "EX-199,Veldimor Strand 32,Veldimor,9520009000012,VEL-S32-BX,205.00,in stock" >>"$offers"
grep -q '18990.00' "$offers"
"$program" -C "$work/guides" poll >/dev/null

# The limits on how often one may ask are held elsewhere; here nearly all would be told to wait.
RIGTIDE_TEST_UNPACED=1 "$program" -C "$work/guides" --log json watch 2>"$work/watch.log" &
daemon=$!
trap 'kill $daemon 2>/dev/null || true; wait $daemon 2>/dev/null || true' EXIT
for _ in $(seq 100); do
  address=$("$program" -C "$work/guides" open --print 2>/dev/null) && break
  sleep 0.1
done
[ -n "${address:-}" ] || { cat "$work/watch.log" >&2; exit 1; }

"$work/venv/bin/python" tests/reference/page_api.py "$address" "$work/schemathesis.toml"
started=$(date +%s)
cd "$work"
"$work/venv/bin/schemathesis" --config-file "$work/schemathesis.toml" run "${address}api/v1/openapi.json" \
  --checks not_a_server_error,status_code_conformance,content_type_conformance,response_headers_conformance,response_schema_conformance,unsupported_method \
  --phases examples,coverage,fuzzing --max-examples "${EXAMPLES:-60}" --seed 1 --no-color --continue-on-failure \
  --exclude-path /api/v1/changes --request-timeout 40 --warnings off >"$work/report.txt" || {
  cat "$work/report.txt"
  exit 1
}
tail -n 25 "$work/report.txt"
echo "took $(($(date +%s) - started)) s"
kill -0 $daemon || { echo "the daemon ended" >&2; exit 1; }
if grep panicked "$work/watch.log" >&2; then exit 1; fi
kill $daemon
wait $daemon || { echo "the daemon did not end well" >&2; exit 1; }
"$program" -C "$work/guides" verify >/dev/null
