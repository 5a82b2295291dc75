"""The recipe language as a JSON Schema (draft 2020-12), made from the dataclasses.

Pydantic derives the schema of the dataclasses; what a TOML file writes
otherwise, which numbers are sense and which fields fit which source is put in
from the tables of `segue.recipes.rules`. Order (of positions, of least and
most) is beyond a schema: only reading the recipe checks it.
"""

from __future__ import annotations

import inspect
import re
from typing import Any, Final

from pydantic import TypeAdapter

from segue.recipes.position import POSITION_PATTERN
from segue.recipes.recipe import Length, Level, Pattern, Recipe, RecipeLayer, Suits, Tempo
from segue.recipes.rules import (
    CURVE_RANGES,
    FIELDS,
    LONGEST_PATTERN,
    LONGEST_TEXT,
    MOST_BREAKPOINTS,
    MOST_LAYERS,
    NEEDED,
    PATTERN_ROWS,
    PLACEHOLDERS,
    RANGES,
)

Schema = dict[str, Any]

DIALECT: Final = "https://json-schema.org/draft/2020-12/schema"

_DOCUMENTED: Final = (Recipe, Suits, Length, Tempo, Level, RecipeLayer, Pattern)
_ENTRY: Final = re.compile(r"^(\w[\w, ]*?)(?: : .*)?$")
_ON_ONE_LINE: Final = r"^[^\u0000-\u001f\u007f]*$"
_SAYS_SOMETHING: Final = r"^(?=.*\S)[^\u0000-\u001f\u007f]*$"


def recipe_schema() -> Schema:
    """The schema of a recipe file.

    As JSON values.
    """
    derived = TypeAdapter(Recipe).json_schema()
    tables: Schema = {name: table for name, table in derived.pop("$defs").items() if name in _NAMES}
    recipe = {key: derived[key] for key in ("type", "properties", "required")}
    tables["Recipe"] = recipe
    for cls in _DOCUMENTED:
        _finish(tables[cls.__name__], cls)
    tables["Position"] = _position()
    tables["RecipeLayer"]["allOf"] = [_of_source(source) for source in FIELDS]
    recipe["properties"]["layers"] |= {"minItems": 1, "maxItems": MOST_LAYERS}
    recipe["properties"]["why"]["pattern"] = _why_pattern()
    tables["Pattern"]["anyOf"] = [_has_row(row) for row in PATTERN_ROWS]
    del tables["Recipe"]
    return {"$schema": DIALECT, "title": "Recipe", **recipe, "$defs": dict(sorted(tables.items()))}


def field_descriptions(cls: type) -> dict[str, str]:
    """What each field of a documented dataclass is, from its docstring.

    Empty for a field that needs no words.

    Parameters
    ----------
    cls : type
        With a numpydoc section of parameters.

    Examples
    --------
    >>> field_descriptions(Pattern)["kick"]
    'One sign a step; repeated to the length that is played, or its last bars.'
    """
    section = (inspect.getdoc(cls) or "").partition("Parameters\n----------\n")[2]
    described: dict[str, str] = {}
    names: list[str] = []
    for line in section.splitlines():
        entry = _ENTRY.match(line)
        if entry:
            names = entry[1].split(", ")
            described |= dict.fromkeys(names, "")
        elif line.strip():
            words = f"{described[names[0]]} {line.strip()}".strip()
            described |= dict.fromkeys(names, words)
    return described


_NAMES: Final = tuple(cls.__name__ for cls in _DOCUMENTED)


def _finish(table: Schema, cls: type) -> None:
    """Words, ranges and strictness for the schema of one dataclass, in place."""
    table.pop("title", None)
    table["description"] = (inspect.getdoc(cls) or "").partition("\n")[0]
    table["additionalProperties"] = False
    described = field_descriptions(cls)
    for name, field in table["properties"].items():
        table["properties"][name] = _field(name, field, described.get(name, ""))


def _field(name: str, derived: Schema, description: str) -> Schema:
    field = {key: value for key, value in derived.items() if key != "title"}
    if "anyOf" in field:  # TOML has no null: leaving the field out says so
        (field_itself,) = (one for one in field.pop("anyOf") if one.get("type") != "null")
        field |= field_itself
        field.pop("default", None)
    if name in CURVE_RANGES:
        field |= _curve(name)
    if name in RANGES:
        _limit(name, field)
    if name in LONGEST_TEXT:
        field |= {"maxLength": LONGEST_TEXT[name], "pattern": _ON_ONE_LINE}
        if "default" not in field:
            field["pattern"] = _SAYS_SOMETHING
    if name in PATTERN_ROWS:
        field |= {"pattern": "^[xo-]*$", "maxLength": LONGEST_PATTERN}
    return {**field, "description": description} if description else field


def _limit(name: str, field: Schema) -> None:
    limits = {"minimum": RANGES[name].least, "maximum": RANGES[name].most}
    if field["type"] == "array":
        field["prefixItems"] = [{**item, **limits} for item in field["prefixItems"]]
    else:
        field |= limits


def _curve(name: str) -> Schema:
    allowed = CURVE_RANGES[name]
    value = {"type": "number", "minimum": allowed.least, "maximum": allowed.most}
    point = {
        "type": "array",
        "prefixItems": [{"$ref": "#/$defs/Position"}, value],
        "minItems": 2,
        "maxItems": 2,
    }
    return {"type": "array", "items": point, "maxItems": MOST_BREAKPOINTS}


def _position() -> Schema:
    return {
        "type": "string",
        "pattern": f"^{POSITION_PATTERN}$",
        "description": "An anchor (start, exit, entry, end) and bars, such as 'entry - 2'.",
    }


def _of_source(source: str) -> Schema:
    """Fields that fit a source, and the one it cannot do without."""
    then: Schema = {"propertyNames": {"enum": list(FIELDS[source])}}
    if source in NEEDED:
        then["required"] = [NEEDED[source]]
    if NEEDED.get(source) == "harmony":
        then["properties"] = {"harmony": {"not": {"const": "none"}}}
    return {
        "if": {"properties": {"source": {"const": source}}, "required": ["source"]},
        "then": then,
    }


def _has_row(row: str) -> Schema:
    return {"properties": {row: {"minLength": 1}}, "required": [row]}


def _why_pattern() -> str:
    return rf"^(?=.*\S)(?:[^{{}}\u0000-\u001f\u007f]|\{{(?:{'|'.join(PLACEHOLDERS)})\}})*$"
