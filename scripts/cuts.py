#!/usr/bin/env python3
"""Kills and power cuts while an exam is heard: what was acknowledged must be there afterwards.

    scripts/cuts.py kills 1000
    scripts/cuts.py power 200      as root: a loop device with ext4

A kill ends the program in the middle of anything. A power cut here: the program is stopped, the device behind the mounted
file system is copied as it is then, and the copy is mounted elsewhere. What the system held in its memory is missing from
the copy, as after a cut; what the device had taken is there, so a disk that forgets its own cache is not covered.

What is acknowledged: the journal's lines up to the one that `exam.head` names, which is written after the line was synced;
and all sound that was taken, up to its last second.
"""

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PROGRAM = Path(os.environ.get("ZONECALL", ROOT / "target/release/zonecall"))
HEADER_BYTES = 694
SECOND = 32_000
"""Bytes of a second of sound: 16 kHz, 16 bit, mono."""
IMAGE_MIB = 48
WORDS = ["left fore zone two alpha transverse", "save", "superficial flexor normal", "right fore", "save"]


def script(path: Path, seconds: int) -> None:
    """What the scripted ear hears: a phrase every two seconds."""
    with path.open("w") as out:
        for number, at in enumerate(range(1, seconds, 2)):
            words = []
            for idx, text in enumerate(WORDS[number % len(WORDS)].split()):
                start = at * 16_000 + idx * 3_000
                words.append({"text": text, "span": {"from": start, "to": start + 3_000}, "confidence": 0.9})
            span = {"from": words[0]["span"]["from"], "to": words[-1]["span"]["to"]}
            utterance = {"span": span, "words": words, "confidence": 0.9, "score": 0.0, "rejected": False,
                         "level_dbfs": -20.0, "clipped": 0.0}
            out.write(json.dumps(utterance) + "\n")


def sound(seconds: int) -> bytes:
    """Speech for the detector of speech: a loud buzz for 1.2 s of each two."""
    buzz = bytearray()
    for idx in range(16_000 * 2):
        loud = 16_000 <= idx + 1_000 < 16_000 + 19_000 or idx < 2_200
        wave = ((idx * 130) % 16_000) * 2 - 16_000 if loud else (idx % 5) - 2
        buzz += int(wave * 0.6 if loud else wave).to_bytes(2, "little", signed=True)
    return bytes(buzz) * (seconds // 2)


def start(exam: Path, spoken: Path) -> subprocess.Popen:
    """Begins to hear from a pipe."""
    command = [PROGRAM, "hear", "-", "--into", exam, "--started-at", "2026-05-04T10:00:00+02:00",
               "--ear", "scripted", "--script", spoken]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def feed(heard: subprocess.Popen, samples: bytes, until: float) -> None:
    """Gives sound at about twenty times its speed, in pieces of a tenth of a second, until the moment has come."""
    at = 0
    while time.monotonic() < until and at < len(samples):
        try:
            heard.stdin.write(samples[at : at + 3_200])
            heard.stdin.flush()
        except BrokenPipeError:
            return
        at += 3_200
        time.sleep(0.005)


def state(exam: Path) -> tuple[list[bytes], int]:
    """The acknowledged lines, and the bytes of sound that were taken."""
    try:
        head = json.loads((exam / "exam.head").read_bytes())
        lines = (exam / "exam.jsonl").read_bytes().splitlines(keepends=True)[: head["seq"]]
    except (OSError, ValueError):
        lines = []
    try:
        taken = (exam / "audio/0001.wav").stat().st_size - HEADER_BYTES
    except OSError:
        taken = 0
    return lines, max(taken, 0)


def judge(exam: Path, lines: list[bytes], taken: int, samples: bytes) -> tuple[int, int, bool]:
    """Lost lines, lost bytes of sound, and whether the journal verifies or says itself where it was cut."""
    try:
        there = (exam / "exam.jsonl").read_bytes().splitlines(keepends=True)
    except OSError:
        there = []
    lost = sum(1 for number, line in enumerate(lines) if number >= len(there) or there[number] != line)
    try:
        kept = (exam / "audio/0001.wav").read_bytes()[HEADER_BYTES:]
    except OSError:
        kept = b""
    pairs = enumerate(zip(kept, samples, strict=False))
    same = len(kept) if samples.startswith(kept) else next(at for at, (one, other) in pairs if one != other)
    fine = True
    if lines:
        told = subprocess.run([PROGRAM, "journal", exam, "--verify"], capture_output=True, text=True)
        words = told.stdout + told.stderr
        is_told = "cut short" in words or "were not written" in words
        fine = told.returncode == 0 or (told.returncode == 1 and is_told)
        if not fine:
            print(told.returncode, words)
    return lost, max(taken - same, 0), fine


def mount(image: Path, at: Path) -> None:
    subprocess.run(["mount", "-o", "loop", image, at], check=True)


def try_one(way: str, home: Path, spoken: Path, samples: bytes) -> tuple[int, int, bool, int]:
    wait = random.uniform(0.05, 2.5)
    if way == "kills":
        exam = home / "exam"
        heard = start(exam, spoken)
        feed(heard, samples, time.monotonic() + wait)
        heard.send_signal(signal.SIGKILL)
        heard.wait()
        lines, taken = state(exam)
        found = judge(exam, lines, taken, samples)
        shutil.rmtree(exam, ignore_errors=True)
        return (*found, len(lines))
    image, disk, after = home / "disk", home / "on", home / "after"
    with image.open("wb") as out:
        out.truncate(IMAGE_MIB << 20)
    subprocess.run(["mkfs.ext4", "-q", "-F", image], check=True)
    for folder in (disk, after):
        folder.mkdir(exist_ok=True)
    mount(image, disk)
    try:
        heard = start(disk / "exam", spoken)
        feed(heard, samples, time.monotonic() + wait)
        heard.send_signal(signal.SIGSTOP)
        time.sleep(0.05)
        lines, taken = state(disk / "exam")
        shutil.copyfile(image, home / "cut")
        heard.kill()
        heard.wait()
    finally:
        subprocess.run(["umount", disk], check=True)
    mount(home / "cut", after)
    try:
        return (*judge(after / "exam", lines, taken, samples), len(lines))
    finally:
        subprocess.run(["umount", after], check=True)


def main() -> int:
    way, times = sys.argv[1], int(sys.argv[2])
    random.seed(int(os.environ.get("ZONECALL_CUTS_SEED", "1")))
    samples = sound(120)
    worst_lines = worst_sound = unfit = acknowledged = 0
    with tempfile.TemporaryDirectory(dir="/dev/shm") as folder:
        home = Path(folder)
        script(home / "spoken.jsonl", 120)
        for number in range(times):
            lost, silent, fine, lines = try_one(way, home, home / "spoken.jsonl", samples)
            worst_lines, worst_sound = max(worst_lines, lost), max(worst_sound, silent)
            unfit += not fine
            acknowledged += lines
            if lost or silent > SECOND or not fine:
                print(f"try {number}: {lost} acknowledged lines and {silent / SECOND:.2f} s of sound lost; fine: {fine}")
    print(f"{times} {way}: {acknowledged} acknowledged lines, at most {worst_lines} lost; "
          f"at most {worst_sound / SECOND:.2f} s of sound lost; {unfit} journals unfit")
    return 1 if worst_lines or worst_sound > SECOND or unfit else 0


if __name__ == "__main__":
    sys.exit(main())
