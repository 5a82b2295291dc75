"""From how musicians write positions and curves to the shape of the dataclasses."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from segue.plan.position import parse_position, shown
from segue.plan.recipe_rules import CURVE_RANGES, Misfit

if TYPE_CHECKING:
    from segue.plan.recipe_rules import Place

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
