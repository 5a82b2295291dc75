"""The anchor is A up to its exit and B from its bar one, and nothing else."""

from dataclasses import replace

import numpy as np
import pytest
import soundfile

from segue.audition.page_values import matching_gains_db
from segue.audition.secrets import ANCHOR_RANK, write_anchor
from tests.audition.conftest import RATE_HZ

STEP = 2.0**-23  # of 24-bit PCM
FADE = 0.003


def test_anchor_is_both_songs_without_what_lies_between(run, document):
    anchor = write_anchor(run, document)
    source = min(document.candidates, key=lambda r: r.entry_s - r.exit_s)
    music = soundfile.read(run / source.music_file)[0]
    cut = soundfile.read(run / anchor.music_file)[0]
    at, entry = round(source.exit_s * RATE_HZ), round(source.entry_s * RATE_HZ)
    fade = round(FADE * RATE_HZ)
    assert len(cut) == len(music) - (entry - at)
    np.testing.assert_allclose(cut[: at - fade], music[: at - fade], atol=STEP)
    np.testing.assert_allclose(cut[at + fade :], music[entry + fade :], atol=STEP)
    assert np.abs(cut[at - 1 : at + 1]).max() < 0.01
    assert anchor.rank == ANCHOR_RANK
    assert anchor.entry_s == anchor.exit_s == source.exit_s


def test_bars_of_the_anchor_lie_on_the_bars_of_the_songs(run, document):
    anchor = write_anchor(run, document)
    source = min(document.candidates, key=lambda r: r.entry_s - r.exit_s)
    removed_s = source.entry_s - source.exit_s
    times = [
        bar.time_s - (removed_s if bar.section == "incoming" else 0.0)
        for bar in source.bars
        if bar.section != "interlude"
    ]
    assert [bar.time_s for bar in anchor.bars] == pytest.approx(times)
    assert [bar.number for bar in anchor.bars] == list(range(1, len(times) + 1))
    assert {bar.section for bar in anchor.bars} == {"outgoing", "incoming"}


def test_anchor_is_as_loud_as_the_candidates(run, document):
    first = document.candidates[0]
    curve = tuple(replace(s, value=-12.0) for s in first.scorecard.loudness_lufs)
    louder = replace(first, scorecard=replace(first.scorecard, loudness_lufs=curve))
    records = (louder, *document.candidates[1:])
    anchor = write_anchor(run, replace(document, candidates=records))
    assert matching_gains_db((*records, anchor)) == [-4.0, 0.0, 0.0, 0.0]


def test_no_anchor_beside_a_candidate_that_is_a_cut(run, document):
    first = document.candidates[0]
    cut = replace(first, entry_s=first.exit_s + 0.1)
    assert write_anchor(run, replace(document, candidates=(cut,))) is None
    assert write_anchor(run, replace(document, candidates=())) is None
