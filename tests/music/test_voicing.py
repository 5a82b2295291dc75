"""Voicings: in register, uncrossed, and moving no more than they must."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from segue.music.chord import Chord
from segue.music.chord_path import chord_path
from segue.music.key import ALL_KEYS
from segue.music.voicing import BASS_RANGE_MIDI, UPPER_RANGE_MIDI, voiced

keys = st.sampled_from(ALL_KEYS)
chords = st.builds(
    Chord,
    root=st.integers(0, 11),
    quality=st.sampled_from(["major", "minor", "dominant seventh"]),
)


def placements(chord):
    """Every ascending trio in the upper register that completes the chord over its root."""
    needed = set(chord.pitch_classes[1:]) | (
        {chord.root} if len(chord.pitch_classes) == 3 else set()
    )
    low, high = UPPER_RANGE_MIDI
    return [
        trio
        for trio in itertools.combinations(range(low, high + 1), 3)
        if {n % 12 for n in trio} == needed
        and max(b - a for a, b in itertools.pairwise(trio)) <= 12
    ]


def motion(uppers):
    return sum(
        abs(a - b)
        for before, after in itertools.pairwise(uppers)
        for a, b in zip(before, after, strict=True)
    )


def off_centre(trio):
    return abs(sum(trio) / 3 - sum(UPPER_RANGE_MIDI) / 2)


@given(old=keys, new=keys, n_chords=st.integers(1, 8))
@settings(max_examples=30)
def test_voices_stay_in_order_and_in_their_registers(old, new, n_chords):
    path = [step.chord for step in chord_path(old, new, n_chords=n_chords)]
    for chord, notes in zip(path, voiced(path), strict=True):
        assert list(notes) == sorted(set(notes))
        assert notes[0] % 12 == chord.root
        assert {n % 12 for n in notes} == set(chord.pitch_classes)
        assert BASS_RANGE_MIDI[0] <= notes[0] <= BASS_RANGE_MIDI[1]
        assert UPPER_RANGE_MIDI[0] <= notes[1]
        assert notes[-1] <= UPPER_RANGE_MIDI[1]


@given(progression=st.lists(chords, min_size=2, max_size=3))
@settings(max_examples=12)
def test_voices_move_least_of_all_voicings_in_the_register(progression):
    uppers = [notes[1:] for notes in voiced(progression)]
    least = min(
        off_centre(choice[0]) + motion(choice)
        for choice in itertools.product(*map(placements, progression))
    )
    assert off_centre(uppers[0]) + motion(uppers) == pytest.approx(least)


@given(old=keys, new=keys, n_chords=st.integers(3, 8))
@settings(max_examples=30)
def test_no_upper_voice_leaps(old, new, n_chords):
    # A third at most, as singers in a choir would like it; common practice, no source.
    path = [step.chord for step in chord_path(old, new, n_chords=n_chords)]
    for before, after in itertools.pairwise(voiced(path)):
        assert max(abs(a - b) for a, b in zip(before[1:], after[1:], strict=True)) <= 4


@given(chord=chords)
def test_a_chord_that_stays_does_not_move(chord):
    first, second = voiced([chord, chord])
    assert first == second
