"""A cheap part of the thousand bad inputs, and every crash that was found."""

import os

import pytest

from benchmarks._abuse_sounds import chord, encoded, float_wav
from benchmarks._in_process import run_here


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
