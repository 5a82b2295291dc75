"""Writes what is published of the recipe language: its schema and its tables of fields.

Run ``python -m tests.recipes.recipe_reference`` after a change of the language.
"""

import json
from dataclasses import MISSING, fields
from pathlib import Path

from segue.recipes.json_schema import field_descriptions, recipe_schema
from segue.recipes.recipe import Length, Level, Pattern, Recipe, RecipeLayer, Suits, Tempo
from segue.recipes.rules import CURVE_RANGES, FIELDS, LONGEST_TEXT, PLACEHOLDERS, RANGES

DOCS = Path(__file__).parents[2] / "docs"
SCHEMA = DOCS / "recipe.schema.json"
REFERENCE = DOCS / "recipes.md"
TABLES = {
    "recipe": Recipe,
    "suits": Suits,
    "length": Length,
    "tempo": Tempo,
    "level": Level,
    "layers": RecipeLayer,
    "pattern": Pattern,
}
SHAPED = ("gain_db", "lowpass_hz", "highpass_hz", "pan", "reverb_db", "echo_db", "echo_beats")


def schema_text():
    return json.dumps(recipe_schema(), indent=1, ensure_ascii=False) + "\n"


def field_table(name):
    schema = recipe_schema()
    cls = TABLES[name]
    table = schema if cls is Recipe else schema["$defs"][cls.__name__]
    with_sources = cls is RecipeLayer
    head = ["field", "takes", "unless told", "what it is"] + ["sources"] * with_sources
    rows = [head, ["---"] * len(head)]
    for field in fields(cls):
        cells = [
            f"`{field.name}`",
            taken(field.name, table["properties"][field.name]),
            unless_told(field),
            field_descriptions(cls)[field.name],
        ]
        rows.append(cells + [sources(field.name)] * with_sources)
    return "".join(f"| {' | '.join(cells)} |\n" for cells in rows)


def taken(name, schema):
    if name in CURVE_RANGES:
        return f"a curve, {CURVE_RANGES[name]}"
    if "$ref" in schema or name == "layers":
        return {"Position": "a position"}.get(schema.get("$ref", "").split("/")[-1], "a table")
    if name in RANGES:
        return ("two numbers, " if schema["type"] == "array" else "") + str(RANGES[name])
    choices = schema.get("enum") or schema.get("items", {}).get("enum")
    if choices:
        several = "any of " if schema["type"] == "array" else ""
        return several + ", ".join(f"`{choice}`" for choice in choices)
    if name in LONGEST_TEXT:
        return f"a line of text, up to {LONGEST_TEXT[name]} signs"
    return {"string": "signs", "boolean": "`true` or `false`"}.get(
        schema["type"], f"`{schema.get('const')}`"
    )


def unless_told(field):
    if field.default is MISSING and field.default_factory is MISSING:
        return "**must be told**"
    if field.default in (None, "", ()) or field.default is MISSING:
        return ""
    default = field.default
    if isinstance(default, tuple):
        return f"`{[*default]}`"
    return f"`{str(default).lower() if isinstance(default, bool) else default}`"


def sources(name):
    own = [source for source, names in FIELDS.items() if name in names]
    if len(own) == len(FIELDS):
        return "all"
    if name in SHAPED:
        return "all but click and cue"
    return ", ".join(own)


def reference_text(text):
    words = ", ".join(f"`{{{word}}}`" for word in PLACEHOLDERS)
    made = {name: field_table(name) for name in TABLES} | {"placeholders": f"{words}\n"}
    for name, content in made.items():
        head, _, rest = text.partition(f"<!-- {name} -->\n")
        _, end, tail = rest.partition(f"<!-- end of {name} -->")
        text = f"{head}<!-- {name} -->\n{content}{end}{tail}"
    return text


if __name__ == "__main__":
    SCHEMA.write_text(schema_text(), encoding="utf-8")
    REFERENCE.write_text(reference_text(REFERENCE.read_text(encoding="utf-8")), encoding="utf-8")
