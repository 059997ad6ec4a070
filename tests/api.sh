#!/usr/bin/env bash
# Asks the read API what its own description allows, and much that it does not, with a property-based
# tester (schemathesis, from PyPI, in an environment of its own that is thrown away). Nothing may be
# answered with a status of 5xx, and every answer must be as described.
#
#   bash tests/api.sh [PROGRAM]        PROGRAM: a built airmuster (default: target/debug/airmuster)
#
# Skipped, loudly, where Python or the package registry cannot be reached.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

program=${1:-${CARGO_TARGET_DIR:-target}/debug/airmuster}
folder=$(mktemp -d)
server=
finish() {
  if [ -n "$server" ]; then kill "$server" 2>/dev/null || true; wait "$server" 2>/dev/null || true; fi
  rm -rf "$folder"
}
trap finish EXIT

python=$(command -v python3 || true)
if [ -z "$python" ] || ! "$python" -m venv "$folder/venv" >/dev/null 2>&1; then
  echo "SKIPPED: there is no Python here, so the API was not asked"
  exit 0
fi
if ! timeout 120 "$folder/venv/bin/pip" install --quiet --disable-pip-version-check 'schemathesis>=4,<5' 2>"$folder/pip"; then
  echo "SKIPPED: schemathesis could not be installed, so the API was not asked"
  tail -2 "$folder/pip"
  exit 0
fi

"$program" demo --data "$folder/data" --listen 127.0.0.1:0 >"$folder/said" 2>"$folder/log" &
server=$!
address=
for _ in $(seq 300); do
  address=$(grep -o 'http://127\.0\.0\.1:[0-9]*' "$folder/said" | head -1 || true)
  if [ -n "$address" ]; then break; fi
  sleep 0.2
done
if [ -z "$address" ]; then echo "FAILED: the program did not start" >&2; cat "$folder/log" >&2; exit 1; fi

# An administrator makes a token on the page, as a person would.
jar=$folder/jar
curl -sf -c "$jar" -b "$jar" -o /dev/null -d 'member=m-301&pin=246810' "$address/sign-in"
token=$(curl -sf -b "$jar" -d 'name=property-based+tester' "$address/tokens" | grep -o 'airmuster_[A-Za-z0-9_-]\{43\}' | head -1)
[ -n "$token" ] || { echo "FAILED: no token was made" >&2; exit 1; }

since=$SECONDS
# It leaves a folder of its own behind, wherever it runs.
cd "$folder"
"$folder/venv/bin/schemathesis" run "$address/api/v1/openapi.json" \
  --header "Authorization: Bearer $token" --max-examples 25 --seed 7 --workers 1 \
  --checks not_a_server_error,status_code_conformance,content_type_conformance,response_schema_conformance \
  --phases examples,coverage,fuzzing --request-timeout 20 --no-color
echo "asked for $((SECONDS - since)) s"
