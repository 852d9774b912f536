#!/usr/bin/env bash
# The demo heard on one core with the share of it that makes a clock of 1 GHz: how a small box would fare. Clock for clock
# the cores of such a box do less than those of a large machine, so take the figures for the better end.
# Wants root and control groups (version 1 or 2); `make demo` builds the program.
set -euo pipefail
cd "$(dirname "$0")/.."
bin="${CARGO_TARGET_DIR:-target}/release/zonecall"
audio=demo-audio/fore-limbs.flac
audio_s=239
mhz=$(awk -F: '/cpu MHz/ { print int($2); exit }' /proc/cpuinfo)
period=10000
quota=$((period * 1000 / mhz))

if [ -d /sys/fs/cgroup/cpu ]; then
    group=/sys/fs/cgroup/cpu/zonecall-slow
    mkdir -p "$group"
    echo $period >"$group/cpu.cfs_period_us"
    echo $quota >"$group/cpu.cfs_quota_us"
else
    group=/sys/fs/cgroup/zonecall-slow
    mkdir -p "$group"
    echo "$quota $period" >"$group/cpu.max"
fi
work=$(mktemp -d)
trap 'rm -rf "$work"; rmdir "$group" || true' EXIT

echo "one core of $mhz MHz, $quota of $period microseconds of it"
for ear in neural sphinx; do
    (
        echo "$BASHPID" >"$group/cgroup.procs"
        exec taskset -c 0 python3 - "$bin" hear "$audio" --into "$work/$ear" --ear $ear --started-at 2026-05-04T10:00:00+02:00 <<'PY'
import resource, subprocess, sys, time
begun = time.monotonic()
subprocess.run(sys.argv[1:], check=True, stderr=subprocess.DEVNULL)
wall = time.monotonic() - begun
peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
print(f"{wall:.1f} s, peak {peak:.0f} MiB")
PY
    ) | awk -v ear=$ear -v audio=$audio_s '{ print } /peak/ { printf "%s: real-time factor %.2f\n", ear, $1 / audio }'
done
