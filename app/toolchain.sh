# Everything the page's build needs, installed where it is missing. Sourced by app/serve.sh and
# tests/run.sh from the repository's root; the only place where versions of tools are named
# (wasm-bindgen's follows Cargo.lock, with which it must agree).
#
# WASM_TOOLCHAIN chooses where wasm32's standard library comes from:
#   rustup   the target of the rustup toolchain in use
#   debian   Debian's rustc-web, with the standard library built from its sources
#   auto     whichever is there already, else rustup, else debian (the default)

TRUNK_VERSION=0.21.14
BINARYEN_VERSION=132.0.0

# Tools live inside target/, so that removing it removes them.
TOOLS="$PWD/target/tools"
export PATH="$TOOLS/bin:$TOOLS/npm/node_modules/.bin:$PATH"

say() { printf '\n== %s\n' "$*"; }
fail() { printf '\nStopped: %s\n' "$*" >&2; exit 1; }

# Debian packages, as root or with sudo; otherwise says what to install.
install_packages() {
  if ! command -v apt-get >/dev/null; then
    fail "please install these with your system's package manager, then run this again: $*"
  fi
  as_root=
  if [ "$(id -u)" != 0 ]; then
    command -v sudo >/dev/null || fail "please install as root, then run this again: $*"
    as_root=sudo
  fi
  say "installing Debian packages: $*"
  { $as_root apt-get update -q && $as_root apt-get install -yq --no-install-recommends "$@"; } >&2 ||
    fail "apt-get could not install: $*. Install them by hand, then run this again."
}

wasm_std_ready() {
  ls "$("${RUSTC:-rustc}" --print target-libdir --target wasm32-unknown-unknown 2>/dev/null)"/libstd-*.rlib >/dev/null 2>&1
}

debian_ready() {
  [ -x /usr/bin/rustc ] && [ -d "$(/usr/bin/rustc --print sysroot)/lib/rustlib/src/rust/library" ] &&
    command -v wasm-ld-22 >/dev/null
}

use_rustup() {
  wasm_std_ready || rustup target add wasm32-unknown-unknown ||
    fail "rustup could not add wasm32-unknown-unknown. Check the network, or set WASM_TOOLCHAIN=debian."
}

use_debian() {
  debian_ready || install_packages rustc-web cargo-web rust-web-src lld-22
  # cargo 1.95 builds the standard library with these; they are set for the page's build only, so
  # that native tests and clippy stay on the ordinary toolchain.
  WASM_ENVIRONMENT="RUSTC=/usr/bin/rustc RUSTC_BOOTSTRAP=1 CARGO_UNSTABLE_BUILD_STD=std,panic_abort
    CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_LINKER=wasm-ld-22"
}

choose_wasm_toolchain() {
  WASM_ENVIRONMENT=
  case "${WASM_TOOLCHAIN:-auto}" in
    rustup) use_rustup ;;
    debian) use_debian ;;
    auto)
      if wasm_std_ready; then :
      elif debian_ready; then use_debian
      elif command -v rustup >/dev/null; then use_rustup
      else use_debian; fi ;;
    *) fail "WASM_TOOLCHAIN is '$WASM_TOOLCHAIN'; it may be rustup, debian or auto" ;;
  esac
}

# Builds a command-line tool from crates.io without optimising it: it runs for a second and would
# take minutes to optimise.
install_tool() {
  tool=$1 version=$2
  shift 2
  "$tool" --version 2>/dev/null | grep -qF "$version" && return
  say "building $tool $version"
  (cd / && CARGO_PROFILE_RELEASE_LTO=off CARGO_PROFILE_RELEASE_OPT_LEVEL=0 CARGO_PROFILE_RELEASE_CODEGEN_UNITS=16 \
    CARGO_TARGET_DIR="$TOOLS/build" cargo install --root "$TOOLS" --version "$version" --force "$@") ||
    fail "$tool $version could not be built. Is crates.io reachable?"
  rm -rf "$TOOLS/build"
}

prepare_page_tools() {
  command -v cargo >/dev/null || fail "cargo is missing. Install Rust (https://rustup.rs), then run this again."
  command -v cc >/dev/null || install_packages gcc libc6-dev
  choose_wasm_toolchain
  bindgen_version=$(sed -n '/^name = "wasm-bindgen"$/{n;s/version = "\(.*\)"/\1/p;}' Cargo.lock)
  install_tool wasm-bindgen "$bindgen_version" wasm-bindgen-cli
  install_tool trunk "$TRUNK_VERSION" --no-default-features --locked trunk
  if ! wasm-opt --version >/dev/null 2>&1; then
    command -v npm >/dev/null || install_packages nodejs npm
    say "installing wasm-opt (npm package binaryen $BINARYEN_VERSION)"
    npm install --silent --no-audit --no-fund --prefix "$TOOLS/npm" "binaryen@$BINARYEN_VERSION" ||
      fail "npm could not install binaryen $BINARYEN_VERSION. Is the npm registry reachable?"
  fi
}

# trunk runs cargo offline (it would otherwise look for its own tools on the network), so what cargo needs,
# the standard library's own crates included, is fetched before.
fetch_page_crates() {
  # shellcheck disable=SC2086 # the words of WASM_ENVIRONMENT are separate assignments
  env $WASM_ENVIRONMENT cargo fetch --locked --target wasm32-unknown-unknown ||
    fail "the page's crates could not be fetched. Is crates.io reachable?"
}

build_page() {
  fetch_page_crates
  say "building the page in release mode"
  # shellcheck disable=SC2086 # the words of WASM_ENVIRONMENT are separate assignments
  env $WASM_ENVIRONMENT trunk build --release --offline || fail "the page did not build; the first error is above"
}
