"""A cheap part of the thousand bad inputs, and every crash that was found."""

import os

import pytest

from benchmarks._abuse_sounds import chord, encoded, float_wav
from benchmarks._abuse_watch import BAD_INPUT, tried
from benchmarks._in_process import run_here
from benchmarks.abuse import all_cases, cheap_part, own_temporary

N_CASES = 200


def test_two_hundred_bad_inputs(tmp_path):
    with own_temporary(tmp_path) as left:
        cases = cheap_part(all_cases(tmp_path / "work"), N_CASES)
        verdicts = tried(cases, n_processes=1)
        assert left() == []
    assert len(verdicts) == N_CASES
    assert sum(verdict.told.code == BAD_INPUT for verdict in verdicts) > N_CASES // 2
    faults = [v for v in verdicts if v.fault]
    assert [f"{v.case.command} {v.case.name!a}: {v.fault}" for v in faults] == []


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


def test_an_empty_file_is_no_catalogue_and_is_left_empty(tmp_path):
    path = tmp_path / "empty.wav"
    path.write_bytes(b"")
    told = run_here(["neighbours", "x", "--catalogue", str(path)])
    assert told.code == 2
    assert "empty.wav: is no catalogue; make one with 'segue catalogue FOLDER'." in told.err
    assert path.read_bytes() == b""


def test_a_link_that_leads_in_a_circle_is_no_song_and_stops_no_catalogue(tmp_path):
    (tmp_path / "loop.wav").symlink_to("loop.wav")
    to = str(tmp_path / "c.sqlite")
    told = run_here(["catalogue", str(tmp_path), "--workers", "1", "--to", to])
    assert "symbolic links" not in told.err
    assert told.code in (0, 2)
