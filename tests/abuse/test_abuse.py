"""A cheap part of the thousand bad inputs, and every crash that was found."""

import os

import pytest

from benchmarks._abuse_sounds import chord, encoded, float_wav
from benchmarks._abuse_watch import tried
from benchmarks._in_process import run_here
from benchmarks.abuse import all_cases

N_CASES = 200
CHEAP = ("recipes", "explain", "choose", "taste", "set", "path")
"""Commands that hear nothing."""


def is_cheap(case):
    is_broken = case.command.startswith(("analyse", "between", "lead", "pad")) and any(
        case.name.startswith(word) for word in ("cut 0", "empty", "jpeg", "page", "zero", "nan")
    )
    return is_broken or case.command.startswith(CHEAP)


def test_bad_inputs_are_refused_in_a_sentence(tmp_path):
    cases = [case for case in all_cases(tmp_path) if is_cheap(case)]
    assert len(cases) >= N_CASES
    chosen = [cases[n * len(cases) // N_CASES] for n in range(N_CASES)]
    verdicts = tried(chosen, n_processes=1)
    assert len(verdicts) == N_CASES
    assert [(v.case.name, v.fault, v.told.err) for v in verdicts if v.fault] == []
    assert sum(v.told.code == 2 for v in verdicts) > N_CASES // 2


@pytest.mark.skipif(os.name == "nt", reason="names are text there")
def test_name_that_is_no_text(tmp_path):
    song = tmp_path / "a\udcff.wav"
    song.write_bytes(encoded("wav"))
    told = run_here(["analyse", str(song), "--edge-seconds", "8", "--json", "--quiet"])
    assert told.code == 0, told.err
    assert "udcff" in told.out


def test_whole_numbers_taken_for_floats(tmp_path):
    song = tmp_path / "loud.wav"
    song.write_bytes(float_wav(chord() * 32_768))
    told = run_here(["analyse", str(song), "--edge-seconds", "8", "--quiet"])
    assert told.code == 2
    assert "loud.wav: holds a value of" in told.err
    assert "whole numbers saved as floating point?" in told.err


def test_catalogue_with_a_name_too_long(tmp_path):
    told = run_here(["neighbours", "x", "--catalogue", str(tmp_path / ("x" * 256))])
    assert told.code == 2
    assert "File name too long" in told.err
