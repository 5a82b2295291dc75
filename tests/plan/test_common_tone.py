"""The tone that is held over from one key into another, and the chord that it ends up in."""

from itertools import product

import pytest

from segue.music.chord import tonic_triad
from segue.music.key import ALL_KEYS, parse_key
from segue.music.voicing import held_tone
from segue.plan import plan_segue
from segue.plan.layer import PadLayer

PAIRS = [(str(old), str(new)) for old, new in product(ALL_KEYS, ALL_KEYS)]
STEPS = {"major": (0, 2, 4, 5, 7, 9, 11), "minor": (0, 2, 3, 5, 7, 8, 10)}
TONES = {"5": {0, 7}, "sus4": {0, 5, 7}, "sus2": {0, 2, 7}}
"""Semitones above the root by the end of a chord symbol. Common practice, no source."""


def scale_of(key):
    """Major and natural minor, written out apart from the code that is checked."""
    return {(key.tonic + step) % 12 for step in STEPS[key.mode]}


def voicings_of(shelf, old, new):
    plan = plan_segue(shelf["drone on the common tone"], old, new)
    (pad,) = (layer for layer in plan.layers if isinstance(layer, PadLayer))
    return pad.voicings


def test_the_held_tone_is_of_both_scales_for_every_pair_of_keys():
    for old, new in product(ALL_KEYS, ALL_KEYS):
        assert held_tone(old, new) in scale_of(old) & scale_of(new), (old, new)


def test_the_nearer_kin_goes_first():
    for old, new in product(ALL_KEYS, ALL_KEYS):
        tone, goal = held_tone(old, new), set(tonic_triad(new).pitch_classes)
        in_chords = goal & set(tonic_triad(old).pitch_classes)
        in_goal = goal & scale_of(old)
        # With neither, a fourth or a second over the new bass: no semitone from its root.
        hanging = {(new.tonic + step) % 12 for step in (2, 5)} & scale_of(old)
        assert tone in (in_chords or in_goal or hanging), (old, new)


@pytest.mark.parametrize(
    ("old", "new", "tone"),
    [
        pytest.param("C major", "G major", "G", id="of both chords"),
        pytest.param("C major", "A minor", "E", id="the fifth rather than the third"),
        pytest.param("E minor", "F minor", "C", id="the new fifth"),
        pytest.param("C minor", "E major", "G#", id="no leading tone of harmonic minor"),
        pytest.param("F minor", "D major", "G", id="the fourth"),
        pytest.param("C major", "Eb minor", "F", id="the second"),
    ],
)
def test_known_held_tones(old, new, tone):
    assert held_tone(parse_key(old), parse_key(new)) == parse_key(tone).tonic


@pytest.mark.parametrize(("old", "new"), PAIRS)
def test_the_symbol_tells_what_sounds(shelf, end_facts, start_facts, old, new):
    held, under = voicings_of(shelf, end_facts(old), start_facts(new))
    goal = parse_key(new)
    tone = parse_key(held.symbol.removesuffix(" alone")).tonic
    assert {note % 12 for note in held.notes_midi} == {tone}
    assert set(held.notes_midi) < set(under.notes_midi)
    assert under.notes_midi[0] % 12 == goal.tonic
    tones = {(note - goal.tonic) % 12 for note in under.notes_midi}
    kind = under.symbol.removeprefix(goal.tonic_name)
    if kind in ("", "m"):
        assert tones == {0, 3 if kind else 4}
    else:
        assert tones == TONES[kind]


def test_a_tone_that_hangs_over_the_new_bass_is_told(shelf, end_facts, start_facts):
    held, under = voicings_of(shelf, end_facts("F minor"), start_facts("D major"))
    assert (held.symbol, under.symbol, under.roman_to) == ("G alone", "Dsus4", "Isus4")
