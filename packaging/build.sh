#!/usr/bin/env bash
# Builds one archive with everything that a box needs: the program, linked statically so that it runs
# on any Linux of this architecture, the systemd unit, and the guides.
#
#   bash packaging/build.sh [FOLDER]      writes FOLDER/airmuster-VERSION-ARCH.tar.gz (default: target/package)
#
# It needs rustup, and a C compiler for musl (musl-gcc, from musl-tools on Debian).
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

out=${1:-target/package}
arch=$(uname -m)
target=$arch-unknown-linux-musl
version=$(sed -n 's/^version = "\(.*\)"/\1/p' Cargo.toml | head -1)
name=airmuster-$version-$arch

command -v musl-gcc >/dev/null || { echo "packaging: musl-gcc is missing; install musl-tools" >&2; exit 1; }
rustup target add "$target"
CC=musl-gcc cargo build --locked --release --bin airmuster --target "$target"
program=${CARGO_TARGET_DIR:-target}/$target/release/airmuster
if ldd "$program" 2>&1 | grep -q '=>'; then
  echo "packaging: the program is not linked statically" >&2
  exit 1
fi

folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
mkdir -p "$folder/$name/docs" "$out"
install -m 755 "$program" "$folder/$name/airmuster"
install -m 644 packaging/airmuster.service README.md LICENSE "$folder/$name/"
install -m 644 docs/*.md docs/*.png docs/*.webp "$folder/$name/docs/"
# The same commit gives the same archive.
when=$(git log -1 --format=%ct 2>/dev/null || echo 0)
tar --sort=name --owner=0 --group=0 --numeric-owner --mtime="@$when" -C "$folder" -cf - "$name" | gzip -n >"$out/$name.tar.gz"
(cd "$out" && sha256sum "$name.tar.gz" | tee "$name.tar.gz.sha256")
