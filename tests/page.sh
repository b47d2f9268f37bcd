#!/usr/bin/env bash
# Goes through the page in Chromium as a person does (the best build, a budget that is dragged, pins and
# bans, saving, a held price, a match by keyboard, the outbox, the chart, the guide copied, signing in), with and without
# scripts, and has axe-core look at every page at 390 and 1440 pixels, light and dark. Playwright and axe-core go into
# target/page. Needs the program as built: tests/page.sh PROGRAM.
set -euo pipefail
program=$(realpath "$1")
cd "$(dirname "$0")/.."
work=target/page

# A browser and npm's packages come from registries that a machine may not reach; without them the page
# is not looked at, and that is said.
unseen() {
  echo "skipped: $1, so the page is not looked at in a browser" >&2
  exit 0
}
if ! command -v chromium >/dev/null && [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
  { apt-get -qq update && apt-get -qq install -y --no-install-recommends chromium; } >/dev/null 2>&1 || true
fi
command -v chromium >/dev/null || unseen "no chromium"
command -v npm >/dev/null || unseen "no npm for Playwright and axe-core"
mkdir -p "$work"
fetch() { # package, version, what of it is needed, where that goes
  [ -e "$work/$4" ] && return
  (cd "$work" && npm pack --silent --ignore-scripts "$1@$2" >/dev/null) || unseen "no $1"
  (cd "$work" && tar -xzf "$1-$2.tgz" && rm -rf "$4" && mv "$3" "$4" && rm -rf package "$1-$2.tgz")
}
fetch playwright-core 1.56.1 package playwright
fetch axe-core 4.10.3 package/axe.min.js axe.min.js

rm -rf "$work/guides"
"$program" init "$work/guides" >/dev/null
free() { node -e 'const s = require("net").createServer().listen(0, "127.0.0.1", () => { console.log(s.address().port); s.close(); })'; }
port=$(free)
# Nobody listens at the second channel's address, so that its bulletins wait.
cat >>"$work/guides/rigtide.toml" <<SETTINGS

[web]
listen = "127.0.0.1:$port"

[[channel]]
id = "nobody"
kind = "webhook"
url = "http://127.0.0.1:$(free)/bulletins"
SETTINGS
sed -i 's/^channels = .*/channels = ["terminal", "nobody"]/' "$work/guides/briefs/example.toml"
# Some days of prices, so that there is a past to look at.
for days in 3 2 1; do
  RIGTIDE_TEST_NOW=$(date -u -d "$days days ago" +%Y-%m-%dT%H:%M:%SZ) "$program" -C "$work/guides" poll >/dev/null
done
# Another one is for all machines, and so has a password.
rm -rf "$work/shared"
"$program" init "$work/shared" >/dev/null
shared=$(free)
{
  printf '\n[web]\nlisten = "0.0.0.0:%s"\n' "$shared"
  echo "six green benches by the weir" | "$program" password
} >>"$work/shared/rigtide.toml"
"$program" -C "$work/guides" watch >"$work/watch.log" 2>&1 &
watch=$!
"$program" -C "$work/shared" watch >"$work/shared.log" 2>&1 &
other=$!
trap 'kill "$watch" "$other" 2>/dev/null; wait "$watch" "$other" 2>/dev/null || true' EXIT
node tests/reference/page.mjs "$work" "http://127.0.0.1:$port" "$(command -v chromium)" "http://127.0.0.1:$shared"
