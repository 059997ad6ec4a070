#!/usr/bin/env bash
# How fast the program is, and how small, with one and with ten years of a department of 400 units at 20
# stations: each rate as a part of that of a yardstick which runs beside it on the same machine. It takes
# about an hour on two cores and 10 GB of disk; the histories are made once.
#
#   bash tests/bench.sh           the table
#   bash tests/bench.sh soak      eight tablets at work for half an hour, on the one-year history
#
# BENCH_DIR   where the histories are kept [target/bench]
# BENCH_YEARS which ones are made and measured ["1 10"]
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

exec </dev/null
export CARGO_TERM_COLOR=${CARGO_TERM_COLOR:-never}
target=${CARGO_TARGET_DIR:-target}
dir=${BENCH_DIR:-$target/bench}
program=$target/release/airmuster
bench=$target/release/bench

# The yardsticks are compiled as the program is.
cargo build --locked --release --package airmuster --package bench
mkdir -p "$dir"

made=()
for years in ${BENCH_YEARS:-1 10}; do
  one=$dir/$years-years
  if [ ! -e "$one" ]; then
    rm -rf "$one.part"
    "$bench" make "$one.part" --years "$years"
    mv "$one.part" "$one"
  fi
  made+=("$one")
done

case ${1:-table} in
  table) exec "$bench" measure "$program" "${made[@]}" ;;
  soak) exec "$bench" soak "$program" "${made[0]}" ;;
  *) echo "usage: tests/bench.sh [soak]" >&2; exit 2 ;;
esac
