#!/usr/bin/env bash
# Everything that must hold, in one command, on a Debian machine that has only Rust:
#
#   bash tests/run.sh            all of it
#   bash tests/run.sh fast       without the browser
#   bash tests/run.sh browser    only the browser
#
# What it needs beyond Rust (Chromium, Node.js, OpenSSL, strace, the tools of NSS) is installed by apt if
# it is missing.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

what=${1:-all}
case $what in
  all | fast | browser) ;;
  *) echo "usage: tests/run.sh [fast|browser]" >&2; exit 2 ;;
esac

exec </dev/null
export CARGO_TERM_COLOR=${CARGO_TERM_COLOR:-never} INSTA_UPDATE=no
# Everything is built once: what a second build could reuse would only take up several gigabytes.
export CARGO_INCREMENTAL=${CARGO_INCREMENTAL:-0}
# A test that fails says its line by itself; without the lines of all other code it compiles sooner.
export CARGO_PROFILE_DEV_DEBUG=${CARGO_PROFILE_DEV_DEBUG:-false}
log=$(mktemp)
trap 'rm -f "$log"' EXIT
rust_tests=0
browser_tests=0
started=$SECONDS

part() { # TITLE COMMAND...: run it, keep its output for counting, say how long it took
  local title=$1 since=$SECONDS
  shift
  printf '\n=== %s\n' "$title"
  if ! "$@" 2>&1 | tee "$log"; then
    printf '=== FAILED: %s, after %d s\n' "$title" $((SECONDS - since)) >&2
    exit 1
  fi
  printf '=== %s: %d s\n' "$title" $((SECONDS - since))
}

as_root() { if [ "$(id -u)" = 0 ]; then "$@"; else sudo -n "$@"; fi; }

# Tools beyond Rust, by the command that shows whether they are there and the package that brings them.
install_missing() {
  local missing=() tool
  for tool in node:nodejs openssl:openssl strace:strace curl:curl "$@"; do
    command -v "${tool%%:*}" >/dev/null || missing+=("${tool##*:}")
  done
  if [ ${#missing[@]} = 0 ]; then
    echo "nothing to install"
    return
  fi
  echo "installing ${missing[*]}"
  as_root apt-get update -qq
  as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${missing[@]}"
}

deny() {
  if cargo deny --version >/dev/null 2>&1; then
    cargo deny --locked check bans licenses sources
  else
    echo "SKIPPED: cargo-deny is not installed, so banned crates were not looked for"
  fi
}

run_browser() { (cd tests/browser && timeout --kill-after=30 1200 npm test --silent); }

export CHROMIUM=${CHROMIUM:-/usr/bin/chromium}
for_browser=("$CHROMIUM:chromium" npm:npm certutil:libnss3-tools)
if [ "$what" = fast ]; then for_browser=(); fi
part "tools" install_missing "${for_browser[@]}"
if [ "$what" != browser ]; then
  part "format" cargo fmt --all --check
  part "lints" cargo clippy --locked --workspace --all-targets -- -D warnings
  # The measure has no tests; that it compiles is seen above.
  part "Rust tests" cargo test --locked --workspace --exclude bench
  rust_tests=$(awk '/^test result: ok\./ { n += $4 } END { print n + 0 }' "$log")
  if [ "$rust_tests" = 0 ]; then
    echo "FAILED: no Rust test ran" >&2
    exit 1
  fi
  part "scripts" node --test --test-reporter=spec tests/script/*.test.mjs
  part "documentation" env RUSTDOCFLAGS="-D warnings" cargo doc --locked --no-deps --workspace
  part "licences and sources" node tests/licences.mjs
  part "banned crates" deny
fi

if [ "$what" != fast ]; then
  AIRMUSTER_BIN=$(realpath -m "${CARGO_TARGET_DIR:-target}/debug/airmuster")
  export AIRMUSTER_BIN
  part "npm packages" npm ci --prefix tests/browser --no-audit --no-fund
  # With the tests, whose dependencies ask libraries for more, they are those that were compiled above; without,
  # everything would be compiled once more.
  case $what in
    all) part "the programs" cargo build --locked --workspace --exclude bench --bins --tests ;;
    browser) part "the programs" cargo build --locked --package airmuster --package faultproxy --bins ;;
  esac
  part "the read API, by its own description" bash tests/api.sh "$AIRMUSTER_BIN"
  part "browser tests" run_browser
  browser_tests=$(awk '$2 == "pass" && NF == 3 { n = $3 } END { print n + 0 }' "$log")
  if [ "$browser_tests" = 0 ]; then
    echo "FAILED: no browser test ran" >&2
    exit 1
  fi
fi

printf '\nAll passed: %d Rust tests, %d browser tests, in %d s\n' "$rust_tests" "$browser_tests" $((SECONDS - started))
