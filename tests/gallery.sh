#!/usr/bin/env bash
# A picture of every screen of the running program, on a tablet and on a phone, light and dark:
#
#   bash tests/gallery.sh [FOLDER]      default: target/gallery; open its index.html
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
folder=$(realpath -m "${1:-target/gallery}")
cargo build --locked --bin airmuster
[ -d tests/browser/node_modules ] || npm ci --prefix tests/browser --no-audit --no-fund
AIRMUSTER_BIN=${AIRMUSTER_BIN:-$(realpath -m "${CARGO_TARGET_DIR:-target}/debug/airmuster")}
export AIRMUSTER_BIN
node tests/browser/gallery.mjs "$folder"
