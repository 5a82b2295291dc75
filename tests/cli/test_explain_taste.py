"""``segue explain`` and ``segue taste`` on run folders with known cards and choices."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from segue.cli.app import app
from segue.cli.explain import card_report
from segue.cli.taste import read_weights, weights_path, write_weights
from segue.errors import InputError, OptionError
from segue.runfolder import BALLOT_NAME, Choice, document_text
from segue.score.weights import WEIGHTS, weights_for
from tests.audition.conftest import _document, measure
from tests.job.a_run import document_of

document = _document


@pytest.fixture(name="config", autouse=True)
def _config(tmp_path, monkeypatch):
    folder = tmp_path / "config"
    monkeypatch.setattr("platformdirs.user_config_path", lambda _: folder)
    return folder


@pytest.fixture(name="run_of")
def _run_of(document, tmp_path):
    """A run folder whose first candidate scores best, with a choice."""

    def made(number, choice):
        records = tuple(
            replace(r, scorecard=replace(r.scorecard, measures=(measure("landing", 1.1 - n / 5),)))
            for n, r in enumerate(document.candidates, start=1)
        )
        folder = tmp_path / f"run {number}"
        folder.mkdir()
        chosen = None if choice is None else Choice(rank=choice)
        text = document_text(replace(document, candidates=records, choice=chosen))
        (folder / "segue.json").write_text(text, encoding="utf-8")
        return folder

    return made


def told(*words):
    done = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    assert done.exit_code == 0
    return done.stdout


def test_explain_names_the_bar_of_each_finding(document, tmp_path):
    (tmp_path / "segue.json").write_text(document_text(document), encoding="utf-8")
    card = json.loads(told("explain", tmp_path, 2, "--json"))
    record = document.candidates[1]
    step = next(m for m in card["measures"] if m["name"] == "level step")
    # the fixture has it worst one beat after the exit, which is a bar line
    lines = {line.number: line.beat for line in record.plan.bar_lines}
    assert lines[step["worst_bar"]] <= record.plan.exit_beat + 1 < lines[step["worst_bar"] + 1]
    costs = [m["costs"] for m in card["measures"]]
    assert costs == sorted(costs, reverse=True)
    assert sum(costs) == pytest.approx(0.1, abs=1e-3)  # the only mark with a weight is 0.9


def test_no_two_changes_that_explain_proposes_undo_each_other(shelf):
    document = document_of(shelf, recipes=("turnaround",))
    record = document.candidates[0]
    fall = replace(measure("cliff", 0.1), value=-8.0, worst_beat=record.plan.exit_beat)
    loud = replace(measure("fullness", 0.1), value=-8.0)
    card = replace(record.scorecard, measures=(loud, fall))
    report = card_report(document, replace(record, scorecard=card))
    given = {m["name"]: m["remedy"] and m["remedy"]["options"] for m in report["measures"]}
    assert given == {"fullness": ["--level", "bridge -6"], "cliff": None}


def test_explain_prints_a_card(document, tmp_path):
    (tmp_path / "segue.json").write_text(document_text(document), encoding="utf-8")
    text = told("explain", tmp_path, 1)
    assert document.candidates[0].plan.recipe in text
    assert "level step" in text


def test_explain_of_no_candidate_tells_which_there_are(document, tmp_path):
    (tmp_path / "segue.json").write_text(document_text(document), encoding="utf-8")
    with pytest.raises(OptionError, match="there is no option 9: the run has 1, 2, 3"):
        told("explain", tmp_path, 9)


def test_taste_counts_choices_and_fits_nothing_from_few(run_of, config):
    runs = [run_of(n, choice) for n, choice in enumerate((1, 1, 2, None))]
    report = json.loads(told("taste", *runs, "--json"))
    assert (report["n_agreed"], report["n_decisions"]) == (2, 3)
    assert report["fitted"] is None
    assert report["taste"] is None
    assert "After 2 more choices" in told("taste", *runs)
    with pytest.raises(OptionError, match="too few"):
        told("taste", *runs, "--write")
    assert not config.exists()


def test_taste_takes_votes_before_the_choice(run_of):
    run = run_of(1, 1)
    with closing(sqlite3.connect(run / BALLOT_NAME)) as ballot:
        ballot.executescript(
            "CREATE TABLE rounds (id INTEGER); INSERT INTO rounds VALUES (1), (2);"
            "CREATE TABLE votes (round INTEGER, listener INTEGER, choice INTEGER);"
            "INSERT INTO votes VALUES (1, 1, 1), (2, 1, 2), (2, 2, 1), (2, 3, 0);"
        )
    report = json.loads(told("taste", run, "--json"))
    # two of the last round; the third voted for something that is no candidate
    assert (report["n_agreed"], report["n_decisions"]) == (1, 2)


def test_a_ballot_that_cannot_be_read_leaves_the_choice(run_of):
    run = run_of(1, 2)
    (run / BALLOT_NAME).write_bytes(b"not a database")
    assert json.loads(told("taste", run, "--json"))["n_decisions"] == 1


def test_taste_writes_only_when_asked(run_of, config):
    runs = [run_of(n, 1 + n % 2) for n in range(20)]
    told("taste", *runs)
    assert not config.exists()
    told("taste", *runs, "--write")
    weights = read_weights(weights_path())
    assert set(weights) == set(WEIGHTS)


@pytest.fixture(name="taken_for_one_thing")
def _taken_for_one_thing(document, tmp_path):
    """Runs whose second option has more of the songs' own music and less of all else."""

    def made(number, choice):
        marks = ((0.9, 0.2), (0.5, 0.9), (0.6, 0.3))
        records = tuple(
            replace(
                record,
                scorecard=replace(
                    record.scorecard,
                    measures=(measure("landing", landing), measure("own_music", own)),
                ),
            )
            for record, (landing, own) in zip(document.candidates, marks, strict=True)
        )
        folder = tmp_path / f"one thing {number}"
        folder.mkdir()
        chosen = replace(document, candidates=records, choice=Choice(rank=choice))
        (folder / "segue.json").write_text(document_text(chosen), encoding="utf-8")
        return folder

    return made


