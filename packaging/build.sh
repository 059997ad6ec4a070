#!/usr/bin/env bash
# Builds one archive with everything that a box needs: the program, linked statically so that it runs
# on any Linux of this architecture, the systemd unit, and the guides. Then unpacks it elsewhere, starts
# what is in it and asks whether it is well: an archive that was not started is not left behind.
#
#   bash packaging/build.sh [FOLDER]      writes FOLDER/airmuster-VERSION-ARCH.tar.gz (default: target/package)
#
# It needs rustup, curl, and a C compiler for musl (musl-gcc, from musl-tools on Debian).
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

out=$(realpath -m "${1:-target/package}")
arch=$(uname -m)
target=$arch-unknown-linux-musl
version=$(sed -n 's/^version = "\(.*\)"/\1/p' Cargo.toml | head -1)
name=airmuster-$version-$arch

command -v musl-gcc >/dev/null || { echo "packaging: musl-gcc is missing; install musl-tools" >&2; exit 1; }
rustup target add "$target"
# For what is linked into the program alone: build scripts run on this machine and are compiled for it.
export "CC_${target//-/_}=musl-gcc"
cargo build --locked --release --bin airmuster --target "$target"
program=${CARGO_TARGET_DIR:-target}/$target/release/airmuster
if ldd "$program" 2>&1 | grep -q '=>'; then
  echo "packaging: the program is not linked statically" >&2
  exit 1
fi

folder=$(mktemp -d)
server=
cleanup() {
  if [ -n "$server" ]; then kill "$server" 2>/dev/null || true; fi
  rm -rf "$folder"
}
trap cleanup EXIT
mkdir -p "$folder/$name/docs" "$out"
install -m 755 "$program" "$folder/$name/airmuster"
install -m 644 packaging/airmuster.service README.md LICENSE "$folder/$name/"
install -m 644 docs/*.md docs/*.webp "$folder/$name/docs/"
# The same commit gives the same archive.
when=$(git log -1 --format=%ct 2>/dev/null || echo 0)
tar --sort=name --owner=0 --group=0 --numeric-owner --mtime="@$when" -C "$folder" -cf - "$name" | gzip -n >"$folder/$name.tar.gz"

# As on a box that has nothing but the archive.
mkdir "$folder/box"
tar -C "$folder/box" -xzf "$folder/$name.tar.gz"
box=$folder/box/$name
if command -v systemd-analyze >/dev/null; then
  # The unit names the place where the program is installed; here it is judged with the one of the archive.
  sed "s|/usr/local/bin/airmuster|$box/airmuster|" "$box/airmuster.service" >"$folder/airmuster.service"
  systemd-analyze verify "$folder/airmuster.service"
else
  echo "packaging: systemd-analyze is not installed, so the unit was not looked through"
fi
AIRMUSTER_PIN=60391784 "$box/airmuster" init --data "$folder/data" --department "Archive" --zone UTC --member m-1 --name "A. Name" >/dev/null
"$box/airmuster" serve --data "$folder/data" --listen 127.0.0.1:0 >"$folder/said" 2>"$folder/log" &
server=$!
for _ in $(seq 100); do
  address=$(sed -n 's/.*\(http:[^ ]*\)$/\1/p' "$folder/said")
  if [ -n "$address" ] && well=$(curl -fsS "$address/healthz" 2>/dev/null); then break; fi
  sleep 0.1
done
if [ "${well:-}" != ok ]; then
  echo "packaging: the program in the archive does not answer" >&2
  cat "$folder/said" "$folder/log" >&2
  exit 1
fi
kill -TERM "$server"
wait "$server"
server=
"$box/airmuster" verify --data "$folder/data" >/dev/null

mv "$folder/$name.tar.gz" "$out/"
(cd "$out" && sha256sum "$name.tar.gz" | tee "$name.tar.gz.sha256")
echo "packaging: started from the archive it answered, and stopped when it was asked to ($(stat -c %s "$program") bytes)"
