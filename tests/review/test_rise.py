"""The moment of an entry is the note's own, whatever else sounds with it."""

from types import SimpleNamespace

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.review.onset import NoteSource, lateness
from segue.review.singer import singer_entry
from tests.review.voices import planned_voice

RATE_HZ = 24_000
MIDI = 65.0
NOTE_S = 1.0
ENTRY_MS = 15.0
"""What a review is asked to reach."""
_AT_S = np.arange(round(2.4 * RATE_HZ)) / RATE_HZ


def _note(at_s, *, scoop_cents=0.0, attack_s=0.02):
    """A note of eight partials that comes up from below, as singers do."""
    after_s = np.maximum(_AT_S - at_s, 0.0)
    hz = 440 * 2 ** ((MIDI - 69 - scoop_cents / 100 * np.exp(-after_s / 0.03)) / 12)
    turns = np.cumsum(hz) / RATE_HZ
    wave = sum(np.sin(2 * np.pi * n * turns) / n for n in range(1, 9))
    return wave * np.minimum(after_s / attack_s, 1.0)


def _stroke(at_s, rng):
    """A snare: all frequencies, gone in 60 ms."""
    after_s = _AT_S - at_s
    return rng.normal(size=len(_AT_S)) * np.where(after_s < 0, 0.0, np.exp(-after_s / 0.02))


def _held(partial, level):
    """Another instrument that goes on all the time where a partial of the note is."""
    return level * np.sin(2 * np.pi * partial * 440 * 2 ** ((MIDI - 69) / 12) * _AT_S + 1.0)


def _side(sound, start_s=NOTE_S):
    return NoteSource(
        clip=Clip(samples=0.1 * sound[:, None].astype(np.float32), rate_hz=RATE_HZ),
        start_s=start_s,
    )


def _told_ms(reference, take, *, near_cents=50.0):
    late_s = 0.0
    for _ in range(3):
        late_s, clearness = lateness(
            planned_voice(MIDI, NOTE_S), reference, take, guess=(late_s, 0.0), near_cents=near_cents
        )
    assert clearness > 0.5
    return 1000 * late_s


@pytest.mark.parametrize("late_ms", [-110.0, -40.0, 0.0, 50.0, 110.0])
def test_note_that_is_moved_alone_is_told_to_the_millisecond(late_ms):
    told = _told_ms(_side(_note(NOTE_S)), _side(_note(NOTE_S + late_ms / 1000)))
    assert told == pytest.approx(late_ms, abs=2.0)


@pytest.mark.parametrize("scoop_cents", [0.0, 60.0, 130.0])
def test_depth_of_the_scoop_is_no_lateness(scoop_cents):
    reference = _side(_note(NOTE_S, scoop_cents=90.0))
    assert _told_ms(reference, _side(_note(NOTE_S, scoop_cents=scoop_cents))) == pytest.approx(
        0.0, abs=ENTRY_MS
    )


@pytest.mark.parametrize("late_ms", [-70.0, 50.0, 70.0])
def test_stroke_that_the_plan_has_with_the_note_does_not_draw_it(late_ms):
    rng = np.random.default_rng(5)
    reference = _note(NOTE_S) + 2 * _stroke(NOTE_S, rng)
    take = _note(NOTE_S + late_ms / 1000) + 2 * _stroke(NOTE_S, rng)
    assert _told_ms(_side(reference), _side(take)) == pytest.approx(late_ms, abs=ENTRY_MS)


@pytest.mark.parametrize("partial", [1, 2, 3])
def test_instrument_that_holds_a_partial_in_the_take_alone_shifts_nothing(partial):
    take = _note(NOTE_S + 0.06) + _held(partial, 0.7 / partial)
    assert _told_ms(_side(_note(NOTE_S)), _side(take)) == pytest.approx(60.0, abs=ENTRY_MS)


@pytest.mark.parametrize("seed", range(3))
def test_noise_moves_it_by_less_than_is_asked(seed):
    noise = 0.3 * np.random.default_rng(seed).normal(size=len(_AT_S))
    told = _told_ms(_side(_note(NOTE_S)), _side(_note(NOTE_S - 0.05) + noise))
    assert told == pytest.approx(-50.0, abs=ENTRY_MS)


def _entry(take):
    """The singer's entry as a review has it, with a band on its plan."""
    voice, reference = planned_voice(MIDI, NOTE_S), _side(_note(NOTE_S)).clip
    review = SimpleNamespace(
        clock=SimpleNamespace(recorder_ratio=1.0, tuning_cents=0.0), bar_at=lambda _: 5
    )
    return singer_entry(voice, reference, _side(take).clip, review, lambda time_s: time_s)


@pytest.mark.parametrize("seed", range(3))
def test_entry_that_is_not_there_is_not_told(seed):
    # noise rises nowhere as the note does: to tell a lateness from it would be a guess
    assert _entry(np.random.default_rng(seed).normal(size=len(_AT_S))) is None


def test_entry_that_stands_out_is_told_with_how_clear_it_is():
    entry = _entry(_note(NOTE_S + 0.05))
    assert entry.bar == 5
    assert entry.late_ms == pytest.approx(50.0, abs=ENTRY_MS)
    assert entry.time_s == pytest.approx(NOTE_S + 0.05, abs=ENTRY_MS / 1000)
    assert entry.clearness > 0.9
