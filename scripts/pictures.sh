#!/usr/bin/env bash
# Makes every picture in docs/pictures/ from the demo's exam (run `make demo`, then `cargo build --release`, for the
# demo's own program has no desk):
#   desk.png     the review desk with a question, in Chromium without a window
#   zoom.png     the same at 200 % (WCAG 2.2, 1.4.4): nothing may be cut off or covered
#   still.png    the same with a still that was traced, while its sound plays
#   reports.png  pages of the printed reports, through poppler
#   course.png   the course over four exams, through poppler
#   listen.png   the listening screen, from a real terminal (tmux) with a virtual microphone (PulseAudio)
# and the reports of that exam, signed, as docs/reports/vet.pdf and docs/reports/owner.pdf, with the course over it and
# three earlier exams, whose numbers are invented, as docs/reports/course.pdf.
# Needs what `make setup` installs, and tmux.
set -euo pipefail
cd "$(dirname "$0")/.."
bin="$(realpath "${CARGO_TARGET_DIR:-target}")/release/zonecall"
exam=out/demo/exam
to="$PWD/docs/pictures"
reports="$PWD/docs/reports"
if ! { [ -x "$bin" ] && [ -f "$exam/exam.jsonl" ]; }; then
    echo "pictures: run 'make demo', then 'cargo build --release'" >&2
    exit 2
fi
for tool in chromium chromedriver pdftoppm tmux pulseaudio paplay flite python3; do
    command -v "$tool" >/dev/null || { echo "pictures: $tool is missing; install it with apt-get" >&2; exit 2; }
done
work=$(mktemp -d)
started=()
finish() {
    for process in "${started[@]}"; do kill "$process" 2>/dev/null || true; done
    TMUX_TMPDIR="$work" tmux kill-server 2>/dev/null || true
    rm -rf "$work"
}
trap finish EXIT
mkdir -p "$to" "$reports"

# A page as a picture: address, width, height, file, seconds to wait, keys to press.
shoot() { python3 scripts/page_picture.py "$@"; }

echo "pictures: the review desk"
# In a folder of its own: the exam that is heard below must not find it beside itself.
mkdir "$work/past"
cp -r "$exam" "$work/past/desk"
"$bin" pair "$work/past/desk" --frames out/demo/scanner >/dev/null || [ $? = 1 ]
"$bin" review "$work/past/desk" --no-open >"$work/address" &
started+=($!)
for _ in $(seq 50); do grep -q 'http' "$work/address" && break; sleep 0.2; done
address=$(grep -o 'http://[^ ]*' "$work/address" | head -n 1)
# The third question has a still.
shoot "$address" 1440 1000 "$to/desk.png" 12 jj
shoot "$address" 1440 1130 "$to/zoom.png" 12 jj 2
# The areas that the maker of the stills drew into the seventh.
for outline in "160,120,82.9,36.85,0" "160,120,48.35,21.49,0 --lesion"; do
    # shellcheck disable=SC2086 # the second one has two words
    "$bin" trace "$work/past/desk" --still IM0007.dcm --structure SDFT --by Ada --ellipse $outline >/dev/null
done
shoot "$address" 1440 1000 "$to/still.png" 13 sssssssg

echo "pictures: the reports"
# What a vet writes and signs is invented; the keys and the list of people are thrown away.
(
    export XDG_CONFIG_HOME="$work/settings"
    mkdir -p "$XDG_CONFIG_HOME/zonecall"
    cp scripts/demo_people.toml "$XDG_CONFIG_HOME/zonecall/people.toml"
    python3 scripts/desk_words.py "$address"
    (umask 077 && echo "four words of my own" >"$work/passphrase")
    "$bin" people add "Dr Example" --role vet --licence V-1 --passphrase-file "$work/passphrase"
    "$bin" sign "$work/past/desk" --vet "Dr Example" --passphrase-file "$work/passphrase"
    "$bin" report "$work/past/desk" --format pdf --out "$reports/vet.pdf"
    "$bin" report "$work/past/desk" --format pdf --for owner --out "$reports/owner.pdf"
    earlier=()
    while read -r day area lesion score; do
        mkdir -p "$work/earlier"
        "$bin" hear demo-audio/fore-limbs.flac --into "$work/earlier/$day" --horse Juniper --started-at "${day}T10:00:00+01:00" >/dev/null
        typed() { "$bin" enter "$work/earlier/$day" --limb LF --zone 2B --structure SDFT --by Ada --term "$@" >/dev/null; }
        typed area --number "$area" --unit mm2
        typed "lesion area" --number "$lesion" --unit mm2
        typed "echo score" --number "$score"
        earlier+=(--earlier "$work/earlier/$day")
    done <<'EXAMS'
2026-01-12 171 83 3
2026-02-09 168 71 3
2026-03-16 157 63 2
EXAMS
    "$bin" report "$work/past/desk" --format pdf --for course "${earlier[@]}" --out "$reports/course.pdf"
)
pdftoppm -r 60 -png -f 1 -l 2 "$reports/vet.pdf" "$work/vet"
pdftoppm -r 60 -png -f 1 -l 1 "$reports/owner.pdf" "$work/owner"
{
    echo '<!doctype html><style>body{margin:0;padding:16px;background:#8a8f94;display:flex;gap:16px}img{box-shadow:0 2px 8px #0006}</style>'
    for page in "$work"/vet*.png "$work"/owner*.png; do echo "<img src=\"file://$page\">"; done
} >"$work/reports.html"
shoot "file://$work/reports.html" 1568 734 "$to/reports.png"
pdftoppm -r 110 -png -singlefile -f 1 -l 1 "$reports/course.pdf" "$to/course"

echo "pictures: the listening screen"
export XDG_RUNTIME_DIR="$work" HOME="$work" TMUX_TMPDIR="$work" ZONECALL_SETTINGS=/dev/null
pulseaudio -n --daemonize=no --exit-idle-time=-1 --use-pid-file=no \
    --load=module-native-protocol-unix --load="module-null-sink sink_name=mic" >/dev/null 2>&1 &
started+=($!)
sleep 1
mkdir -p "$work/scanner"
tmux -f /dev/null new-session -d -x 100 -y 27 -s listen \
    "cd '$work' && '$bin' listen --into juniper --horse Juniper --voice off --tones off --watch scanner 2>'$work/listen.log'"
for _ in $(seq 100); do grep -qs '"kind":"audio"' "$work/juniper/exam.jsonl" && break; sleep 0.3; done
stills=("$PWD"/out/demo/scanner/*.dcm)
say() { flite -voice rms -t "$1" -o "$work/said.wav" && paplay "$work/said.wav" && sleep 1.5; }
still() { cp "${stills[$1]}" "$work/scanner/"; sleep 0.5; }
say "left fore, zone one alpha, transverse"
say "superficial flexor normal"
say "save"; still 0
say "longitudinal"
say "save"; still 1
say "zone one bravo, transverse"
say "superficial flexor normal"
say "save"; still 2
say "longitudinal"
say "zone two alpha transverse"; sleep 4
say "moderate core lesion"
say "save"; still 3
say "zone three charlie"
tmux capture-pane -e -p -t listen >"$work/screen.ansi"
python3 scripts/terminal_page.py <"$work/screen.ansi" >"$work/screen.html"
tmux send-keys -t listen q
shoot "file://$work/screen.html" 1000 620 "$to/listen.png"
ls -l "$to"
