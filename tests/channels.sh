#!/usr/bin/env bash
# Holds what the channels send against readers outside the project: mail taken by aiosmtpd and read by
# Python's email package and html5lib, with TLS and without and with faults of every kind; webhook
# signatures against Python's hmac; the Atom feed as feedparser reads it and by RFC 4287. Their packages go into target/channels. Needs the program as built: tests/channels.sh PROGRAM.
set -euo pipefail
program=$(realpath "$1")
cd "$(dirname "$0")/.."
work=target/channels

python3 -c 'import venv, ensurepip' 2>/dev/null || {
  echo "skipped: no python3 with venv, so nothing of what channels send is read" >&2
  [ "${CI:-}" != true ]
  exit
}
wanted="aiosmtpd==1.4.6 feedparser==6.0.14 html5lib==1.1 trustme==1.2.1"
if [ "$(cat "$work/versions" 2>/dev/null)" != "$wanted" ]; then
  rm -rf "$work"
  python3 -m venv "$work/venv"
  # shellcheck disable=SC2086
  "$work/venv/bin/pip" --quiet --disable-pip-version-check install $wanted
  echo "$wanted" >"$work/versions"
fi
rm -rf "$work/guides"
"$program" init "$work/guides" >/dev/null
"$work/venv/bin/python" tests/reference/channels.py "$program" "$work/guides"
