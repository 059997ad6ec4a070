#!/usr/bin/env bash
# Which lines of the domain its tests run: a table by file and the sum. The tools are LLVM's, of the version
# that rustc has (`rustc -vV`); on Debian they are the package llvm-22.
#
#   bash tests/coverage.sh           the table
#   bash tests/coverage.sh FILE      the lines of one file that no test runs
#
# PROPTEST_CASES=200 is enough to reach every line that random histories reach, though some tests then say that
# they have not seen enough.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

exec </dev/null
version=$(rustc -vV | sed -n 's/^LLVM version: \([0-9]*\).*/\1/p')
profdata=$(command -v "llvm-profdata-$version" || command -v llvm-profdata)
cov=$(command -v "llvm-cov-$version" || command -v llvm-cov)
target=${CARGO_TARGET_DIR:-target}/coverage
rm -rf "$target/profiles"

# Optimised code has lost some of its lines.
export CARGO_PROFILE_DEV_PACKAGE_AIRMUSTER_DOMAIN_OPT_LEVEL=0 CARGO_INCREMENTAL=0
export RUSTFLAGS="-C instrument-coverage" LLVM_PROFILE_FILE=$PWD/$target/profiles/%p-%m.profraw
export PROPTEST_CASES=${PROPTEST_CASES:-200}
cargo test --locked --package airmuster-domain --target-dir "$target" --lib --tests 2>&1 | grep -E '^(test result|error|warning: unused)' || true
mapfile -t programs < <(cargo test --locked --package airmuster-domain --target-dir "$target" --lib --tests --no-run --message-format=json 2>/dev/null |
  sed -n 's/.*"executable":"\([^"]*\)".*/--object=\1/p')
"$profdata" merge --sparse --output "$target/all.profdata" "$target"/profiles/*.profraw

common=(--instr-profile "$target/all.profdata" --ignore-filename-regex '(/registry/|/rustc/|/tests/|tests\.rs$)' "${programs[@]}")
if [ $# -gt 0 ]; then
  "$cov" show "${common[@]}" --sources "$PWD/$1" | grep -E '^ +[0-9]+\| +0\|'
else
  "$cov" report "${common[@]}" --show-region-summary=false --show-branch-summary=false
fi
