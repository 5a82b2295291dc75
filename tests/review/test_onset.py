"""The moment of an entry, told by the plan's stems, is the voice's own and not the band's."""

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.review.onset import NoteSource, onset_s
from segue.review.partials import N_PARTIALS
from segue.review.singer import heard_entry
from segue.review.stems import TEMPLATE_S, stem_levels, template_times
from tests.review.voices import planned_voice

RATE_HZ = 24_000
MIDI = 65.0
NOTE_S = 2.0
ENTRY_MS = 15.0
"""What a review is asked to reach."""
_AT_S = np.arange(round(4.2 * RATE_HZ)) / RATE_HZ
_CHORD = (53.0, 60.0, 65.0, 72.0)
"""Shares partials with the note, the first of them."""


def _hz(midi):
    return 440 * 2 ** ((midi - 69) / 12)


def _note(at_s, *, scoop_cents=0.0):
    """A note of eight partials that comes up from below, as singers do."""
    after_s = np.maximum(_AT_S - at_s, 0.0)
    hz = _hz(MIDI - scoop_cents / 100 * np.exp(-after_s / 0.03))
    turns = np.cumsum(hz) / RATE_HZ
    wave = sum(np.sin(2 * np.pi * n * turns) / n for n in range(1, 9))
    return wave * np.minimum(after_s / 0.02, 1.0)


def _stroke(at_s, rng):
    """A snare: all frequencies, gone in 60 ms."""
    after_s = _AT_S - at_s
    return rng.normal(size=len(_AT_S)) * np.where(after_s < 0, 0.0, np.exp(-after_s / 0.02))


def _keys(at_s):
    """A chord that is struck and rings on."""
    after_s = np.maximum(_AT_S - at_s, 0.0)
    rings = np.exp(-after_s / 0.4) * np.minimum(after_s / 0.005, 1.0)
    return rings * sum(np.sin(2 * np.pi * n * _hz(m) * _AT_S) / n for m in _CHORD for n in (1, 2))


def _band(seed):
    """Strokes and chords before, with and after the note's beat."""
    rng = np.random.default_rng(seed)
    strokes = sum(_stroke(NOTE_S + place, rng) for place in (-0.5, -0.25, 0.0, 0.25, 0.5))
    return 0.8 * strokes + 0.5 * _keys(NOTE_S - 0.5) + 0.5 * _keys(NOTE_S)


def _clip(sound):
    return Clip(samples=0.1 * sound[:, None].astype(np.float32), rate_hz=RATE_HZ)


@pytest.fixture(scope="module", name="stems")
def _stems():
    lead = _note(NOTE_S, scoop_cents=90.0)
    return stem_levels(_clip(lead), _clip(lead + _band(1)), template_times(NOTE_S), MIDI)


def _told_ms(stems, sound):
    take = NoteSource(clip=_clip(sound), start_s=NOTE_S)
    return 1000 * onset_s(planned_voice(MIDI, NOTE_S), stems, take, cents=0.0, near_cents=50.0)


@pytest.mark.parametrize("late_ms", [-110.0, -40.0, 0.0, 50.0, 110.0])
@pytest.mark.parametrize("seed", [2, 3])
def test_entry_is_told_among_strokes_and_chords_on_the_beat(stems, late_ms, seed):
    told = _told_ms(stems, _note(NOTE_S + late_ms / 1000, scoop_cents=60.0) + _band(seed))
    assert told == pytest.approx(late_ms, abs=ENTRY_MS)


@pytest.mark.parametrize("stroke_ms", [-60.0, -30.0, 30.0, 60.0])
def test_stroke_that_the_plan_does_not_have_does_not_draw_it(stems, stroke_ms):
    rng = np.random.default_rng(4)
    take = _note(NOTE_S + 0.04) + _band(2) + _stroke(NOTE_S + 0.04 + stroke_ms / 1000, rng)
    assert _told_ms(stems, take) == pytest.approx(40.0, abs=ENTRY_MS)


@pytest.mark.parametrize("partial", [1, 2, 3])
def test_instrument_that_holds_a_partial_in_the_take_alone_shifts_nothing(stems, partial):
    held = 0.7 / partial * np.sin(2 * np.pi * partial * _hz(MIDI) * _AT_S + 1.0)
    take = _note(NOTE_S + 0.06) + _band(2) + held
    assert _told_ms(stems, take) == pytest.approx(60.0, abs=ENTRY_MS)


@pytest.mark.parametrize("gain", [0.001, 8.0])
def test_level_of_the_recording_tells_no_time(stems, gain):
    take = _note(NOTE_S - 0.05) + _band(2)
    assert _told_ms(stems, gain * take) == pytest.approx(_told_ms(stems, take), abs=1.0)


def test_silence_is_told_on_the_beat(stems):
    assert _told_ms(stems, np.zeros(len(_AT_S))) == pytest.approx(0.0, abs=ENTRY_MS)


def test_entry_goes_by_the_stems_where_they_are_at_hand(stems):
    reference = NoteSource(clip=_clip(_note(NOTE_S) + _band(1)), start_s=NOTE_S)
    take = NoteSource(clip=_clip(_note(NOTE_S + 0.08) + _band(2)), start_s=NOTE_S)
    entry = heard_entry(planned_voice(MIDI, NOTE_S, stems), reference, take)
    assert 1000 * entry.late_s == pytest.approx(80.0, abs=ENTRY_MS)
    assert entry.cents == pytest.approx(0.0, abs=8.0)
    assert entry.clearness > 0.5


def test_stems_are_read_apart_on_either_side_of_the_attack(stems):
    middle = len(stems.voice) // 2
    assert stems.voice.shape == stems.band.shape == (2 * middle + 1, N_PARTIALS)
    assert middle * 0.004 == pytest.approx(TEMPLATE_S)
    before, after = stems.voice[: middle - 20, 0], stems.voice[middle + 20 :, 0]
    assert after.min() > 1000 * before.max()
    assert stems.band[: middle - 20, 0].max() > 0.01 * after.max()


def test_song_that_the_plan_takes_up_at_the_note_is_silent_before(stems):
    lead = _note(NOTE_S)
    at_s = np.maximum(template_times(NOTE_S), NOTE_S - 0.1)
    late = stem_levels(_clip(lead), _clip(lead + _band(1)), at_s, MIDI)
    middle = len(late.voice) // 2
    assert late.band[: middle - 26].max() == 0.0
    assert late.band[middle:] == pytest.approx(stems.band[middle:], rel=1e-3, abs=1e-6)
