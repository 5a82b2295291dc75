"""Writes what is published of `segue.json`: its JSON Schema and its tables of fields.

Run ``python -m tests.runfolder.run_reference`` after a change of the run document.
"""

import inspect
import json
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import get_args, get_type_hints

from pydantic import TypeAdapter

from segue.recipes.json_schema import DIALECT, field_descriptions
from segue.runfolder import RunDocument

DOCS = Path(__file__).parents[2] / "docs"
SCHEMA = DOCS / "run-document.schema.json"
REFERENCE = DOCS / "run-document.md"
MARK, END = "<!-- fields -->\n", "<!-- end of fields -->"


def classes():
    """All dataclasses of a run document by name, each after the one that first holds it."""
    found = {}
    _collect(RunDocument, found)
    return found


def _collect(kind, found):
    inner = get_args(kind)
    if is_dataclass(kind) and kind.__name__ not in found:
        found[kind.__name__] = kind
        hints = get_type_hints(kind)
        inner = [hints[field.name] for field in fields(kind)]
    for one in inner:
        _collect(one, found)


def run_schema():
    schema = TypeAdapter(RunDocument).json_schema(mode="serialization")
    tables = schema.pop("$defs")
    for name, table in [("RunDocument", schema), *tables.items()]:
        _finish(table, classes()[name])
    return {"$schema": DIALECT, "title": "Run", **schema, "$defs": dict(sorted(tables.items()))}


def _finish(table, cls):
    table.pop("title", None)
    table["description"] = inspect.getdoc(cls).partition("\n")[0]
    table["additionalProperties"] = False
    described = field_descriptions(cls)
    for name, field in table["properties"].items():
        field.pop("title", None)
        if described.get(name):
            field["description"] = described[name]


def schema_text():
    return json.dumps(run_schema(), indent=1, ensure_ascii=False) + "\n"


def field_tables():
    schema = run_schema()
    tables = {"RunDocument": schema, **schema["$defs"]}
    return "\n".join(_field_table(name, tables[name]) for name in classes())


def _field_table(name, table):
    rows = [f"### {name}\n", f"{table['description']}\n", "| field | holds | what it is |"]
    rows.append("|---|---|---|")
    for field, schema in table["properties"].items():
        rows.append(f"| `{field}` | {_holds(schema)} | {schema.get('description', '')} |")
    return "\n".join(rows) + "\n"


def _holds(schema):
    if "$ref" in schema:
        name = schema["$ref"].split("/")[-1]
        return f"[{name}](#{name.lower()})"
    several = schema.get("anyOf") or schema.get("oneOf")
    if several:
        return " or ".join(_holds(one) for one in several)
    if "prefixItems" in schema:
        return ", ".join(_holds(one) for one in schema["prefixItems"])
    if schema.get("type") == "array":
        return f"list of {_holds(schema['items'])}"
    if "enum" in schema or "const" in schema:
        values = schema.get("enum", [schema.get("const")])
        return ", ".join(f"`{json.dumps(value)}`" for value in values)
    return {"null": "`null`", "boolean": "`true` or `false`", "string": "text"}.get(
        schema["type"], schema["type"]
    )


def reference_text(text):
    head, mark, rest = text.partition(MARK)
    _, end, tail = rest.partition(END)
    return f"{head}{mark}{field_tables()}{end}{tail}"


if __name__ == "__main__":
    SCHEMA.write_text(schema_text(), encoding="utf-8")
    REFERENCE.write_text(reference_text(REFERENCE.read_text(encoding="utf-8")), encoding="utf-8")
