#!/usr/bin/env bash
# Builds zonecall for 64-bit ARM (a Raspberry Pi with a 64-bit system) on another machine, and hears a demo exam with it
# under an emulator. Everything lands in .deps-aarch64/ and target/; wants root or sudo for Debian's packages.
set -euo pipefail
cd "$(dirname "$0")/.."
machine=aarch64
target=$machine-unknown-linux-gnu
deps="$PWD/.deps-$machine"
as=""
[ "$(id -u)" = 0 ] || as=sudo

say() { printf 'cross: %s\n' "$*" >&2; }

say "Debian packages: compiler, emulator, and the sound library of the other machine"
$as dpkg --add-architecture arm64
$as apt-get update -qq
DEBIAN_FRONTEND=noninteractive $as apt-get install -y -qq --no-install-recommends \
    gcc-aarch64-linux-gnu g++-aarch64-linux-gnu libc6-dev-arm64-cross qemu-user-static libasound2-dev:arm64 libstdc++6:arm64 >/dev/null
rustup target add "$target"

ZONECALL_MACHINE=$machine ZONECALL_DEPS="$deps" scripts/setup.sh build

say "building for $target"
export ZONECALL_DEPS="$deps" PKG_CONFIG_ALLOW_CROSS=1 PKG_CONFIG_PATH=/usr/lib/aarch64-linux-gnu/pkgconfig
export CARGO_TARGET_AARCH64_UNKNOWN_LINUX_GNU_LINKER=aarch64-linux-gnu-gcc CC_aarch64_unknown_linux_gnu=aarch64-linux-gnu-gcc
export CXX_aarch64_unknown_linux_gnu=aarch64-linux-gnu-g++
cargo build --release --target "$target" --bin zonecall
bin="${CARGO_TARGET_DIR:-target}/$target/release/zonecall"

for ear in neural sphinx; do
    say "hearing demo-audio/hind-limb.flac under the emulator, $ear ear"
    rm -rf "out/cross-$ear"
    qemu-aarch64-static "$bin" hear demo-audio/hind-limb.flac --ear $ear --into "out/cross-$ear" \
        --started-at 2026-05-04T11:00:00+02:00
    qemu-aarch64-static "$bin" journal "out/cross-$ear" --verify
done
