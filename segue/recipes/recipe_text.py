"""A recipe as the text of its file, which reads back as the same recipe."""

from __future__ import annotations

import json
from dataclasses import MISSING, fields
from typing import TYPE_CHECKING, Any, Final

from segue.recipes.position import Breakpoint, Position

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.recipes.recipe import Recipe

_HEAD: Final = ("schema_version", "name", "family", "summary", "why", "on_purpose")
_TABLES: Final = ("suits", "length", "tempo", "level")


def recipe_text(recipe: Recipe, *, comment: str = "") -> str:
    """A recipe in TOML, without the fields that say what they would say anyway.

    Parameters
    ----------
    comment : str
        First line; empty for none.

    Returns
    -------
    str
        Ends with a newline.
    """
    lines = [f"# {comment}"] if comment else []
    lines += _rows(recipe, _HEAD)
    for name in _TABLES:
        table = getattr(recipe, name)
        rows = list(_rows(table, tuple(field.name for field in fields(table))))
        if rows:
            lines += ["", f"[{name}]", *rows]
    for layer in recipe.layers:
        names = tuple(field.name for field in fields(layer) if field.name != "pattern")
        lines += ["", "[[layers]]", *_rows(layer, names)]
        if layer.pattern is not None:
            pattern = layer.pattern
            lines += ["[layers.pattern]", *_rows(pattern, tuple(f.name for f in fields(pattern)))]
    return "\n".join(lines) + "\n"


def _rows(table: Any, names: tuple[str, ...]) -> Iterator[str]:  # noqa: ANN401 - any dataclass
    unless_told = {
        field.name: MISSING if field.default is MISSING else field.default
        for field in fields(table)
    }
    for name in names:
        value = getattr(table, name)
        if value is not None and value != unless_told[name]:
            yield f"{name} = {_toml(value)}"


def _toml(value: Any) -> str:  # noqa: ANN401 - what a field of a recipe holds
    match value:
        case Position():
            return _toml(str(value))
        case Breakpoint():
            return f"[{_toml(value.at)}, {_toml(value.value)}]"
        case bool():
            return str(value).lower()
        case tuple():
            return f"[{', '.join(map(_toml, value))}]"
        case float():
            return f"{value:g}" if float(f"{value:g}") == value else repr(value)
        case str():
            return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
        case _:
            return str(value)
