#!/usr/bin/env python3
"""Every crate that is linked into the program, with its licence and the texts that its package carries.

Takes: the resolved crates of this machine's build, from cargo. Gives: one text on standard output.
A text that several crates share word for word stands there once. A crate without a text is named with its licence.
"""

import json
import pathlib
import re
import subprocess

ROOT = pathlib.Path(__file__).resolve().parent.parent
TEXTS = re.compile(r"^(licen[cs]e|copying|notice|copyright)", re.IGNORECASE)


def cargo(*args):
    return subprocess.run(["cargo", *args], cwd=ROOT, check=True, capture_output=True, text=True).stdout


def linked():
    """Name and version of each crate that is linked, not only used to build or to test."""
    lines = cargo("tree", "--locked", "--edges", "normal", "--prefix", "none", "--format", "{p}").splitlines()
    return {tuple(line.split()[:2]) for line in lines if line.strip()}


def main():
    wanted = linked()
    texts = {}
    print("Crates linked into zonecall, each with its licence.\n")
    for crate in sorted(json.loads(cargo("metadata", "--locked", "--format-version", "1"))["packages"], key=lambda c: c["name"]):
        if (crate["name"], "v" + crate["version"]) not in wanted or crate["source"] is None:
            continue
        print(f"{crate['name']} {crate['version']}: {crate['license'] or 'see its texts below'}")
        folder = pathlib.Path(crate["manifest_path"]).parent
        for path in sorted(folder.iterdir()):
            if path.is_file() and TEXTS.match(path.name):
                text = path.read_text(encoding="utf-8", errors="replace").strip()
                texts.setdefault(text, []).append(f"{crate['name']} {crate['version']}")
    for text, crates in texts.items():
        print(f"\n{'=' * 100}\n{', '.join(crates)}\n{'-' * 100}\n{text}")


main()
