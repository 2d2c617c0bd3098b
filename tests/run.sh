#!/bin/sh
# Runs every check of the project, in the order in which they fail fastest. Installs what is missing first.
set -eu
cd "$(dirname "$0")/.."
. app/toolchain.sh

prepare_page_tools
command -v chromedriver >/dev/null && command -v chromium >/dev/null || install_packages chromium chromium-driver
cargo fmt --version >/dev/null 2>&1 && cargo clippy --version >/dev/null 2>&1 ||
  fail "rustfmt or clippy is missing: run 'rustup component add rustfmt clippy', then run this again"

say "formatting"
cargo fmt --all --check || fail "run 'cargo fmt --all'"

say "lints"
cargo clippy --workspace --all-targets --all-features -- -D warnings

say "native tests and documentation examples"
cargo test --workspace --all-features

build_page

say "the page in headless Chromium"
cargo test -p boardglow-tests --test browser

say "all checks passed"
