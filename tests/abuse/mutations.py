"""Texts, bytes and JSON values that started good, with a few things made wrong."""

import copy
import json

from hypothesis import strategies as st

BIG = 10**30
ODD_TOML = (
    "1", "-1", "0", "1e308", "nan", "-inf", "true", '""', '"x"', "[]", "{}", "[[[1]]]", "9" * 30,
    "1979-05-27", "07:32:00", '"\\u0000"', '"../x"', '["a", 1]', "{a = 1}", "'''\n'''", "[[1, 2]]",
)  # fmt: skip
ODD_JSON = (
    None, True, False, -1, 0, 1, 2, 0.5, 1e-9, 1e9, -1e9, 127, 128, 1e15, BIG, "", "x", "../x",
    "a/b", ".", "C major", "\x00", [], {}, [[]], {"a": 1}, float("nan"), float("-inf"),
)  # fmt: skip


LIKELY = (
    True,
    False,
    -1,
    0,
    1,
    127,
    128,
    0.0,
    0.5,
    1e-9,
    1e9,
    -1e9,
    "",
    "x",
    "../x",
    "a/b",
    "\x00",
)
"""Values that pass for good ones where their kind is right."""


@st.composite
def damaged(draw, whole):
    """Bytes that are flipped, cut, doubled, or grown."""
    content = bytearray(whole)
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, max(len(content) - 1, 0)))
        kind = draw(st.sampled_from(("flip", "put", "cut", "drop", "double", "insert")))
        if kind == "insert" or not content:
            content[at:at] = draw(st.binary(max_size=8))
        elif kind == "flip":
            content[at] ^= 1 << draw(st.integers(0, 7))
        elif kind == "put":
            content[at] = draw(st.integers(0, 255))
        elif kind == "cut":
            del content[at:]
        elif kind == "drop":
            del content[at : at + draw(st.integers(1, 40))]
        else:
            content[at:at] = content[at : at + draw(st.integers(1, 40))]
    return bytes(content)


@st.composite
def edited_toml(draw, text):
    """Lines whose values are changed, doubled, dropped, or moved."""
    lines = text.splitlines()
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, max(len(lines) - 1, 0)))
        kind = draw(st.sampled_from(("value", "value", "value", "drop", "double", "swap", "name")))
        if not lines:
            break
        name, sign, _ = lines[at].partition(" = ")
        if kind == "value" and sign:
            value = draw(st.sampled_from(ODD_TOML) | st.integers().map(str) | st.floats().map(repr))
            lines[at] = f"{name} = {value}"
        elif kind == "drop":
            del lines[at]
        elif kind == "double":
            lines.insert(at, lines[at])
        elif kind == "swap":
            other = draw(st.integers(0, len(lines) - 1))
            lines[at], lines[other] = lines[other], lines[at]
        elif sign:
            lines[at] = f"{name}s = 1"
    return "\n".join(lines) + "\n"


def places_in(value, place=()):
    """Where a value may be changed, in the order of the document."""
    if place:
        yield place
    inside = value.items() if isinstance(value, dict) else ()
    inside = enumerate(value) if isinstance(value, list) else inside
    for key, item in inside:
        yield from places_in(item, (*place, key))


@st.composite
def edited_json(draw, text, places, kinds=("like", "like", "put", "drop", "double")):
    """A JSON text with a few values changed, or keys and items dropped or added."""
    document = json.loads(text)
    for _ in range(draw(st.integers(1, 2))):
        *way, last = draw(st.sampled_from(places))
        holder = document
        try:
            for step in way:
                holder = holder[step]
            there = holder[last]
        except (LookupError, TypeError):
            continue
        kind = draw(st.sampled_from(kinds))
        like = [value for value in LIKELY if type(value) is type(there)]
        if kind == "like" and isinstance(there, int | float) and not isinstance(there, bool):
            near = (there + 1, there - 1, -there, there * 100)
            holder[last] = draw(st.sampled_from((*near, *like)))
        elif kind == "like" and like:
            holder[last] = draw(st.sampled_from(like))
        elif kind == "drop":
            del holder[last]
        elif kind == "double" and isinstance(holder, list):
            holder.insert(last, copy.deepcopy(there))
        else:
            holder[last] = draw(st.sampled_from(ODD_JSON))
    return json.dumps(document)
