"""A gap is told at its length, through a room as well; a band that stops for good is one."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import fftconvolve

from segue.review.one_try import _not_steps, _not_waits, notes_of
from segue.review.report import SINGER_UNTOLD, Hole, Rest
from tests.review.conftest import RATE_HZ, Played, band, taped

LENGTH_MS = 20.0
"""What a review is asked to reach."""
_RT60_S, _TAIL_DB = 0.4, -3.0
"""A rehearsal room: its reverberation time, and its tail against the direct sound."""


def _in_a_room(sound):
    rng = np.random.default_rng(3)
    at_s = np.arange(round(_RT60_S * RATE_HZ)) / RATE_HZ
    tail = rng.normal(size=(len(at_s), 2)) * 10 ** (-3 * at_s / _RT60_S)[:, None]
    tail *= 10 ** (_TAIL_DB / 20) / np.sqrt(np.square(tail).sum(axis=0))
    return sound + fftconvolve(sound, tail, axes=0)[: len(sound)]


@pytest.fixture(name="holes_of")
def _holes_of(run, tmp_path):
    def holes_of(sound):
        from segue.review import ReviewRequest, review_take

        path = taped(sound, tmp_path / "take.wav", offset_s=1.5)
        return review_take(ReviewRequest(run=run, take=path)).best_try.holes

    return holes_of


def test_a_gap_of_a_tenth_of_a_second_is_told_through_a_room(holes_of, plan):
    sound = band(plan)
    start_s = plan.seconds_at(plan.bar_lines[3].beat + 2) - 0.03  # a stroke is lost
    first, last = round(start_s * RATE_HZ), round((start_s + 0.1) * RATE_HZ)
    sound[first:last] = 0.0
    (hole,) = holes_of(_in_a_room(sound))
    assert hole.bar == plan.bar_lines[3].number
    assert 1000 * hole.length_s == pytest.approx(100, abs=LENGTH_MS)


def test_a_room_alone_makes_no_gap(holes_of, plan):
    assert holes_of(_in_a_room(band(plan))) == ()


def test_a_band_that_stops_for_good_is_noted_and_no_alarm(review_of, plan):
    last = [line.number for line in plan.bar_lines[-2:]]
    told = review_of(Played(silent_bars=tuple(last)), offset_s=1.5)
    assert told.holes == ()
    stops = [note for note in told.notes if note.startswith("Nothing of the plan is played from")]
    # The last stroke of a bar may be its last sound.
    words = "Nothing of the plan is played from bar {} on."
    assert stops in ([words.format(last[0] - 1)], [words.format(last[0])])


def test_who_waits_before_a_late_step_does_not_rest(jumped):
    (step,) = [move.bar for move in jumped.moves if move.kind == "step"]
    told = [
        Rest(bar=first, last_bar=last, part="drums")
        for first, last in ((step - 1, step), (step, step), (step - 2, step - 1), (step, step + 1))
    ]
    assert _not_steps(told, jumped) == tuple(told[2:])


def test_a_wait_before_a_late_step_is_no_gap_and_other_gaps_stay(jumped):
    (step,) = [move for move in jumped.moves if move.kind == "step"]
    wait_s = step.size_ms / 1000
    holes = [
        Hole(bar=bar, start_s=2.0 * bar, length_s=length_s)
        for bar, length_s in ((step.bar - 1, wait_s), (step.bar, wait_s),
                              (step.bar - 2, wait_s), (step.bar + 1, wait_s), (step.bar, 0.5))
    ]  # fmt: skip
    assert _not_waits(holes, jumped) == tuple(holes[2:])


def test_a_wait_is_as_long_as_its_step_and_a_gap_is_longer(jumped):
    (step,) = [move for move in jumped.moves if move.kind == "step"]
    wait, gap = (
        Hole(bar=step.bar, start_s=9.0, length_s=step.size_ms / 1000 + more_s)
        for more_s in (0.04, 0.06)
    )
    assert _not_waits([wait, gap], jumped) == (gap,)


ALL_TOLD = {"has_singer": True, "knows_voice": True, "knows_parts": True, "stopped_s": None}
ABSENCE, RESTS = "Whether the singer was there", "Who rests"


@pytest.mark.parametrize(
    ("changes", "starts"),
    [
        ({}, ()),
        ({"knows_voice": False}, (ABSENCE,)),
        ({"knows_parts": False}, (RESTS,)),
        ({"has_singer": False, "knows_voice": False}, ()),
    ],
)
def test_what_could_not_be_told_is_noted_with_what_it_would_need(rehearsal, changes, starts):
    heard = replace(rehearsal.best_try, notes=())
    assert heard.singer.is_sure
    notes = notes_of(heard, **ALL_TOLD | changes)
    assert len(notes) == len(starts)
    assert all(map(str.startswith, notes, starts))


@pytest.mark.parametrize(("clearness", "is_sure"), [(0.49, False), (0.5, True), (0.9, True)])
def test_a_voice_that_does_not_stand_out_is_told_as_unsure(rehearsal, clearness, is_sure):
    heard = rehearsal.best_try
    heard = replace(heard, singer=replace(heard.singer, clearness=clearness))
    assert (SINGER_UNTOLD in notes_of(heard, **ALL_TOLD)) is not is_sure


def test_where_a_recording_starts_late_and_ends_early_is_noted(rehearsal):
    heard = rehearsal.best_try
    first, last = heard.bars[0].number, heard.bars[-1].number
    notes = notes_of(replace(heard, first_bar=first + 2, last_bar=last - 1), **ALL_TOLD)
    assert notes[:2] == (
        f"The recording starts in bar {first + 1}.",
        f"The recording ends in bar {last}.",
    )
