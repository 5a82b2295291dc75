"""A changed option kept as a recipe of one's own: a file that reads back as the same recipe."""

from __future__ import annotations

from dataclasses import MISSING, fields, replace
from typing import TYPE_CHECKING, Any, Final

from segue.errors import InputError, OptionError, disk_faults, shortened
from segue.files.toml_lines import toml_value
from segue.files.whole_file import write_whole
from segue.job.changes import Changes, changed
from segue.recipes.position import Breakpoint, Position
from segue.recipes.recipe_file import parse_recipe
from segue.recipes.rules import MisfitError
from segue.runfolder import read_document
from segue.runfolder.run_document import candidate_of

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from segue.recipes import Recipe


_HEAD: Final = ("schema_version", "name", "family", "summary", "why", "on_purpose")
_TABLES: Final = ("suits", "length", "tempo", "level")


def own_recipe(
    run: Path,
    which: int | str | None,
    changes: Changes,
    *,
    name: str,
    own_recipes: Path | None = None,
) -> Recipe:
    """The recipe of an option, changed or as it is, under another name.

    It is as long as the option is where nothing else is asked for, within its least and most.

    Raises
    ------
    SegueError
        If something cannot be done, or the name is none.
    """
    document = read_document(run)
    record = candidate_of(document, which)
    made = record.made
    if changes != Changes():
        keys = (document.outgoing.key.key, document.incoming.key.key)
        made = changed(record, changes, keys=keys, own_recipes=own_recipes).making
    if made is None:
        raise OptionError(
            f"option {record.label} has no recipe with it: an older Segue made the run; make it "
            "again with 'segue between'."
        )
    recipe = made.recipe
    n_bars = made.asked.n_bars
    if n_bars is not None:
        length = recipe.length
        default = min(max(n_bars, length.least), length.most)
        recipe = replace(recipe, length=replace(length, default=default, aim_s=None))
    try:
        return replace(recipe, name=name)
    except MisfitError as error:
        raise OptionError(
            f"'{shortened(name)}' cannot be the name of a recipe: it {error.misfits[0].sentence}."
        ) from error


def write_recipe(recipe: Recipe, path: Path, *, comment: str = "") -> None:
    """Write a recipe to a file that reads back as the same recipe.

    Raises
    ------
    InputError
        If the file is there already, or cannot be written.
    """
    if path.suffix != ".toml":
        raise InputError(path, "is no name for a recipe: end it in .toml.")
    if path.exists():
        raise InputError(path, "is there already: name another file.")
    text = recipe_text(recipe, comment=comment)
    if parse_recipe(text, path) != recipe:
        raise AssertionError(f"{path} would read back as another recipe")
    with disk_faults(path, "cannot be written ({}): name another file."):
        write_whole(path, text.encode())


def recipe_text(recipe: Recipe, *, comment: str = "") -> str:
    """A recipe in TOML, without the fields that say what they would say anyway.

    Ends with a newline.

    Parameters
    ----------
    comment : str
        First line; empty for none.
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
            return toml_value(value)
        case _:
            return str(value)
