#!/usr/bin/env bash
# Checks everything: formatting, lints, all tests, doc tests, and one demo on a clean directory.
# Needs the Rust toolchain and a C compiler. Where there is python3, it fetches the open data sets
# that tests are held against into target/test-data, and readers of guides and bulletins into
# target/guide and target/channels; as root on Debian it installs chromium, and nothing else.
set -euo pipefail
cd "$(dirname "$0")/.."

step() { printf '\n== %s\n' "$*"; }

for tool in cargo cc; do
  command -v "$tool" >/dev/null || { echo "error: $tool is missing; install Rust (rustup.rs) and a C compiler" >&2; exit 1; }
done
for component in rustfmt clippy; do
  cargo "${component/rustfmt/fmt}" --version >/dev/null 2>&1 || rustup component add "$component"
done

step "formatting"
cargo fmt --check

step "lints"
cargo clippy --locked --all-targets -- -D warnings

step "open data that tests are held against (fetched once)"
tests/data.sh

step "tests"
cargo test --locked --lib --bins --tests

step "doc tests"
cargo test --locked --doc

step "the demo, on a clean directory"
cargo build --locked --release
demo=$(mktemp -d)
trap 'rm -rf "$demo"' EXIT
timeout 60 ./target/release/rigtide demo --dir "$demo/demo" >"$demo/out.txt"
tail -n 40 "$demo/out.txt"
grep -q 'The best build changed' "$demo/out.txt"

step "what channels send, as readers outside the project see it"
tests/channels.sh target/release/rigtide

step "every form of the guide, as readers outside the project see it"
tests/guide.sh target/release/rigtide

step "what the page gives to programs, as a tester outside the project asks for it"
tests/page_api.sh target/release/rigtide

step "the page, as a person goes through it in a browser"
tests/page.sh target/release/rigtide

step "the page, while fifty read it and a large market is polled and solved (how long they wait is not held here)"
if command -v python3 >/dev/null; then python3 tests/page_load.py target/release/rigtide 10; else echo "skipped: no python3" >&2; fi

step "all passed"
