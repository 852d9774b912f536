#!/bin/sh
# Inside a clean Debian: installs the package, does the main job with it as the user that listens, removes it.
set -eu
export DEBIAN_FRONTEND=noninteractive LC_ALL=C.UTF-8
step() { printf '\n== %s\n' "$*"; }

step "installing, without a network"
apt-get install -y --no-install-recommends -qq /zonecall.deb
as() { chroot --userspec=zonecall:zonecall / "$@"; }
id zonecall
install -d -o zonecall -g zonecall -m 0750 /var/lib/zonecall

step "doctor"
as zonecall doctor --into /var/lib/zonecall

for ear in neural sphinx; do
    exam=/var/lib/zonecall/$ear
    step "hearing the demo with the ear $ear"
    as zonecall hear /demo/fore-limbs.flac --into "$exam" --ear "$ear" --started-at 2026-05-04T10:00:00+02:00
    as zonecall journal "$exam" --verify
    wanted=$(wc -l </demo/fore-limbs.truth.jsonl)
    found=$(grep -c '"kind":"call"' "$exam/exam.jsonl")
    echo "$found calls, wanted $wanted"
    [ "$found" -eq "$wanted" ]
done

step "what else comes with it"
as zonecall report /var/lib/zonecall/neural --format pdf
ls -l /usr/share/man/man1/zonecall-listen.1.gz /usr/share/bash-completion/completions/zonecall \
    /lib/systemd/system/zonecall.service /usr/share/doc/zonecall/copyright
as zonecall phrases | head -n 3
# Without a microphone the box says so and does not pretend to listen.
if as zonecall listen --exams /var/lib/zonecall/exams 2>/tmp/told; then
    echo "it listened without a microphone"
    exit 1
fi
cat /tmp/told

step "removing; exams stay"
apt-get purge -y -qq zonecall
[ ! -e /usr/bin/zonecall ] && [ -f /var/lib/zonecall/neural/exam.jsonl ]
