#!/usr/bin/env bash
# The package is installed into a clean Debian without a network, and does its main job there.
# Needs root, for a Debian of its own is entered by chroot. The clean Debian is fetched once, from the mirror that this
# machine's apt uses, and kept in .deps/.
set -euo pipefail
cd "$(dirname "$0")/.."

deps="${ZONECALL_DEPS:-$PWD/.deps}"
# What a box has beside the least that Debian can be: sound, and who makes users.
BOX="libasound2,libstdc++6,systemd-standalone-sysusers"

say() { printf 'try: %s\n' "$*" >&2; }
stop() { printf 'try: %s\n' "$*" >&2; exit 2; }

if [ "$(id -u)" != 0 ]; then
    if ! { command -v sudo >/dev/null && sudo -n true 2>/dev/null; }; then
        stop "a clean Debian is entered as root; run this with sudo"
    fi
    exec sudo --preserve-env=ZONECALL_DEPS "$0" "$@"
fi

package=$(find out/deb -maxdepth 1 -name '*.deb' -printf '%T@ %p\n' 2>/dev/null | sort -rn | head -n 1 | cut -d' ' -f2-)
[ -n "$package" ] || stop "there is no package; make it with \`make deb\`"
# shellcheck source=/dev/null
. /etc/os-release
clean="$deps/clean-$VERSION_CODENAME.tar"
if [ ! -f "$clean" ]; then
    command -v debootstrap >/dev/null || stop "debootstrap is missing; \`make setup\` installs it"
    # What apt fills in, not the shell.
    # shellcheck disable=SC2016
    mirror=$(apt-get indextargets --format '$(REPO_URI)' 'Created-By: Packages' 'Origin: Debian' "Codename: $VERSION_CODENAME" | head -n 1)
    [ -n "$mirror" ] || stop "apt knows no mirror of Debian; run apt-get update once"
    say "fetching a clean Debian $VERSION_CODENAME, once"
    fresh=$(mktemp -d)
    debootstrap --variant=minbase --include="$BOX" "$VERSION_CODENAME" "$fresh" "$mirror" >"$deps/debootstrap.log" 2>&1 ||
        stop "debootstrap failed; the end of $deps/debootstrap.log: $(tail -n 3 "$deps/debootstrap.log")"
    tar -cf "$clean.part" -C "$fresh" . && mv "$clean.part" "$clean"
    rm -rf "$fresh"
fi

root=$(mktemp -d)
trap 'rm -rf "$root"' EXIT
tar -xf "$clean" -C "$root"
# A temporary folder is its owner's only; the user that listens must get in.
chmod 0755 "$root"
cp "$package" "$root/zonecall.deb"
mkdir "$root/demo"
cp demo-audio/fore-limbs.flac demo-audio/fore-limbs.truth.jsonl "$root/demo/"
cp scripts/in_clean_root.sh "$root/demo/"

# No network inside, and none of this machine's processes or mounts; nothing can stay mounted afterwards.
unshare --net --mount --pid --fork --mount-proc="$root/proc" chroot "$root" /bin/sh /demo/in_clean_root.sh

# The clean Debian has no systemd of its own; this machine's looks at the unit, with the program where it is unpacked.
say "the unit, as systemd sees it"
dpkg-deb --extract "$package" "$root/unpacked"
unit="$root/zonecall.service"
sed "s#^ExecStart=#&$root/unpacked#" "$root/unpacked/usr/lib/systemd/system/zonecall.service" >"$unit"
systemd-analyze verify --man=no "$unit"
# 20 is an exposure of 2.0 of 10.
systemd-analyze security --offline=true --threshold=20 --no-pager "$unit" | tail -n 1
say "installed, tried and removed"
