"""What the command prints of a review, and what the benchmark says when it cannot measure."""

import shutil
import sys

import pytest
from typer.testing import CliRunner

from benchmarks import review as bench
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


@pytest.mark.parametrize("name", ["fluidsynth", "ffmpeg"])
def test_benchmark_without_a_tool_measures_nothing_and_fails(name, monkeypatch, capsys, tmp_path):
    which = shutil.which
    monkeypatch.setattr(shutil, "which", lambda tool: None if tool == name else which(tool))
    monkeypatch.setattr(sys, "argv", ["review", "--store", str(tmp_path / "store")])
    assert bench.main() == 1
    told = capsys.readouterr().out
    assert told.startswith("nothing was measured: takes cannot be made without ")
    assert name in told
    assert not (tmp_path / "store").exists()
