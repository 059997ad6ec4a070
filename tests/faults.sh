#!/usr/bin/env bash
# The long fault campaign: tablets send at least 2,000 records each time through a network that breaks
# in every way we know, while the server is killed by SIGKILL at least 50 times.
#
#   bash tests/faults.sh             one seed, drawn anew
#   bash tests/faults.sh SEED...     these seeds
#
# AIRMUSTER_FAULT_RECORDS, AIRMUSTER_FAULT_KILLS and AIRMUSTER_FAULT_ROUNDS make it longer.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

exec </dev/null
export CARGO_TERM_COLOR=${CARGO_TERM_COLOR:-never}
export AIRMUSTER_FAULT_RECORDS=${AIRMUSTER_FAULT_RECORDS:-2500}
export AIRMUSTER_FAULT_KILLS=${AIRMUSTER_FAULT_KILLS:-60}
export AIRMUSTER_FAULT_ROUNDS=${AIRMUSTER_FAULT_ROUNDS:-200}
[ $# -gt 0 ] || set -- $((RANDOM * 32768 + RANDOM))

for seed; do
  printf '\n=== seed %s\n' "$seed"
  started=$SECONDS
  # One test at a time: the others would take the processor from the kills.
  if ! AIRMUSTER_SEED=$seed timeout --kill-after=30 1500 \
    cargo test --locked --test faults -- --nocapture --test-threads=1; then
    echo "FAILED with seed $seed; again: bash tests/faults.sh $seed" >&2
    exit 1
  fi
  printf '=== seed %s: %d s\n' "$seed" $((SECONDS - started))
done
