"""Reading one recipe file: its text, its table, and every fault with its line."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any, Final

from segue.errors import RecipeError, printable
from segue.files.toml_lines import line_of, syntax_fault, toml_lines, toml_table, toml_text
from segue.recipes.lint import recipe_warnings
from segue.recipes.misfits import recipe_of
from segue.recipes.recipe import Recipe
from segue.recipes.recipe_words import place_in_words

if TYPE_CHECKING:
    from collections.abc import Collection
    from pathlib import Path

    from segue.recipes.rules import Misfit

LARGEST_BYTES: Final = 65_536
"""A recipe is a page; anything larger was named by mistake."""

DEEPEST: Final = 8
"""Levels of a recipe's tables and lists: a breakpoint is the fifth."""


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
        all problems are told at once, each with its line.
    """
    return parse_recipe(_text(path), path)


def parse_recipe(text: str, path: Path) -> Recipe:
    """A recipe from the text of its file.

    Parameters
    ----------
    path : Path
        Named in what is told; not read.

    Raises
    ------
    RecipeError
        As `load_recipe`.
    """
    table = _table(text, path)
    result = recipe_of(table)
    if isinstance(result, Recipe):
        return result
    lines = toml_lines(text)
    told = sorted((line_of(lines, misfit.place), _sentence(misfit, table)) for misfit in result)
    raise RecipeError(path, *told)


def placed_warnings(recipe: Recipe, path: Path, *, taken: Collection[str] = ()) -> tuple[str, ...]:
    """What may go wrong on stage, each sentence with its line.

    Parameters
    ----------
    recipe : Recipe
        As read from `path`.
    taken : collection of str
        Names of other recipes.
    """
    text = _text(path)
    table, lines = _table(text, path), toml_lines(text)
    told = sorted(
        (line_of(lines, misfit.place), _sentence(misfit, table))
        for misfit in recipe_warnings(recipe, taken=taken)
    )
    return tuple(f"{printable(path)}:{line}: {sentence}" for line, sentence in told)


_VERBS: Final = ("is ", "are ", "has ", "takes ", "needs ", "says ", "leave ", "never ")


def _sentence(misfit: Misfit, table: dict[str, Any]) -> str:
    where = place_in_words(misfit.place, table)
    joint = " " if misfit.sentence.startswith(_VERBS) else ": "
    return f"{where}{joint}{misfit.sentence}".removesuffix(".") + (
        "" if misfit.sentence.endswith("?") else "."
    )


def _text(path: Path) -> str:
    return toml_text(path, most_bytes=LARGEST_BYTES, fault=RecipeError, named="a recipe")


def _table(text: str, path: Path) -> dict[str, Any]:
    try:
        table = toml_table(text)
    except tomllib.TOMLDecodeError as error:
        raise RecipeError(path, syntax_fault(error, text)) from error
    except RecursionError as error:
        raise RecipeError(path, _too_deep()) from error
    except ValueError as error:  # whole numbers of thousands of digits
        raise RecipeError(
            path, (0, "has a number in it that is too long to be read; shorten it.")
        ) from error
    if _depth(table) > DEEPEST:
        raise RecipeError(path, _too_deep())
    return table


def _too_deep() -> tuple[int, str]:
    return 0, "is nested deeper than any recipe; make tables and lists at most five deep."


def _depth(table: dict[str, Any]) -> int:
    depth = 0
    level: list[Any] = [table]
    while level and depth <= DEEPEST:
        depth += 1
        inside = (node.values() if isinstance(node, dict) else node for node in level)
        level = [item for items in inside for item in items if isinstance(item, dict | list)]
    return depth
