"""What pydantic finds wrong with a recipe, said so that a musician can mend it."""

from __future__ import annotations

import re
from dataclasses import fields
from typing import TYPE_CHECKING, Any, Final

from segue.recipes.position import shown
from segue.recipes.recipe import Length, Level, Pattern, Recipe, RecipeLayer, Suits, Tempo
from segue.recipes.rules import FIELDS, Place, meant

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails


TABLES: Final = {
    "suits": Suits,
    "length": Length,
    "tempo": Tempo,
    "level": Level,
    "pattern": Pattern,
}
"""Classes of the tables that have a name."""

_EXAMPLES: Final = {
    "schema_version": "schema_version = 1",
    "name": "name = 'pad in the new key'",
    "family": "family = 'pad'",
    "summary": "summary = 'A warm pad walks into the new key.'",
    "why": "why = '{key_from} leads to {key_to} in {bars} bars.'",
    "length": "a table [length] with least, default and most",
    "layers": "a table [[layers]] for each layer",
    "least": "least = 2",
    "default": "default = 4",
    "most": "most = 8",
    "source": "source = 'pad'",
    "start": "start = 'exit'",
    "end": "end = 'entry + 1'",
}

_KINDS: Final = {
    "string_type": "text; put it in quotes",
    "int_type": "whole number; write one without quotes, such as 4",
    "int_from_float": "whole number; write one such as 4",
    "int_parsing_size": "whole number that anyone could count",
    "float_type": "number; write one without quotes, such as 0.5",
    "tuple_type": "list; write it in square brackets",
}
_TABLE_KINDS: Final = ("dataclass_type", "dict_type", "model_type")
_LITERALS: Final = re.compile(r"'([^']*)'|(?<![\w'])(\d+)")


def sentence_of(detail: ErrorDetails, *, seen: Any, source: str | None) -> str:  # noqa: ANN401 - a TOML value
    """What is wrong with a value and what would be right, without its place.

    Parameters
    ----------
    source : str or None
        Source of the layer it is in.
    """
    place, kind = detail["loc"], detail["type"]
    if kind == "literal_error":
        return _no_choice(seen, detail["ctx"]["expected"])
    if kind in ("unexpected_keyword_argument", "extra_forbidden"):
        known = _known_fields(place[:-1], source)
        name = str(place[-1])
        return f"no such field{meant(name, known) or '; there are ' + ', '.join(known)}"
    if kind in ("missing", "missing_argument") and isinstance(place[-1], str):
        return f"is missing; write {_EXAMPLES.get(place[-1], 'it')}"
    if kind in ("missing", "missing_argument", "too_long", "too_short"):
        return "takes two numbers, the least and the most, such as [0.0, 0.5]"
    if place == ("layers",):
        return "is not a list of tables; head each layer with [[layers]], in two brackets"
    if kind in _TABLE_KINDS:
        return f"{shown(seen)} is not a table; write the fields one a line under its heading"
    if kind in _KINDS:
        return f"{shown(seen)} is not a {_KINDS[kind]}"
    return f"{shown(seen)} is refused: {detail['msg']}"


def place_in_words(place: Place, table: dict[str, Any]) -> str:
    """Place of a value as a musician would point to it.

    Examples
    --------
    >>> place_in_words(("layers", 1, "gain_db", 0), {"layers": [{}, {"name": "pad"}]})
    "layer 2 'pad', gain_db, item 1"
    """
    words: list[str] = []
    for part in place:
        if isinstance(part, str):
            words.append(shown(part).strip("'") if part.isprintable() else shown(part))
        elif words == ["layers"]:
            words = [f"layer {part + 1}{_layer_name(table, part)}"]
        else:
            words.append(f"item {part + 1}")
    return ", ".join(words)


def _layer_name(table: dict[str, Any], number: int) -> str:
    try:
        name = table["layers"][number]["name"]
    except (KeyError, IndexError, TypeError):
        return ""
    return f" {shown(name)}" if isinstance(name, str) else ""


def _no_choice(seen: Any, expected: str) -> str:  # noqa: ANN401 - a TOML value
    known = [text or number for text, number in _LITERALS.findall(expected)]
    hint = meant(seen, known) if isinstance(seen, str) else ""
    if len(known) == 1:
        return f"{shown(seen)} is not {known[0]}; write {known[0]}"
    return f"{shown(seen)} is none of {', '.join(known)}{hint or '; take one of these'}"


def _known_fields(place: Place, source: str | None) -> list[str]:
    if place and place[-1] in TABLES:
        return [field.name for field in fields(TABLES[str(place[-1])])]
    if place[:1] == ("layers",):
        every = [field.name for field in fields(RecipeLayer)]
        return [name for name in every if source is None or name in FIELDS[source]]
    return [field.name for field in fields(Recipe)]
