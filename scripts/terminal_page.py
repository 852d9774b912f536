"""Turns what `tmux capture-pane -e -p` prints into a page, so that a browser can take its picture."""

import html
import re
import sys

STYLE = (
    "body{margin:0;background:#111318}pre{margin:0;padding:14px;color:#e6e6e6;"
    "font:17px/1.3 'DejaVu Sans Mono',monospace}.b{font-weight:700}.d{color:#9a9a9a}"
    ".r{background:#e6e6e6;color:#111318}"
)
COLOURS = ["#111318", "#e06c6c", "#8ccf7e", "#e5c76b", "#67b0e8", "#c47fd5", "#6cbfbf", "#e6e6e6"]


def style(state: dict) -> str:
    """The CSS of a run of characters."""
    classes = " ".join(sign for sign in "bdr" if state.get(sign))
    colour = f' style="color:{state["colour"]}"' if state.get("colour") else ""
    return f' class="{classes}"{colour}'


def change(state: dict, codes: list[int]) -> None:
    """Takes the codes of one SGR sequence (ECMA-48)."""
    for code in codes:
        if code == 0:
            state.clear()
        elif code in (1, 2, 7):
            state[{1: "b", 2: "d", 7: "r"}[code]] = True
        elif code in (22, 27):
            for sign in {22: "bd", 27: "r"}[code]:
                state.pop(sign, None)
        elif 30 <= code <= 37:
            state["colour"] = COLOURS[code - 30]
        elif 90 <= code <= 97:
            state["colour"] = COLOURS[code - 90]
        elif code == 39:
            state.pop("colour", None)


def main() -> None:
    """Reads the terminal's text from standard input and writes the page."""
    print(f'<!doctype html><meta charset="utf-8"><style>{STYLE}</style><pre>', end="")
    state: dict = {}
    for part in re.split(r"(\x1b\[[0-9;]*m)", sys.stdin.read()):
        if part.startswith("\x1b["):
            change(state, [int(code or 0) for code in part[2:-1].split(";")])
        elif part:
            print(f"<span{style(state)}>{html.escape(part)}</span>", end="")
    print("</pre>")


main()
