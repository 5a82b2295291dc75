"""``segue recipes`` as a person uses it."""

import json
import os
import subprocess
import sys

import jsonschema
import pytest

from benchmarks._in_process import run_here
from segue.cli.recipe_drawing import ASCII, BLOCKS, recipe_drawing
from segue.recipes.recipe_file import load_recipes, shelf_folder

RAMP = (shelf_folder() / "tempo-ramp.toml").read_text(encoding="utf-8")
SHELF = load_recipes(shelf_folder())


@pytest.fixture(name="segue")
def _segue(tmp_path, monkeypatch):
    """The command in this process, with a configuration folder of its own."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return lambda *words: run_here([*map(str, words)])


@pytest.fixture(name="own")
def _own(tmp_path):
    folder = tmp_path / "config" / "segue" / "recipes"
    folder.mkdir(parents=True)
    return folder


linux_only = pytest.mark.skipif(
    not sys.platform.startswith("linux"), reason="XDG folders are those of Linux"
)


@linux_only
def test_own_recipes_are_listed_with_where_they_come_from(segue, own):
    (own / "ramp.toml").write_text(RAMP.replace("carry the room", "carry on"), encoding="utf-8")
    (own / "bad.toml").write_text(RAMP.replace('"geometric"', '"fast"'), encoding="utf-8")
    done = segue("recipes", "--json")
    assert done.code == 0
    listed = {recipe["name"]: recipe for recipe in json.loads(done.out)}
    assert set(listed) == {recipe.name for recipe in SHELF}
    assert listed["tempo ramp"]["origin"] == "yours"
    assert listed["tempo ramp"]["file"] == str(own / "ramp.toml")
    assert listed["filtered tail"]["origin"] == "shelf"
    line = RAMP.splitlines().index('move = "geometric"') + 1
    assert done.err.count("\n") == 1
    assert f"skipped {own / 'bad.toml'}:{line}: tempo, move: 'fast' is none of" in done.err


@linux_only
def test_a_broken_own_recipe_stops_no_other_command(segue, own):
    (own / "bad.toml").write_text("name = 3", encoding="utf-8")
    done = segue("between", "no.wav", "no.wav", "--out", "run", "--quiet")
    skipped, stopped = done.err.splitlines()
    assert skipped.startswith(f"segue: skipped {own / 'bad.toml'}:1: ")
    assert stopped.startswith("segue: no.wav: ")


def test_a_named_folder_takes_the_place_of_the_shelf(segue, tmp_path):
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "slow.toml").write_text(RAMP.replace('"tempo ramp"', '"slow ramp"'), encoding="utf-8")
    done = segue("recipes", "--recipes", folder, "--json")
    assert [recipe["name"] for recipe in json.loads(done.out)] == ["slow ramp"]
    for words in (["--recipes", folder, "show"], ["show", "--recipes", folder]):
        assert "slow ramp" in segue("recipes", *words, "slow ramp").out
    assert segue("recipes", "--recipes", tmp_path).code == 2


def test_show_draws_a_recipe_that_fits_the_terminal(segue, monkeypatch):
    monkeypatch.setenv("COLUMNS", "72")
    monkeypatch.setenv("NO_COLOR", "1")
    done = segue("recipes", "show", "tempo ramp")
    assert done.code == 0
    assert "\x1b" not in done.out
    assert all(len(line) <= 72 for line in done.out.splitlines() if "Written in" not in line)
    assert "╱" in done.out


def test_show_does_without_block_characters_where_there_are_none():
    done = subprocess.run(
        [sys.executable, "-m", "segue", "recipes", "show", "tempo ramp"],
        capture_output=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"},
        check=False,
        timeout=120,
    )
    assert done.returncode == 0
    assert done.stdout.isascii()


def test_show_suggests_a_name(segue):
    done = segue("recipes", "show", "tempo rmp")
    assert done.code == 2
    assert "Did you mean 'tempo ramp'?" in done.err


def test_check_tells_every_error_with_its_line_and_fails(segue, tmp_path):
    text = RAMP.replace('"geometric"', '"fast"').replace('on = "keys"', 'on = "kazoo"')
    (tmp_path / "bad.toml").write_text(text, encoding="utf-8")
    done = segue("recipes", "check", "bad.toml", "none.toml")
    assert done.code == 2
    assert done.out == ""
    lines = done.err.splitlines()
    assert [line.startswith("segue: bad.toml:") for line in lines] == [True, True, False]
    assert "none.toml: cannot be read" in lines[2]
    machines = segue("recipes", "check", "bad.toml", "--json")
    assert machines.code == 2
    found = json.loads(machines.out)
    assert {(finding["file"], finding["kind"]) for finding in found} == {("bad.toml", "error")}


def test_check_warns_and_passes(segue, tmp_path):
    (tmp_path / "mine.toml").write_text(RAMP, encoding="utf-8")
    done = segue("recipes", "check", "mine.toml", shelf_folder() / "filtered-tail.toml")
    assert done.code == 0
    assert done.err == ""
    assert "warning: mine.toml:3: name: 'tempo ramp' is on the shelf too" in done.out
    assert "filtered-tail.toml: nothing to complain of." in done.out


def test_schema_is_printed(segue):
    schema = json.loads(segue("recipes", "schema").out)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["required"][0] == "schema_version"


@pytest.mark.parametrize("recipe", SHELF, ids=lambda recipe: recipe.name)
@pytest.mark.parametrize("width", [30, 60, 80, 200])
@pytest.mark.parametrize("signs", [BLOCKS, ASCII], ids=["blocks", "ascii"])
def test_a_drawing_keeps_to_its_width_and_has_a_row_for_every_layer(recipe, width, signs):
    lines = recipe_drawing(recipe, width=width, signs=signs)
    assert max(map(len, lines)) <= width
    body = lines[lines.index("") + 1 :]
    label_width = body[1].index("-4") - 1
    rows = [line[:label_width].rstrip() for line in body if not line.startswith(" ")]
    names = [(layer.name or layer.source)[:label_width].rstrip() for layer in recipe.layers]
    assert rows == ["bars", *names, "tempo"]


def test_a_drawing_puts_layers_where_they_sound():
    (ramp,) = [recipe for recipe in SHELF if recipe.name == "tempo ramp"]
    lines = recipe_drawing(ramp, width=80)
    anchors = next(line for line in lines if line.strip().startswith("exit"))
    exit_at, entry_at = anchors.index("exit"), anchors.index("entry")
    rows = {line[:20].rstrip(): line for line in lines if not line.startswith(" ")}
    assert rows["bars"][exit_at] == rows["bars"][entry_at] == "|"
    assert rows["new song"][:entry_at].removeprefix("new song").isspace()
    assert rows["new song"][entry_at] == "█"
    assert len(rows["old drums"]) == entry_at
    assert rows["tempo"][exit_at - 1 : exit_at + 1] == "─╱"
    assert rows["tempo"][entry_at] == "═"
