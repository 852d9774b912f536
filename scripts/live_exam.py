#!/usr/bin/env python3
"""A whole exam of both fore limbs, live and in real time: what is heard, which stills get which labels, what it costs.

    scripts/live_exam.py VIEWS LOAD [VOICE]

VIEWS stills on each limb (18: twelve minutes), while LOAD programs beside it do nothing but compute. The vet is the flite voice
VOICE, `slt` unless another is named, which the ear was never trained on. PulseAudio has two null sinks: what is played into one
is what the microphone hears, the other is the earpiece. The scanner is 412 s ahead, shows whole seconds, and its stills come
into the folder that is watched 1.5 s after the button. The exit code is 1 where sound was lost, a still did not arrive, a label
is wrong without a doubt, or the journal does not verify.
"""

import json
import os
import random
import re
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
import threading
import time
import wave
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
RELEASE = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "release"
PROGRAM = Path(os.environ.get("ZONECALL", RELEASE / "zonecall"))
RATE = 16_000
ZONES = {"1A": "one alpha", "1B": "one bravo", "2A": "two alpha", "2B": "two bravo", "3A": "three alpha", "3B": "three bravo",
         "3C": "three charlie"}
PLANES = {"T": "transverse", "L": "longitudinal"}
LIMBS = {"LF": "left fore", "RF": "right fore"}
VIEW_S = 19.5
"""One view: its call, two findings, a save."""
BUTTON_S, EXPORT_S, AHEAD_S = 0.9, 1.5, 412
BEGINS_MAX_S = 300
ENDS_MAX_S = 90


def script(views_each: int) -> tuple[list[tuple[float, str]], list[tuple[float, str]]]:
    """What is said, and the stills: the second at which the button is pressed, and the label."""
    said, stills, at = [], [], 2.0
    views = [(zone, plane) for zone in ZONES for plane in PLANES]
    for limb, words in LIMBS.items():
        said.append((at, words))
        at += 3.0
        for idx in range(views_each):
            zone, plane = views[idx % len(views)]
            said.append((at, f"zone {ZONES[zone]} {PLANES[plane]}"))
            said.append((at + 4.5, "superficial flexor normal"))
            if idx % 5 == 0:
                said.append((at + 8.0, "good boy"))
            # People are not clocks: no two saves lie equally far apart.
            save = at + 11.0 + 0.37 * (idx * 7 % 9)
            said.append((save, "save"))
            stills.append((save + BUTTON_S, f"{limb} {zone} {plane}"))
            at += VIEW_S
    said.append((at, "end of exam"))
    # Where views are missing it asks whether to end all the same.
    said.append((at + 12.0, "yes"))
    return said, stills


