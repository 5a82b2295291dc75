"""``segue recipes``: what is on the shelf, one drawn, one's own checked, the language's schema."""

from __future__ import annotations

import sys
from pathlib import Path  # noqa: TC003 - typer reads the types at run time
from typing import TYPE_CHECKING, Annotated, Any

import typer

from segue.cli.hints import HeadedGroup, example_of
from segue.cli.options import Json, Recipes
from segue.errors import RecipeError, printable

if TYPE_CHECKING:
    from segue.cli.recipe_drawing import Signs
    from segue.recipes import Shelf

recipes = typer.Typer(
    name="recipes",
    cls=HeadedGroup,
    help="List the recipes, draw one, check your own.",
    epilog=example_of("recipes"),
    rich_markup_mode=None,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def own_recipes_folder() -> Path:
    """Where a user's own recipes live beside the shelf, as the system has it."""
    import platformdirs

    return platformdirs.user_config_path("segue") / "recipes"


def shelf_at_hand(instead: Path | None) -> Shelf:
    """The recipes to choose from; what had to be skipped is told on the error stream."""
    from segue.recipes import all_recipes

    shelf = all_recipes(instead, own=own_recipes_folder())
    for sentence in shelf.skipped:
        print(f"segue: skipped {sentence}", file=sys.stderr)
    return shelf


@recipes.callback()
def list_recipes(context: typer.Context, folder: Recipes = None, json: Json = False) -> None:
    """List the recipes, draw one, check your own."""
    context.obj = folder
    if context.invoked_subcommand is not None:
        return
    from segue.cli.hints import print_next
    from segue.cli.tables import print_json, print_recipes

    shelf = shelf_at_hand(folder)
    if json:
        print_json(_list_report(shelf))
        return
    print_recipes(shelf)
    print_next("\nSee one drawn", "recipes", "show", shelf.shelved[0].recipe.name)


@recipes.command(epilog=example_of("recipes show"))
def show(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="Name of a recipe: 'tempo ramp'.")],
    folder: Recipes = None,
) -> None:
    """Draw a recipe as a timeline: bars across, one row a layer."""
    from rich.console import Console

    from segue.cli.recipe_drawing import recipe_drawing

    shelf = shelf_at_hand(folder or context.obj)
    shown = shelf.named(name)
    for line in recipe_drawing(shown.recipe, width=Console().width, signs=_signs()):
        print(line)
    print(f"\nWritten in {printable(shown.path)}")


@recipes.command(epilog=example_of("recipes check"))
def check(
    files: Annotated[list[Path], typer.Argument(help="Recipe files.")], json: Json = False
) -> None:
    """Check recipe files: every error with its line, and what may go wrong on stage."""
    from segue.cli.tables import print_json

    findings = [finding for file in files for finding in _findings(file)]
    if json:
        print_json(findings)
    else:
        _print_findings(files, findings)
    if any(finding["kind"] == "error" for finding in findings):
        raise typer.Exit(2)


@recipes.command(epilog=example_of("recipes schema"))
def schema() -> None:
    """Print the JSON Schema of the recipe language, for editors."""
    from segue.cli.tables import print_json
    from segue.recipes.json_schema import recipe_schema

    print_json(recipe_schema())


def _list_report(shelf: Shelf) -> list[dict[str, str]]:
    return [
        {
            "name": one.recipe.name,
            "family": one.recipe.family,
            "summary": one.recipe.summary,
            "origin": one.origin,
            "file": str(one.path),
        }
        for one in shelf.shelved
    ]


def _findings(file: Path) -> list[dict[str, Any]]:
    from segue.recipes import all_recipes, load_recipe
    from segue.recipes.recipe_file import placed_warnings

    try:
        recipe = load_recipe(file)
    except RecipeError as error:
        return [_finding(file, "error", sentence) for sentence in error.sentences]
    others = [one for one in all_recipes().shelved if not _is_same(one.path, file)]
    told = placed_warnings(recipe, file, taken={one.recipe.name for one in others})
    return [_finding(file, "warning", sentence) for sentence in told]


def _finding(file: Path, kind: str, sentence: str) -> dict[str, Any]:
    return {"file": str(file), "kind": kind, "sentence": sentence}


def _print_findings(files: list[Path], findings: list[dict[str, Any]]) -> None:
    for finding in findings:
        if finding["kind"] == "error":
            print(f"segue: {finding['sentence']}", file=sys.stderr)
        else:
            print(f"warning: {finding['sentence']}")
    faulty = {finding["file"] for finding in findings}
    for file in files:
        if str(file) not in faulty:
            print(f"{printable(file)}: nothing to complain of.")


def _is_same(one: Path, other: Path) -> bool:
    return one.resolve() == other.resolve()


def _signs() -> Signs:
    """Block characters, or plain ones where the terminal cannot show them."""
    from segue.cli.recipe_drawing import ASCII, BLOCKS

    try:
        f"{BLOCKS.levels}{BLOCKS.ramp}{BLOCKS.new}".encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return ASCII
    return BLOCKS
