"""Loading recipes from TOML: the built-in shelf and the user's own files."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import TypeAdapter, ValidationError

from segue.errors import RecipeError
from segue.plan.recipe import Recipe, parse_position

if TYPE_CHECKING:
    from collections.abc import Iterable

_CURVES = ("gain_db", "lowpass_hz", "highpass_hz", "reverb_db")
_ANCHORED = ("start", "end")


def shelf_folder() -> Path:
    """Folder of the built-in recipes, in a checkout or in an installed package."""
    package = Path(__file__).resolve().parent.parent
    shipped = package / "_shipped" / "recipes"
    return shipped if shipped.is_dir() else package.parent / "recipes"


def load_recipe(path: Path) -> Recipe:
    """Read a recipe file.

    Parameters
    ----------
    path : Path
        A TOML file.

    Returns
    -------
    Recipe
        The recipe, checked.

    Raises
    ------
    RecipeError
        If the file cannot be read, is not TOML, or says something impossible;
        all problems are told at once, each with its place.
    """
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise RecipeError(path, f"cannot be read ({error.strerror}).") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise RecipeError(path, f"is not valid TOML: {error}.") from error
    try:
        text = json.dumps(_with_positions(table), default=str, allow_nan=False)
        return TypeAdapter(Recipe).validate_json(text, strict=True, extra="forbid")
    except ValidationError as error:
        raise RecipeError(path, _problems(error)) from error
    except ValueError as error:
        raise RecipeError(path, f"{error}.") from error


def load_recipes(folder: Path) -> tuple[Recipe, ...]:
    """Read all recipes of a folder, sorted by file name.

    Raises
    ------
    RecipeError
        If the folder has no recipe, or as `load_recipe`.
    """
    paths = sorted(folder.glob("*.toml"))
    if not paths:
        raise RecipeError(folder, "holds no recipe: put .toml files there or name another folder.")
    return tuple(load_recipe(path) for path in paths)


def _with_positions(table: dict[str, Any]) -> dict[str, Any]:
    """Turn ``"entry - 2"`` and ``["exit", 0]`` into the shapes of the dataclasses."""
    layers = table.get("layers")
    if not isinstance(layers, list):
        return table
    return {**table, "layers": [_layer(n, layer) for n, layer in enumerate(layers, start=1)]}


def _layer(number: int, layer: Any) -> Any:  # noqa: ANN401 - a TOML value, checked later
    if not isinstance(layer, dict):
        return layer
    try:
        anchored = {name: _position(layer[name]) for name in _ANCHORED if name in layer}
        curves = {
            name: [_breakpoint(point) for point in layer[name]]
            for name in _CURVES
            if isinstance(layer.get(name), list)
        }
    except ValueError as error:
        raise ValueError(f"layer {number}: {error}") from error
    return {**layer, **anchored, **curves}


def _position(value: Any) -> Any:  # noqa: ANN401 - a TOML value, checked later
    if not isinstance(value, str):
        return value
    place = parse_position(value)
    return {"anchor": place.anchor, "bars": place.bars}


def _breakpoint(value: Any) -> Any:  # noqa: ANN401 - a TOML value, checked later
    match value:
        case [str(at), int(number) | float(number)]:
            return {"at": _position(at), "value": float(number)}
        case _:
            raise ValueError(f"{value!r} is not a breakpoint: write ['entry - 2', -6]")


def _problems(error: ValidationError) -> str:
    return "; ".join(_problem(e["loc"], e["msg"]) for e in error.errors()) + "."


def _problem(place: Iterable[int | str], message: str) -> str:
    words = [f"{part + 1}" if isinstance(part, int) else str(part) for part in place]
    where = " ".join(words) or "the recipe"
    return f"{where}: {message.removeprefix('Value error, ')}"
