#!/bin/sh
# Builds the page in release mode and serves it on this machine. Installs what is missing first.
set -eu
cd "$(dirname "$0")/.."
. app/toolchain.sh

prepare_page_tools
fetch_page_crates
say "building and serving the page at http://127.0.0.1:${PORT:-8080}/ (Ctrl-C ends it)"
# shellcheck disable=SC2086 # the words of WASM_ENVIRONMENT are separate assignments
exec env $WASM_ENVIRONMENT trunk serve --release --offline --address 127.0.0.1 --port "${PORT:-8080}" --no-autoreload
