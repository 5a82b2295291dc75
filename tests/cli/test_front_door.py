"""What a new user meets: completion, plain terminals, quiet, what to do next, and the README."""

import io
import os
import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import typer
from rich.console import Console
from typer.testing import CliRunner

from benchmarks._in_process import run_here
from segue.cli.app import app
from segue.cli.audition import SERVER_PARTS
from segue.cli.hints import command
from segue.cli.review import _rounded
from segue.runfolder import document_text
from segue.score.scorecard import FIXED_WORDS
from segue.setlist.order import (
    DROP_WEIGHT,
    ENERGY_WEIGHT,
    HALF_TIME,
    SAME_VOICE_WEIGHT,
    TEMPO_WEIGHT,
)
from segue.setlist.order.exact import MOST_EXACT
from segue.setlist.set_list import SET_FIELDS, SONG_FIELDS
from tests.audition.conftest import _document

ROOT = Path(__file__).parents[2]
NARROW = 60
MOST_README_LINES = 150
STYLE = re.compile(r"\x1b\[[0-9;]*m")
COMMANDS = typer.main.get_command(app).commands
COLOUR = re.compile(r"\x1b\[[0-9;]*\b(?:3[0-8]|4[0-8]|9[0-7]|10[0-7])[;m]")
document = _document


def segue(*words, **environment):
    return subprocess.run(
        [sys.executable, "-m", "segue", *words],
        capture_output=True,
        text=True,
        env=os.environ | environment,
        check=False,
        timeout=300,
    )


def told(*words, columns=NARROW):
    """What a terminal of that width shows, without bold and the like."""
    terminal = {"COLUMNS": str(columns), "TERM": "xterm", "FORCE_COLOR": "1", "NO_COLOR": "1"}
    done = CliRunner(env=terminal).invoke(app, list(words))
    assert done.exit_code == 0, done.output
    return STYLE.sub("", done.stdout)


@pytest.fixture(name="run")
def _run(document, tmp_path):
    folder = tmp_path / "old to new"
    folder.mkdir()
    (folder / "segue.json").write_text(document_text(document), encoding="utf-8")
    return folder


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash on this machine")
@pytest.mark.parametrize(
    ("typed", "completed"),
    [
        pytest.param(["ca"], ["catalogue", "cache"], id="commands"),
        pytest.param(["between", "--tempo"], ["--tempo-a", "--tempo-b"], id="options"),
        pytest.param(["between", "--for", "da"], ["dance"], id="values"),
    ],
)
def test_bash_completes(tmp_path, typed, completed):
    command = tmp_path / "segue"
    command.write_text(f'#!/bin/sh\nexec {shlex.quote(sys.executable)} -m segue "$@"\n')
    command.chmod(0o755)
    script = (
        f'export PATH={shlex.quote(str(tmp_path))}:"$PATH"\n'
        'eval "$(_SEGUE_COMPLETE=source_bash segue)"\n'
        f"COMP_WORDS=(segue {shlex.join(typed)}); COMP_CWORD={len(typed)}\n"
        '_segue_completion segue; printf "%s\\n" "${COMPREPLY[@]}"\n'
    )
    done = subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=True)
    assert sorted(done.stdout.split()) == sorted(completed)


def test_zsh_is_told_what_completes_with_a_word_on_each():
    environment = {"_SEGUE_COMPLETE": "complete_zsh", "_TYPER_COMPLETE_ARGS": "segue ca"}
    answer = segue(**environment).stdout
    assert re.findall(r'"(\w+)":', answer) == ["catalogue", "cache"]


def test_zsh_gets_its_script():
    script = segue(_SEGUE_COMPLETE="source_zsh").stdout
    assert "#compdef segue" in script


@pytest.mark.parametrize("wish", [{}, {"NO_COLOR": "1"}], ids=["no wish", "NO_COLOR"])
@pytest.mark.parametrize("words", [["--help"], ["recipes"], ["path", "E minor", "F minor"]])
def test_nothing_is_said_by_colour(words, wish):
    """What is printed reads the same on any terminal, asked for colour or not."""
    environment = {"FORCE_COLOR": "1", "TERM": "xterm-256color", **wish}
    plain = segue(*words, **environment).stdout
    assert plain
    assert not COLOUR.search(plain)


def test_colours_are_found_where_they_are():
    told = io.StringIO()
    Console(file=told, force_terminal=True, color_system="256").print("[red]loud[/red]")
    assert COLOUR.search(told.getvalue())