def spoken(text: str, voice: str, folder: Path) -> list[int]:
    """A phrase at 16 kHz."""
    out = folder / "said.wav"
    subprocess.run(["flite", "-voice", voice, "-t", text, "-o", out], check=True)
    raw = subprocess.run(["sox", out, "-r", str(RATE), "-c", "1", "-b", "16", "-e", "signed", "-t", "raw", "-"], check=True,
                         capture_output=True).stdout
    return list(struct.unpack(f"<{len(raw) // 2}h", raw[: len(raw) // 2 * 2]))


def sound(said: list[tuple[float, str]], voice: str, folder: Path) -> Path:
    """All of it as one recording, in faint noise."""
    dice = random.Random(7)
    samples = [int(dice.gauss(0, 16)) for _ in range(int((said[-1][0] + 4) * RATE))]
    known: dict[str, list[int]] = {}
    for at, text in said:
        if text not in known:
            known[text] = spoken(text, voice, folder)
        for idx, value in enumerate(known[text], int(at * RATE)):
            samples[idx] = max(-32768, min(32767, samples[idx] + value // 2))
    path = folder / "exam.wav"
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE)
        out.writeframes(struct.pack(f"<{len(samples)}h", *samples))
    return path


def sound_server(folder: Path, env: dict) -> subprocess.Popen:
    """Two null sinks, in a folder of their own."""
    options = ["-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no", "--disallow-exit",
               "--load=module-native-protocol-unix", "--load=module-null-sink sink_name=mic",
               "--load=module-null-sink sink_name=ear"]
    server = subprocess.Popen(["pulseaudio", *options], env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    for _ in range(300):
        if subprocess.run(["pactl", "info"], env=env, capture_output=True).returncode == 0:
            break
        time.sleep(0.1)
    for command in (["set-default-sink", "ear"], ["set-default-source", "mic.monitor"]):
        subprocess.run(["pactl", *command], env=env, check=True)
    return server


def journal(exam: Path) -> list[dict]:
    """The lines that are whole."""
    try:
        text = (exam / "exam.jsonl").read_text()
    except OSError:
        return []
    return [json.loads(line) for line in text.splitlines(keepends=True) if line.endswith("\n")]


def processor_s(process: int) -> float:
    fields = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def wait_until(what: str, within_s: float, is_so) -> None:
    since = time.monotonic()
    while not is_so():
        if time.monotonic() - since > within_s:
            raise SystemExit(f"{what}: not within {within_s} s")
        time.sleep(0.2)


def drop_stills(made: Path, scanner: Path, stills: list[tuple[float, str]], began: float) -> None:
    """The scanner exports each still a while after its button."""
    for (at, _), path in zip(stills, sorted(made.iterdir()), strict=True):
        time.sleep(max(0.0, began + at + EXPORT_S - time.monotonic()))
        shutil.copy(path, scanner / path.name)


def live(folder: Path, env: dict, said: list, stills: list, load: int, voice: str) -> tuple[Path, float]:
    """Plays the exam to a listening program; gives its folder and its share of a core."""
    exam, scanner, made = folder / "exam", folder / "scanner", folder / "made"
    scanner.mkdir()
    rows = "".join(f"{at},{label},,,Juniper\n" for at, label in stills)
    (folder / "stills.csv").write_text(f"exam_s,label,area_cm2,lesion_cm2,horse\n{rows}")
    wav = sound(said, voice, folder)
    busy = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(load)]
    started = []
    try:
        with (folder / "listen.txt").open("w") as out:
            options = ["--into", exam, "--watch", scanner, "--horse", "Juniper", "--ear", "neural", "--earpiece", "on", "--lines"]
            listening = subprocess.Popen([PROGRAM, "listen", *options], env=env, stdin=subprocess.DEVNULL, stdout=out, stderr=out)
        started.append(listening)
        wait_until("it listens", BEGINS_MAX_S, lambda: (exam / "audio/0001.wav").exists())
        time.sleep(3)
        start = datetime.now(UTC).isoformat()
        subprocess.run([RELEASE / "demo_stills", folder / "stills.csv", made, start, str(AHEAD_S), "30", "whole"], check=True)
        used = [(time.monotonic(), processor_s(listening.pid))]
        began = used[0][0]
        dropping = threading.Thread(target=drop_stills, args=(made, scanner, stills, began))
        dropping.start()
        playing = subprocess.Popen(["paplay", "--device=mic", wav], env=env)
        started.append(playing)
        while playing.poll() is None:
            time.sleep(0.5)
            if listening.poll() is None:
                used.append((time.monotonic(), processor_s(listening.pid)))
        share = (used[-1][1] - used[0][1]) / max(used[-1][0] - began, 1.0)
        dropping.join()
        time.sleep(5)
        if listening.poll() is None:
            listening.send_signal(signal.SIGINT)
        listening.wait(ENDS_MAX_S)
    finally:
        for one in busy + [one for one in started if one.poll() is None]:
            one.kill()
    return exam, share


def main() -> int:
    views, load = int(sys.argv[1]), int(sys.argv[2])
    voice = sys.argv[3] if len(sys.argv) > 3 else "slt"
    said, stills = script(views)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        env = {**os.environ, "XDG_RUNTIME_DIR": name, "HOME": name, "ZONECALL_SETTINGS": "/dev/null"}
        folder.chmod(0o700)
        server = sound_server(folder, env)
        try:
            exam, share = live(folder, env, said, stills, load, voice)
        finally:
            server.kill()
        lines = journal(exam)
        exported = subprocess.run([PROGRAM, "export", exam, "--as", "json"], env=env, capture_output=True, text=True)
        verified = subprocess.run([PROGRAM, "journal", exam, "--verify"], env=env, capture_output=True, text=True)
        if kept := os.environ.get("ZONECALL_LIVE_KEEP"):
            shutil.copytree(folder, kept, ignore=shutil.ignore_patterns("*.sock", "pulse"))
    return judge(json.loads(exported.stdout), lines, said, stills, share, verified.returncode == 0)


def judge(record: dict, lines: list[dict], said: list, stills: list, share: float, verifies: bool) -> int:
    labels = {f"IM{number:04}": label for number, (_, label) in enumerate(stills, 1)}
    right = doubted = wrong = open_ = 0
    for frame in record["frames"]:
        label = labels[re.search(r"IM\d{4}", frame["file"]).group()]
        found = " ".join(frame.get(part) or "-" for part in ("limb", "zone", "plane"))
        if found == label:
            right += 1
            doubted += bool(frame.get("doubt"))
        elif "-" in found or frame.get("doubt"):
            open_ += 1
        else:
            wrong += 1
            print(f"WRONG: {frame['file']} shows {label} and is labelled {found}")
    wanted = sum({"good boy": 0, "yes": 0, "superficial flexor normal": 2}.get(text, 1) for _, text in said)
    outcomes = [line["body"]["outcome"] for line in lines if line["kind"] == "heard"]
    calls = [line["body"]["words"] for line in lines if line["kind"] == "call"]
    lost = sum(line["body"]["samples"] for line in lines if line["kind"] == "audio_lost")
    gone = sum(line["kind"] == "microphone" and line["body"]["state"] == "lost" for line in lines)
    print(f"{len(calls)} calls where {wanted} were said, {outcomes.count('asked')} asked about, "
          f"{outcomes.count('not_understood')} not understood; {len(record['frames'])} of {len(stills)} stills: {right} right "
          f"({doubted} of them in doubt), {open_} open or in doubt, {wrong} wrong; {lost} samples lost, microphone lost {gone} "
          f"times; {share:.0%} of a core{'' if verifies else '; THE JOURNAL DOES NOT VERIFY'}")
    return 1 if wrong or lost or gone or not verifies or len(record["frames"]) != len(stills) else 0


if __name__ == "__main__":
    sys.exit(main())
