"""Our own earlier output on the kept excerpts: how it is made, and how near later output must be.

These values are not truths. They say that something moved which nobody meant to move: where a
change is meant, write them anew (``python -m tests.regression.write_hearing`` and the others of
this folder), and read the difference before keeping it.
"""

import html
import json
import re
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent
_SHOWN = 600  # letters of a value; the file's difference has the rest
DATA = FOLDER.parent / "data"
SONGS = {
    song["file"].removesuffix(".ogg"): song
    for song in json.loads((DATA / "truth.json").read_text(encoding="utf-8"))["songs"]
}


def text_of(values):
    return json.dumps(values, indent=1, ensure_ascii=False) + "\n"


def write(name, values):
    """Write a file of values, and say which excerpts moved."""
    path = FOLDER / name
    before = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    path.write_text(text_of(values), encoding="utf-8")
    moved = [key for key in values if values[key] != before.get(key)]
    sys.stdout.write(f"{path.name}: {len(values)} kept, {len(moved)} moved\n")
    for key in moved:
        was, now = (str(one)[:_SHOWN] for one in (before.get(key), values[key]))
        sys.stdout.write(f"  {key}\n    was {was}\n    is  {now}\n")


def kept(name):
    values = json.loads((FOLDER / name).read_text(encoding="utf-8"))
    assert values
    return values


def near(values, tolerances):
    """What is equal where it is a word or a count, and near where it has a tolerance."""
    return {
        field: pytest.approx(value, abs=tolerances[field])
        if field in tolerances and value is not None
        else value
        for field, value in values.items()
    }


_UNSEEN = re.compile(r"<(style|script|svg)\b.*?</\1>|<[^>]*>", re.DOTALL)


def words_of(page):
    """What stands on a page of HTML, line by line, without its drawings."""
    lines = html.unescape(_UNSEEN.sub("\n", page)).splitlines()
    return [" ".join(line.split()) for line in lines if line.strip()]


RATIO, LEAST = 2e-3, 2e-3
"""How far numbers may be from what is kept, of their size and at the least, in their own units:
what another processor may change, and less than anybody hears; set by judgement."""


def nearly(value):
    """Kept values with numbers that may differ by a hair; words and counts may not."""
    if isinstance(value, float):
        return pytest.approx(value, rel=RATIO, abs=LEAST)
    if isinstance(value, dict):
        return {key: nearly(part) for key, part in value.items()}
    if isinstance(value, list):
        return [nearly(part) for part in value]
    return value
