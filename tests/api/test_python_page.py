"""The scripts of docs/python.md run as they stand, and `import segue` is what it says."""

import ast
import doctest
import subprocess
import sys
from pathlib import Path

import pytest

import segue

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "python.md"


def test_every_script_of_the_page_runs(song_folder, monkeypatch):
    monkeypatch.chdir(song_folder)
    failed, tried = doctest.testfile(str(PAGE), module_relative=False, verbose=False)
    assert tried > 20
    assert failed == 0


def test_importing_segue_loads_nothing_heavy():
    code = (
        "import sys, segue; print(*(m for m in ('numpy', 'scipy', 'pydantic') if m in sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""


def test_type_checkers_are_told_of_the_same_names():
    stub = ast.parse(Path(segue.__file__).with_name("__init__.pyi").read_text(encoding="utf-8"))
    told = {
        alias.asname: f"{node.module}.{alias.name}"
        for node in stub.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    offered = {name: f"{segue._OFFERED[name]}.{name}" for name in segue.__all__ if name[0] != "_"}
    assert told == offered


@pytest.mark.parametrize("name", [name for name in segue.__all__ if name[0] != "_"])
def test_everything_that_is_offered_is_there_and_described(name):
    assert getattr(segue, name).__doc__
    assert name in dir(segue)


def test_what_is_not_offered_is_no_attribute():
    with pytest.raises(AttributeError, match="no attribute 'bewteen'"):
        _ = segue.bewteen


def test_an_unknown_recipe_is_told_with_the_nearest():
    with pytest.raises(segue.SegueError, match="Did you mean 'tempo ramp'"):
        segue.plan_segue("tempo rmp", None, None)
