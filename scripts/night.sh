#!/usr/bin/env bash
# What takes a night: thousands of simulated exams, each reader fuzzed for minutes, a whole exam live under load, and how fast
# the answer comes while a folder is watched under load. Every part runs, whatever became of those before it; each adds its row
# to benches/NIGHT.md. A seed or an input that fails is printed with the command that repeats it, in out/night/.
#   scripts/night.sh [PART...]     parts: simulate fuzz exam latency; all of them where none is named
# Shorter: exams=50 fuzz_s=2 views=2 load=2 scripts/night.sh simulate fuzz exam
set -uo pipefail
cd "$(dirname "$0")/.." || exit
exams="${exams:-20000}"
fuzz_s="${fuzz_s:-300}"
views="${views:-18}"
load="${load:-8}"
latency_load="${latency_load:-4}"
# Other seeds each day.
seed="${seed:-$(date +%Y%m%d)}"
table=benches/NIGHT.md
out=out/night
mkdir -p "$out"
[ -f "$table" ] || cat >"$table" <<'HEAD'
# Nights

What `make night` found; `scripts/night.sh` adds the rows, and says what each part does.

| Ended (UTC) | Commit | Part and setting | Took | Figures |
|---|---|---|---|---|
HEAD

# Runs a part; its row has the lines of its output that hold figures, and says where it failed.
part() {
    local name=$1 setting=$2 figures=$3 began=$SECONDS code=0 found
    shift 3
    printf '\n== %s, %s\n' "$name" "$setting"
    "$@" 2>&1 | tee "$out/$name.txt" || code=$?
    found=$(grep -hE "$figures" "$out/$name.txt" | sed 's/^ *//; s/|/\//g' | tr '\n' ';' | sed 's/;$//; s/;/; /g')
    if [ "$code" != 0 ]; then
        found="**FAILED**; $found"
        failed=1
        grep -h 'to repeat it:' "$out/$name.txt"
    fi
    printf '| %s | %s | %s, %s | %d s | %s |\n' "$(date -u +'%F %H:%M')" "$(git describe --always --dirty --exclude '*')" \
        "$name" "$setting" $((SECONDS - began)) "${found:-no figure}" >>"$table"
}

failed=0
[ $# != 0 ] || set -- simulate fuzz exam latency
it=(cargo test --release --test it)
for name in "$@"; do
    case $name in
        simulate)
            part simulate "$exams exams from seed ${seed}00000 on" 'exams from seed' \
                env ZONECALL_EXAMS="$exams" ZONECALL_EXAM_FROM="${seed}00000" "${it[@]}" what_was_acknowledged -- --nocapture ;;
        fuzz)
            part fuzz "$fuzz_s s for each reader, seed $seed" ': [0-9]+ inputs$' \
                env ZONECALL_FUZZ_S="$fuzz_s" ZONECALL_FUZZ_SEED="$seed" "${it[@]}" nothing_that_is_read -- --nocapture ;;
        exam)
            part exam "$((2 * views)) stills in real time, \`--watch\`, load $load" 'calls where|^WRONG' \
                scripts/live_exam.py "$views" "$load" ;;
        latency)
            part latency "\`--watch\`, load $latency_load" '^to ' \
                cargo bench --bench latency -- --watch --load "$latency_load" ;;
        *)
            echo "night: there is no part '$name'; the parts are simulate, fuzz, exam and latency" >&2
            exit 2 ;;
    esac
done
printf '\nthe table: %s; what each part printed: %s/\n' "$table" "$out"
exit "$failed"
