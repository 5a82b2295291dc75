"""Loudness on both footings: as it plays, and by the standard for the file's own channels."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from segue.analysis.hear import hear_edge
from segue.audio import read_song

RATE_HZ = 48_000
LENGTH_S = 4.0


def heard(path: Path, n_channels: int):
    time_s = np.arange(round(LENGTH_S * RATE_HZ)) / RATE_HZ
    tone = np.sin(2 * np.pi * 997.0 * time_s)
    soundfile.write(path, np.stack([tone] * n_channels, axis=1), RATE_HZ, subtype="FLOAT")
    return hear_edge(read_song(path, edge="end")).level


def test_one_channel_reads_as_the_standard_says_and_plays_louder(tmp_path):
    # ITU-R BS.1770-4, annex 1: a 997 Hz sine at 0 dBFS in one channel reads -3.01 LKFS.
    level = heard(tmp_path / "mono.wav", 1)
    assert level.file_lufs == pytest.approx(-3.01, abs=0.02)
    assert level.loudness_lufs == pytest.approx(0.0, abs=0.02)


def test_two_channels_play_as_they_are(tmp_path):
    level = heard(tmp_path / "stereo.wav", 2)
    assert level.file_lufs == pytest.approx(level.loudness_lufs)


def test_more_channels_have_no_number_of_their_own(tmp_path):
    assert heard(tmp_path / "surround.wav", 6).file_lufs is None
