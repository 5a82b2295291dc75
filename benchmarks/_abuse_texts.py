"""Recipes, song files, set files and run documents as nobody should write them."""

from __future__ import annotations

import json
import random
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

WRONG_VALUES: Final = (
    "1", "-1", "0", "1e308", "-1e308", "1e999", "nan", "inf", "true", '""', '"x"', "[]", "{}",
    "[[[[1]]]]", "9" * 30, "1979-05-27", "07:32:00", '"\\u0000"', '"' + "x" * 5000 + '"',
    '["a", 1]', "{a = {b = {c = 1}}}", "99999999999999999999999999999999999999999999",
)  # fmt: skip
WRONG_JSON: Final = (
    None, True, -1, 0, 10**30, 1e308, "", "x", "../../x", "\ud800", [], {}, [[[]]], {"a": 1},
    float("nan"), float("inf"),
)  # fmt: skip


def any_text() -> Iterator[tuple[str, bytes]]:
    """Text files that are wrong whatever they ought to say."""
    yield "empty", b""
    yield "zeros", bytes(100)
    yield "not UTF-8", b"name = '\xff\xfe'\n"
    yield "UTF-16", "name = 'x'".encode("utf-16")
    yield "no TOML", b"this is not = = toml"
    yield "page", b"<!DOCTYPE html><html></html>"
    yield "deep lists", b"a = " + b"[" * 20_000 + b"]" * 20_000
    yield "deep tables", b"a = " + b"{a = " * 3000 + b"1" + b"}" * 3000
    yield "long number", b"a = " + b"9" * 10_000
    yield "long key", b"k" * 50_000 + b" = 1"
    yield "twice", b"a = 1\na = 2\n"
    yield "itself", b"[a]\n[a.b]\n[a]\n"
    yield "dates", b"a = 2026-13-45\n"
    yield "much", b"# much\n" * 20_000
    yield "random", random.Random(2).randbytes(500)


def lines_changed(text: str) -> Iterator[tuple[str, bytes]]:
    """A good TOML text with one value at a time made wrong, or a field added or lost."""
    lines = text.splitlines()
    rng = random.Random(3)
    for number, line in enumerate(lines):
        if " = " not in line or line.lstrip().startswith("#"):
            continue
        name = line.split(" = ", maxsplit=1)[0]
        for value in rng.sample(WRONG_VALUES, 3):
            changed = [*lines[:number], f"{name} = {value}", *lines[number + 1 :]]
            yield f"{name} {value[:20]}", "\n".join(changed).encode()
        yield f"without {name}", "\n".join(lines[:number] + lines[number + 1 :]).encode()
        misspelt = [*lines[:number], line.replace(name, name + "s", 1), *lines[number + 1 :]]
        yield f"unknown {name}s", "\n".join(misspelt).encode()
    for tenth in range(1, 10):
        yield f"cut at {tenth}", text[: len(text) * tenth // 10].encode()


def documents_changed(text: str, n_changes: int) -> Iterator[tuple[str, bytes]]:
    """A good JSON document, edited by hand, from the future, cut short."""
    for tenth in range(10):
        yield f"cut at {tenth}", text[: len(text) * tenth // 10].encode()
    yield "not UTF-8", text.encode()[:-10] + b"\xff\xfe"
    yield "with a mark", "\ufeff".encode() + text.encode()
    yield "deep", b"[" * 100_000
    yield "long number", b'{"schema_version": ' + b"9" * 10_000 + b"}"
    for version in (None, 0, -1, 2, 999, 1.5, "1", True, [1], 10**30):
        yield (
            f"schema {version}",
            json.dumps({**json.loads(text), "schema_version": version}).encode(),
        )
    rng = random.Random(4)
    places = sorted(_places(json.loads(text)), key=repr)
    for place in rng.sample(places, min(n_changes, len(places))):
        value = rng.choice(WRONG_JSON)
        changed = json.loads(text)
        _put(changed, place, value)
        yield f"{'.'.join(map(str, place))} {str(value)[:20]!r}", json.dumps(changed).encode()
    for place in rng.sample(places, min(n_changes // 4, len(places))):
        changed = json.loads(text)
        _put(changed, (*place[:-1], "unknown") if isinstance(place[-1], str) else place, "x")
        yield f"unknown beside {'.'.join(map(str, place))}", json.dumps(changed).encode()


def _places(value: Any, place: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:  # noqa: ANN401
    """Where a value may be changed; of long lists the first two items stand for all."""
    if place:
        yield place
    if isinstance(value, dict):
        for key, inside in value.items():
            yield from _places(inside, (*place, key))
    elif isinstance(value, list):
        for index, inside in enumerate(value[:2]):
            yield from _places(inside, (*place, index))


def _put(value: Any, place: tuple[str | int, ...], new: Any) -> None:  # noqa: ANN401
    for step in place[:-1]:
        value = value[step]
    value[place[-1]] = new
