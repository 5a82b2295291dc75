"""Recipe files: one of them with every fault and its line, or all that are at hand.

Those are the built-in shelf, a folder of one's own, or both.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from segue.errors import OptionError, RecipeError, did_you_mean, printable, shortened
from segue.files.toml_lines import checked_table, line_of, toml_lines, toml_text
from segue.recipes.lint import recipe_warnings
from segue.recipes.misfits import recipe_of
from segue.recipes.recipe import Recipe
from segue.recipes.recipe_words import place_in_words

if TYPE_CHECKING:
    from collections.abc import Collection

    from segue.recipes.rules import Misfit


LARGEST_BYTES: Final = 65_536
"""A recipe is a page; anything larger was named by mistake."""

DEEPEST: Final = 8
"""Levels of a recipe's tables and lists: a breakpoint is the fifth."""


def load_recipe(path: Path) -> Recipe:
    """Read a recipe file.

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
    table = checked_table(text, path, fault=RecipeError)
    if _depth(table) > DEEPEST:
        words = "is nested deeper than any recipe; make tables and lists at most five deep."
        raise RecipeError(path, (0, words))
    return table


def _depth(table: dict[str, Any]) -> int:
    depth = 0
    level: list[Any] = [table]
    while level and depth <= DEEPEST:
        depth += 1
        inside = (node.values() if isinstance(node, dict) else node for node in level)
        level = [item for items in inside for item in items if isinstance(item, dict | list)]
    return depth


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelved:
    """A recipe and where it comes from.

    Parameters
    ----------
    origin : {'shelf', 'yours'}
        Whether it is built in.
    """

    recipe: Recipe
    path: Path
    origin: Literal["shelf", "yours"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """All recipes at hand.

    Parameters
    ----------
    shelved : tuple of Shelved
        Sorted by file name, the shelf first; names differ.
    skipped : tuple of str
        Sentences about own recipes that could not be used.
    """

    shelved: tuple[Shelved, ...]
    skipped: tuple[str, ...] = ()

    @property
    def recipes(self) -> tuple[Recipe, ...]:
        """The recipes alone."""
        return tuple(one.recipe for one in self.shelved)

    def named(self, name: str, *, where: str = "") -> Shelved:
        """The recipe of a name.

        Parameters
        ----------
        where : str
            Where the name was typed, such as '--recipe ', for the sentence.

        Raises
        ------
        OptionError
            If there is none.
        """
        by_name = {one.recipe.name: one for one in self.shelved}
        if name not in by_name:
            raise OptionError(
                f"{where}'{shortened(name)}' is not a recipe: take one that 'segue recipes' lists."
                f"{did_you_mean(name, by_name)}"
            )
        return by_name[name]


def shelf_folder() -> Path:
    """Folder of the built-in recipes, in a checkout or in an installed package."""
    package = Path(__file__).resolve().parent.parent
    shipped = package / "_shipped" / "recipes"
    return shipped if shipped.is_dir() else package.parent / "recipes"


def load_recipes(folder: Path) -> tuple[Recipe, ...]:
    """Read all recipes of a folder, sorted by file name.

    Raises
    ------
    RecipeError
        If the folder has no recipe, or as `load_recipe`.
    """
    paths = _paths(folder)
    if not paths:
        raise RecipeError(
            folder, (0, "holds no recipe: put .toml files there or name another folder.")
        )
    return tuple(load_recipe(path) for path in paths)


def all_recipes(instead: Path | None = None, *, own: Path | None = None) -> Shelf:
    """The recipes to choose from.

    Parameters
    ----------
    instead : Path or None
        A folder that takes the place of everything else.
    own : Path or None
        A folder of the user's own recipes beside the shelf; it need not exist.
        One named like a built-in recipe takes its place, a broken one is skipped.

    Raises
    ------
    RecipeError
        If `instead` has no recipe or a broken one, or two of the same name.
    """
    if instead is not None:
        return Shelf(shelved=_different(_shelved(instead, "yours")))
    built_in = _shelved(shelf_folder(), "shelf")
    if own is None:
        return Shelf(shelved=built_in)
    mine, skipped = _own(own)
    names = {one.recipe.name for one in mine}
    kept = tuple(one for one in built_in if one.recipe.name not in names)
    return Shelf(shelved=(*kept, *mine), skipped=skipped)


def _shelved(folder: Path, origin: Literal["shelf", "yours"]) -> tuple[Shelved, ...]:
    recipes = load_recipes(folder)
    return tuple(
        Shelved(recipe=recipe, path=path, origin=origin)
        for recipe, path in zip(recipes, _paths(folder), strict=True)
    )


def _different(shelved: tuple[Shelved, ...]) -> tuple[Shelved, ...]:
    first: dict[str, Path] = {}
    for one in shelved:
        if one.recipe.name in first:
            raise _named_twice(one.recipe.name, one.path, first[one.recipe.name])
        first[one.recipe.name] = one.path
    return shelved


def _own(folder: Path) -> tuple[tuple[Shelved, ...], tuple[str, ...]]:
    found: dict[str, Shelved] = {}
    skipped = []
    for path in _paths(folder):
        try:
            recipe = load_recipe(path)
        except RecipeError as error:
            skipped.append(_shortly(error, path))
            continue
        if recipe.name in found:
            skipped.append(str(_named_twice(recipe.name, path, found[recipe.name].path)))
        else:
            found[recipe.name] = Shelved(recipe=recipe, path=path, origin="yours")
    return tuple(found.values()), tuple(skipped)


def _shortly(error: RecipeError, path: Path) -> str:
    """The first fault of a file, and where to read of the others."""
    first, *others = error.sentences
    if not others:
        return first
    command = f"segue recipes check '{printable(path)}'"
    return f"{first.removesuffix('.')} (and {len(others)} more: {command})."


def _named_twice(name: str, path: Path, first: Path) -> RecipeError:
    sentence = f"is named '{name}' as {first.name} beside it is; give it a name of its own."
    return RecipeError(path, (0, sentence))


def _paths(folder: Path) -> list[Path]:
    return sorted(folder.glob("*.toml"))
