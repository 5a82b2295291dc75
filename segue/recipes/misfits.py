"""Everything that is wrong with a recipe's table, each with its place, in a musician's words.

The dataclasses check themselves; what pydantic says of a value of the wrong
kind is reworded here. What was wrong is mended and the table checked again
until nothing new turns up, so that one fault does not hide another.

From how musicians write positions and curves to the shape of the dataclasses.
"""

from __future__ import annotations

import copy
import json
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from segue.recipes.position import parse_position, shown
from segue.recipes.recipe import Recipe
from segue.recipes.recipe_words import sentence_of
from segue.recipes.rules import (
    CURVE_RANGES,
    FIELDS,
    NEEDED,
    PATTERN_ROWS,
    Misfit,
    MisfitError,
    foreign_field,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pydantic import TypeAdapter, ValidationError
    from pydantic_core import ErrorDetails

    from segue.recipes.rules import Place

ANCHORED: Final = ("start", "end")
"""Fields of a layer that hold a position."""

_BREAKPOINT: Final = "write a position and a number, such as ['entry - 2', -6]"


def with_positions(table: dict[str, Any]) -> tuple[dict[str, Any], list[Misfit]]:
    """A recipe's table with its positions and breakpoints taken apart.

    Parameters
    ----------
    table : dict
        With ``"entry - 2"`` for a position and ``["exit", 0]`` for a breakpoint.

    Returns
    -------
    table : dict
        A copy with tables in their place, as pydantic wants them; what is no
        position or breakpoint stays as it was.
    misfits : list of Misfit
        What is no position or breakpoint.
    """
    layers = table.get("layers")
    if not isinstance(layers, list):
        return table, []
    misfits: list[Misfit] = []
    shaped = [_layer(layer, ("layers", n), misfits) for n, layer in enumerate(layers)]
    return {**table, "layers": shaped}, misfits


def _layer(layer: Any, place: Place, misfits: list[Misfit]) -> Any:  # noqa: ANN401 - a TOML value
    if not isinstance(layer, dict):
        return layer
    shaped = dict(layer)
    for name in ANCHORED:
        if name in layer:
            shaped[name] = _position(layer[name], (*place, name), misfits)
    for name in CURVE_RANGES:
        if name in layer:
            shaped[name] = _curve(layer[name], (*place, name), misfits)
    return shaped


def _position(value: Any, place: Place, misfits: list[Misfit]) -> Any:  # noqa: ANN401 - a TOML value
    if not isinstance(value, str):
        sentence = f"{shown(value)} is not a position; write one in quotes, such as 'entry - 2'"
        misfits.append(Misfit(place, sentence))
        return value
    try:
        at = parse_position(value)
    except ValueError as error:
        misfits.append(Misfit(place, str(error)))
        return value
    return {"anchor": at.anchor, "bars": at.bars}


def _curve(value: Any, place: Place, misfits: list[Misfit]) -> Any:  # noqa: ANN401 - a TOML value
    if not isinstance(value, list):
        sentence = f"{shown(value)} is not a curve; write [['exit', 0], ['entry', -6]]"
        misfits.append(Misfit(place, sentence))
        return value
    return [_breakpoint(point, (*place, n), misfits) for n, point in enumerate(value)]


def _breakpoint(value: Any, place: Place, misfits: list[Misfit]) -> Any:  # noqa: ANN401 - a TOML value
    match value:
        case [at, int() | float() as number] if not isinstance(number, bool):
            return {"at": _position(at, place, misfits), "value": _float(number)}
        case _:
            misfits.append(Misfit(place, f"{shown(value)} is not a breakpoint; {_BREAKPOINT}"))
            return value


def _float(number: float) -> float:
    try:
        return float(number)
    except OverflowError:  # a whole number beyond every range
        return float("inf")


Table = dict[str, Any]

LAYER_FIELDS: Final = frozenset().union(*FIELDS.values())

_NEUTRAL_LAYER: Final = {"source": "outgoing", "start": "start", "end": "end"}
_NEUTRAL: Final[Table] = {
    "schema_version": 1,
    "name": "name",
    "family": "family",
    "summary": "summary",
    "why": "why",
    "length": {"least": 1, "default": 1, "most": 256},
    "layers": [_NEUTRAL_LAYER],
}
"""What stands in for a value that is wrong while the others are checked."""

_NEUTRAL_IN_LAYER: Final[Table] = {
    **_NEUTRAL_LAYER,
    "harmony": "path",
    "pattern": {"kick": "x"},
}

_MOST_ROUNDS: Final = 8  # of finding faults behind faults; by judgement


def recipe_of(table: Table) -> Recipe | tuple[Misfit, ...]:
    """A recipe from its TOML table, or all that is wrong with it.

    Parameters
    ----------
    table : dict
        As `tomllib` gives it.
    """
    found: dict[Place, Misfit] = {}
    attempt = table
    for _ in range(_MOST_ROUNDS):
        result = _checked(attempt)
        if isinstance(result, Recipe):
            return tuple(found.values()) or result
        fresh = [misfit for misfit in result if misfit.place not in found]
        if not fresh:
            break
        found.update((misfit.place, misfit) for misfit in fresh)
        attempt = _mended(attempt, fresh)
    return tuple(found.values())


def _checked(table: Table) -> Recipe | list[Misfit]:
    """One round: fields that fit no layer of the kind and positions first, then everything else."""
    from pydantic import ValidationError  # heavy, and who works with a recipe need not read one

    shaped, misfits = with_positions(table)
    misfits += _foreign_fields(table)
    if misfits:
        shaped, _ = with_positions(_mended(table, misfits))
    try:
        text = json.dumps(shaped, default=lambda value: {"date": str(value)})
        recipe = _adapter().validate_json(text, strict=True, extra="forbid")
    except ValidationError as error:
        return [*misfits, *_told(error, table)]
    return misfits or recipe


@lru_cache(maxsize=1)
def _adapter() -> TypeAdapter[Recipe]:
    from pydantic import TypeAdapter

    return TypeAdapter(Recipe)  # takes longer to make than to read a recipe with


def _foreign_fields(table: Table) -> Iterator[Misfit]:
    """Fields that do not fit their layer, also where they say what would hold without them."""
    layers = table.get("layers")
    for n, layer in enumerate(layers if isinstance(layers, list) else ()):
        source = _source(table, ("layers", n))
        if source is not None:
            for name in (name for name in layer if name in LAYER_FIELDS - set(FIELDS[source])):
                misfit = foreign_field(name, source)
                yield Misfit(("layers", n, *misfit.place), misfit.sentence)


def _told(error: ValidationError, table: Table) -> Iterator[Misfit]:
    for detail in error.errors(include_url=False):
        cause = detail.get("ctx", {}).get("error")
        if isinstance(cause, MisfitError):
            for misfit in cause.misfits:
                yield Misfit((*detail["loc"], *misfit.place), misfit.sentence)
        else:
            yield _reworded(detail, table)


def _reworded(detail: ErrorDetails, table: Table) -> Misfit:
    place = detail["loc"]
    if detail["type"].startswith("missing") and isinstance(place[-1], int):
        place = place[:-1]  # an item is missing: the list is too short
    return Misfit(
        place, sentence_of(detail, seen=_value_at(table, place), source=_source(table, place))
    )


def _value_at(table: Any, place: Place) -> Any:  # noqa: ANN401 - any TOML value
    for part in place:
        try:
            table = table[part]
        except (KeyError, IndexError, TypeError):
            return None
    return table


def _source(table: Table, place: Place) -> str | None:
    if place[:1] != ("layers",):
        return None
    source = _value_at(table, (*place[:2], "source"))
    return source if isinstance(source, str) and source in FIELDS else None


def _mended(table: Table, misfits: list[Misfit]) -> Table:
    """A copy without these faults."""
    copied = copy.deepcopy(table)
    for misfit in misfits:
        _mend(copied, misfit.place)
    return copied


def _mend(table: Table, place: Place) -> None:
    """Put something harmless where a fault is, in place; fields that may be missing go."""
    match place:
        case ("layers", int(number), "pattern", str(field)) if field in PATTERN_ROWS:
            table["layers"][number]["pattern"][field] = "x"
        case ("layers", int(number), "pattern", str(field)):
            table["layers"][number]["pattern"].pop(field, None)
        case ("layers", int(number), str(field), *_) if isinstance(table["layers"][number], dict):
            _mend_layer(table["layers"], number, field)
        case ("layers", int(number), *_):
            table["layers"][number] = dict(_NEUTRAL_LAYER)
        case ("suits" | "tempo" | "level" as name, str(field), *_) if isinstance(table[name], dict):
            table[name].pop(field, None)
        case (str(name), *_) if name in _NEUTRAL:
            table[name] = copy.deepcopy(_NEUTRAL[name])
        case (name, *_):
            table.pop(str(name), None)
        case _:
            raise AssertionError  # unreachable: only an object can be validated, and it is one


def _mend_layer(layers: list[Table], number: int, field: str) -> None:
    layer = layers[number]
    if field == "source":
        layers[number] = dict(_NEUTRAL_LAYER)
    elif field in ("start", "end") or field == NEEDED.get(layer.get("source", "")):
        layer[field] = copy.deepcopy(_NEUTRAL_IN_LAYER[field])
    else:
        layer.pop(field, None)
