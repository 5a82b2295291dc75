"""Show the demo in README and docs/cards.md as it is today: ``python -m tests.cli.write_demo``.

It runs the demo, keeps the picture of its first option as docs/demo.png, and puts what the terminal
said between the fences that stand for it: in the README shortened, in docs/cards.md one card whole.
"""

import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
FACTS = ("key", "at the edge", "tempo", "ends / starts", "first note")
"""Rows of the table that the README shows; the others are for those who run it."""
WITH_FINDING = 2
OPTION = re.compile(r"\d  \S")
README_BLOCK = re.compile(r"```\n {15}end of .*?```\n", re.DOTALL)
CARD_BLOCK = re.compile(r"```\n1  .*?```\n", re.DOTALL)


def main():
    """Write the picture and both blocks."""
    with tempfile.TemporaryDirectory() as place:
        run = Path(place) / "segue-demo"
        words = [sys.executable, "-m", "segue", "demo", "--out", str(run)]
        wide = {**os.environ, "COLUMNS": "104"}
        told = subprocess.run(words, check=True, stdout=subprocess.PIPE, text=True, env=wide).stdout
        show("\n".join(line.rstrip() for line in told.strip("\n").splitlines()), run)


def show(told, run):
    """Put what a demo said, and its first picture, where they are shown."""
    shutil.copy(next(run.glob("1 *.png")), ROOT / "docs" / "demo.png")
    put(ROOT / "README.md", README_BLOCK, shortened(told))
    put(ROOT / "docs" / "cards.md", CARD_BLOCK, "\n".join(cards(told)[0]))


def put(path, block, words):
    """Replace the one block of a file that is like it."""
    text = path.read_text(encoding="utf-8")
    new, n = block.subn(lambda _: f"```\n{words}\n```\n", text)
    if n != 1:
        raise SystemExit(f"{path.name} has {n} blocks for the demo")
    path.write_text(new, encoding="utf-8")


def shortened(told):
    """The facts that matter, how the keys lie, and each card, two with their weakest place."""
    table, relation = told.split("\n\n")[:2]
    heads = " " * 15 + "end of", *FACTS
    facts = [line for line in table.splitlines() if line.startswith(heads)]
    short = [*facts, relation.splitlines()[0]]
    for place, card in enumerate(cards(told)):
        found = [n for n, line in enumerate(card) if line.startswith("   - ")]
        ends = [*found, len(card), len(card)]
        short += ["", *card[: ends[1] if place < WITH_FINDING else ends[0]]]
    return "\n".join(short)


def cards(told):
    """The lines of each option."""
    parts = re.split(r"\n\n", told)
    return [part.strip("\n").splitlines() for part in parts if OPTION.match(part.strip("\n"))]


if __name__ == "__main__":
    sys.exit(main())