def test_five_choices_that_go_by_one_thing_are_learned(taken_for_one_thing, config):
    runs = [taken_for_one_thing(n, 2) for n in range(5)]
    report = json.loads(told("taste", *runs, "--json"))
    assert report["taste"]["is_found"]
    assert next(iter(report["taste"]["measures"])) == "own_music"
    assert "You seem to go by own music" in told("taste", *runs)
    assert not config.exists()
    told("taste", *runs, "--write")
    assert read_weights(weights_path())["own_music"] > 5 * weights_for(None)["own_music"]


def test_five_choices_of_all_sorts_change_nothing(taken_for_one_thing, config):
    runs = [taken_for_one_thing(n, choice) for n, choice in enumerate((1, 2, 3, 1, 3))]
    assert "go by no one thing yet" in told("taste", *runs)
    with pytest.raises(OptionError, match="no one thing"):
        told("taste", *runs, "--write")
    assert not config.exists()


def test_taste_without_a_decision_says_how_to_make_one(run_of):
    with pytest.raises(OptionError, match="segue choose"):
        told("taste", run_of(1, None))


def test_weights_read_back(tmp_path):
    path = tmp_path / "a" / "weights.json"
    assert read_weights(path) is None
    write_weights(path, weights_for("calm"), n_decisions=25)
    assert read_weights(path) == weights_for("calm")
    assert [p.name for p in path.parent.iterdir()] == ["weights.json"]


@pytest.mark.parametrize(
    "text",
    ["", "[]", '{"schema_version": 2}', '{"schema_version": 1, "weights": {"pulse": 1}}'],
    ids=["empty", "a list", "newer", "a measure alone"],
)
def test_damaged_weights_are_told(tmp_path, text):
    path = tmp_path / "weights.json"
    path.write_text(text)
    with pytest.raises(InputError, match="holds no weights"):
        read_weights(path)