@pytest.mark.parametrize(
    "words",
    [["--help"], *([name, "--help"] for name in COMMANDS), ["recipes"], ["path", "E", "F"]],
    ids=" ".join,
)
def test_narrow_terminals_are_kept_to(words, monkeypatch):
    terminal = {"COLUMNS": str(NARROW), "TERM": "xterm", "FORCE_COLOR": "1", "NO_COLOR": "1"}
    for name, value in terminal.items():
        monkeypatch.setenv(name, value)
    shown = STYLE.sub("", run_here(words).out)  # the runner's help has 80 columns
    assert shown
    assert not [line for line in shown.splitlines() if len(line) > NARROW]


def test_a_card_keeps_to_a_narrow_terminal(run):
    card = told("explain", str(run), "1", "--quiet")
    assert max(map(len, card.splitlines())) <= NARROW


@pytest.mark.parametrize("words", [["explain", "RUN", "1"], ["choose", "RUN", "1"]], ids=" ".join)
def test_quiet_leaves_out_what_to_do_next(run, words):
    words = [str(run) if word == "RUN" else word for word in words]
    loud, quiet = told(*words, columns=400), told(*words, "--quiet", columns=400)
    assert loud.startswith(quiet)
    hint = loud[len(quiet) :]
    assert re.search(r"^[A-Z][\w ]+: segue (\w+)", hint, re.MULTILINE)[1] in COMMANDS
    assert shlex.quote(str(run)) in hint


def test_a_hint_can_be_typed_as_it_stands():
    words = ["choose", "Old 'Song' $HOME", "2"]
    assert shlex.split(command(*words)) == ["segue", *words]


@pytest.mark.parametrize(
    "name",
    ["between", "demo", "analyse", "set", "catalogue", "neighbours", "review", "stage", "audition"],
)
def test_what_takes_long_or_hints_can_be_quiet(name):
    assert "--quiet" in {option for p in COMMANDS[name].params for option in p.opts}


def test_the_readme_has_every_command_and_no_other():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    table = text.partition("| command | what it does |")[2].partition("\n\n")[0]
    assert set(re.findall(r"^\| `segue (\w+)", table, re.MULTILINE)) == set(COMMANDS)


def test_options_that_the_readme_shows_exist():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for name, rest in re.findall(r"^ +segue (\w+)(.*)$", text, re.MULTILINE):
        known = {option for p in COMMANDS[name].params for option in p.opts}
        assert set(re.findall(r"--[a-z-]+", rest.partition("#")[0])) <= known, name


def test_the_pages_that_the_readme_links_are_there():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    links = re.findall(r"\]\(([^)#:]+)\)", text)
    assert "docs/scoring.md" in links
    assert not [link for link in links if not (ROOT / link).exists()]


def test_what_the_server_needs_is_what_its_extra_brings():
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    extra = settings["project"]["optional-dependencies"]["serve"]
    assert [re.match(r"[\w-]+", one)[0] for one in extra] == SERVER_PARTS.split()


def test_the_page_on_set_lists_names_every_field_and_weight():
    page = (ROOT / "docs" / "set-list.md").read_text(encoding="utf-8")
    assert all(f"`{name}`" in page for name in [*SET_FIELDS, *SONG_FIELDS])
    assert f"Up to {MOST_EXACT} songs" in page
    costs = page.partition("| what costs | how much |")[2].partition("\n\n")[0]
    for weight in (TEMPO_WEIGHT, HALF_TIME, ENERGY_WEIGHT, DROP_WEIGHT, SAME_VOICE_WEIGHT):
        assert f"{weight:g}" in costs


@pytest.mark.parametrize(
    ("value", "printed"), [(-0.004, "+0.00"), (0.004, "+0.00"), (-0.006, "-0.01")]
)
def test_nothing_has_no_minus(value, printed):
    assert f"{_rounded(value, 2):+.2f}" == printed


def test_the_readme_stays_a_front_door():
    assert len((ROOT / "README.md").read_text(encoding="utf-8").splitlines()) <= MOST_README_LINES


def test_the_map_of_the_pages_has_every_page_and_leads_nowhere_else():
    docs = ROOT / "docs"
    for page in sorted(docs.glob("*.md")):
        links = re.findall(r"\]\(([^)#:]+)\)", page.read_text(encoding="utf-8"))
        assert not [link for link in links if not (docs / link).exists()], page.name
        if page.name == "README.md":
            assert {one.name for one in docs.glob("*.md")} - {"README.md"} <= set(links)


def test_what_the_cards_page_helps_with_is_called_as_on_the_cards():
    page = (ROOT / "docs" / "cards.md").read_text(encoding="utf-8")
    rows = page.partition("| the card complains of |")[2].partition("\n\n")[0].splitlines()[2:]
    named = {label for row in rows for label in row.split("|")[1].strip().split(", ")}
    assert len(named) > len(rows)
    assert named <= {label for label, _, _ in FIXED_WORDS.values()}
