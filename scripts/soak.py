#!/usr/bin/env python3
"""Long exams, heard faster than they last: memory, lost samples, and what a late call costs beside an early one.

    scripts/soak.py hours 24       ten minutes of phrases, then a minute of them in each hour, silence for the rest
    scripts/soak.py calls 5000     a phrase every two seconds, twice as many phrases as calls

Sound is given through a pipe to the scripted ear, as fast as it is taken. Memory is the resident set of the program.
"""

import json
import os
import resource
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from cuts import HEADER_BYTES, PROGRAM, SECOND, script, sound, start

QUIET = bytes((idx % 3) if idx % 2 == 0 else 0 for idx in range(SECOND))
"""A second of faint noise."""


def resident_mib(process: int) -> float:
    for line in Path(f"/proc/{process}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    return 0.0


def run(home: Path, seconds: int, speaks) -> tuple[Path, list[tuple[float, float, float]]]:
    """Hears an exam; gives its folder, and for each minute of it the time taken so far and the memory."""
    exam, spoken, buzz = home / "exam", home / "spoken.jsonl", sound(2)
    script(spoken, seconds)
    began, seen = time.monotonic(), []
    heard = start(exam, spoken)
    errors = []

    def give() -> None:
        try:
            for second in range(0, seconds, 2):
                heard.stdin.write(buzz if speaks(second) else QUIET * 2)
                if second % 60 == 0:
                    heard.stdin.flush()
                    seen.append((second / 60, time.monotonic() - began, resident_mib(heard.pid)))
            heard.stdin.close()
        except OSError as error:
            errors.append(error)

    giver = threading.Thread(target=give)
    giver.start()
    giver.join()
    if heard.wait() != 0 or errors:
        raise SystemExit(f"the exam could not be heard: {heard.returncode} {errors}")
    return exam, seen


def processor_s(*args: object) -> float:
    """Processor time of a command: what else the machine does costs none of it."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([PROGRAM, *args], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def is_loud(second: int) -> bool:
    """Whether somebody speaks in this second of a long exam."""
    return second < 600 or second // 60 % 60 == 30


def main() -> int:
    what, number = sys.argv[1], int(sys.argv[2])
    with tempfile.TemporaryDirectory(dir=os.environ.get("ZONECALL_SOAK", "/dev/shm")) as folder:
        hours = what == "hours"
        seconds = number * 3600 if hours else number * 2
        exam, seen = run(Path(folder), seconds, is_loud if hours else (lambda _: True))
        lines = [json.loads(line) for line in (exam / "exam.jsonl").read_text().splitlines()]
        kept = ((exam / "audio/0001.wav").stat().st_size - HEADER_BYTES) // 2
        lost, calls = seconds * 16_000 - kept, sum(line["kind"] == "call" for line in lines)
        minutes = len(seen)
        print(f"{seconds / 3600:.1f} h of sound in {seen[-1][1]:.0f} s; {calls} calls, {len(lines)} lines; {lost} samples lost")
        after = [mib for minute, _, mib in seen if minute >= 10]
        grown = f"after ten minutes {after[0]:.1f} MiB ({max(after) / after[0] - 1:+.1%} since), " if after else ""
        print(f"memory {grown}at most {max(mib for _, _, mib in seen):.1f} MiB")
        tenth = max(minutes // 10, 1)
        first, last = seen[tenth][1] - seen[0][1], seen[-1][1] - seen[-1 - tenth][1]
        print(f"the first tenth took {first:.2f} s, the last {last:.2f} s")
        for command in (("journal", exam, "--verify"), ("check", exam), ("export", exam, "--as", "json")):
            print(f"zonecall {command[0]}: {processor_s(*command):.2f} s of processor time")
    return 1 if lost else 0


if __name__ == "__main__":
    sys.exit(main())
