"""What the command prints of a review, and what the benchmark says when it cannot measure."""

import shutil
import sys
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from benchmarks import review, review_bands
from benchmarks._review_damage import Damage
from benchmarks._review_verdict import judged, table_lines
from segue.cli.app import app
from tests.review.conftest import band, taped


def _printed(run, take):
    told = CliRunner().invoke(app, ["review", str(run), str(take), "--out", str(take.parent)])
    assert told.exit_code == 0, told.output
    return told.output


def test_slow_take_whose_pitch_does_not_tell_why_is_printed_as_either(run, plan, tmp_path):
    output = _printed(run, taped(band(plan), tmp_path / "take.wav", speed=1.0012))
    assert "ms a minute, by either the band or the recorder (too little to tell" in output
    assert "the recorder runs" not in output


def test_recorder_that_clearly_runs_off_is_printed_as_the_cause(run, plan, tmp_path):
    output = _printed(run, taped(band(plan), tmp_path / "take.wav", speed=1.004))
    assert "the recorder runs 0.40 % slow (the pitch moved along)" in output
    assert "either" not in output


@pytest.mark.parametrize(
    ("bench", "name", "option"),
    [
        pytest.param(review_bands, "fluidsynth", "--store", id="bands without fluidsynth"),
        pytest.param(review_bands, "ffmpeg", "--store", id="bands without ffmpeg"),
        pytest.param(review, "ffmpeg", "--cache", id="damage without ffmpeg"),
    ],
)
def test_benchmark_without_a_tool_measures_nothing_and_fails(
    bench, name, option, monkeypatch, capsys, tmp_path
):
    which = shutil.which
    monkeypatch.setattr(shutil, "which", lambda tool: None if tool == name else which(tool))
    monkeypatch.setattr(sys, "argv", ["review", option, str(tmp_path / "store")])
    assert bench.main() == 1
    told = capsys.readouterr().out
    assert told.startswith("nothing was measured: takes cannot be made without ")
    assert name in told
    assert not (tmp_path / "store").exists()


def test_benchmark_counts_what_was_missed(rehearsal, jumped):
    clean = judged(rehearsal, Damage(), name="clean", strength=0.0)
    bars_off = replace(rehearsal, tries=(jumped,))
    alarmed = judged(bars_off, Damage(), name="clean", strength=0.0)
    late = Damage(kind="late once", strength=60.0, bar=10, size=60.0)
    missed = judged(rehearsal, late, name="late", strength=60.0)
    assert clean.is_right
    assert not alarmed.is_right
    assert not missed.is_found
    assert table_lines([clean, missed])[1] is False
    assert table_lines([alarmed])[1] is False


def test_benchmark_wants_the_place_and_the_size(rehearsal, jumped):
    told = replace(rehearsal, tries=(rehearsal.best_try, jumped))
    step = Damage(kind="second try late", strength=1.0, bar=10, size=80.0)
    right = judged(told, step, name="late", strength=1.0)
    assert right.is_right
    assert abs(right.size_errors[0]) < 10
    assert not judged(told, replace(step, bar=5), name="late", strength=1.0).is_placed
    _, is_met = table_lines([right, judged(rehearsal, Damage(), name="", strength=0.0)])
    assert is_met
    far = judged(told, replace(step, size=150.0), name="late", strength=1.0)
    assert table_lines([far])[1] is False
    assert any("MISSED" in line for line in table_lines([far])[0])
