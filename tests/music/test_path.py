"""Chord paths and their voicings."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from segue.music.chord import Chord, tonic_triad
from segue.music.key import ALL_KEYS, parse_key
from segue.music.lerdahl import collection
from segue.music.path import chord_path
from segue.music.voicing import BASS_RANGE_MIDI, UPPER_RANGE_MIDI, voiced

keys = st.sampled_from(ALL_KEYS)
starts = st.sampled_from(["old key", "new key"])


@given(old=keys, new=keys, n_chords=st.integers(2, 8), start=starts)
@settings(max_examples=40)
def test_path_starts_at_home_and_ends_on_the_new_dominant(old, new, n_chords, start):
    steps = chord_path(old, new, n_chords=n_chords, start=start)
    assert len(steps) == n_chords
    assert steps[0].chord == tonic_triad(old if start == "old key" else new)
    assert steps[-1].chord == Chord(root=(new.tonic + 7) % 12, quality="dominant seventh")
    assert all(step.key == new for step in steps[n_chords // 2 :][1:])


@given(old=keys, new=keys, n_chords=st.integers(1, 6), semitones=st.integers(1, 11))
@settings(max_examples=25)
def test_transposing_both_keys_transposes_the_path(old, new, n_chords, semitones):
    here = chord_path(old, new, n_chords=n_chords)
    there = chord_path(old.transposed(semitones), new.transposed(semitones), n_chords=n_chords)
    assert [s.chord.transposed(semitones) for s in here] == [s.chord for s in there]


@given(old=keys, new=keys, n_chords=st.integers(4, 8))
@settings(max_examples=25)
def test_no_chord_is_repeated_at_once_except_as_a_last_resort(old, new, n_chords):
    steps = chord_path(old, new, n_chords=n_chords)
    repeats = sum(a.chord == b.chord for a, b in itertools.pairwise(steps))
    assert repeats <= 1


def test_a_fifth_up_pivots_on_a_chord_of_both_keys():
    # Common practice, no source: a modulation to the dominant pivots on a chord that is
    # diatonic in both keys; vi of the old key is ii of the new.
    steps = chord_path(parse_key("C major"), parse_key("G major"), n_chords=4)
    both = collection(parse_key("C major")) & collection(parse_key("G major"))
    assert set(steps[2].chord.pitch_classes) <= both
    assert [s.chord.roman(parse_key("G major")) for s in steps] == ["IV", "vi", "ii", "V7"]


def test_path_needs_a_chord():
    with pytest.raises(ValueError, match="at least one chord"):
        chord_path(parse_key("C major"), parse_key("D major"), n_chords=0)


@given(old=keys, new=keys, n_chords=st.integers(1, 8))
@settings(max_examples=30)
def test_voices_stay_in_order_and_in_their_registers(old, new, n_chords):
    chords = [step.chord for step in chord_path(old, new, n_chords=n_chords)]
    for chord, notes in zip(chords, voiced(chords), strict=True):
        assert list(notes) == sorted(set(notes))
        assert notes[0] % 12 == chord.root
        assert {n % 12 for n in notes} == set(chord.pitch_classes)
        assert BASS_RANGE_MIDI[0] <= notes[0] <= BASS_RANGE_MIDI[1]
        assert UPPER_RANGE_MIDI[0] <= notes[1]
        assert notes[-1] <= UPPER_RANGE_MIDI[1]


@given(old=keys, new=keys)
@settings(max_examples=20)
def test_voices_move_no_more_than_in_any_other_inversion_of_the_next_chord(old, new):
    chords = [tonic_triad(old), tonic_triad(new)]
    first, second = voiced(chords)
    moved = sum(abs(a - b) for a, b in zip(first[1:], second[1:], strict=True))
    # Any triad can follow any other with each voice moving at most a tritone.
    assert moved <= 3 * 6
