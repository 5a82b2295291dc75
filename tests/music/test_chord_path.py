"""Chord paths: where they start, turn and end, and what they never do."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from segue.music.chord import (
    CADENCE_CHOICES,
    CADENCES,
    Chord,
    cadence_chord,
    fit,
    own_chords,
    tonic_triad,
)
from segue.music.chord_path import chord_path
from segue.music.key import ALL_KEYS, parse_key
from segue.music.tonal_space import chord_distance

keys = st.sampled_from(ALL_KEYS)
starts = st.sampled_from(["old key", "new key"])
cadences = st.sampled_from(CADENCE_CHOICES)

# Paths are solved from C, so the pairs from C major and C minor stand for all 24 x 23.
PAIRS = [
    (old, new)
    for old in (parse_key("C major"), parse_key("C minor"))
    for new in ALL_KEYS
    if old != new
]


def symbols(old, new, n_chords, cadence="dominant"):
    steps = chord_path(parse_key(old), parse_key(new), n_chords=n_chords, cadence=cadence)
    return [step.symbol for step in steps]


def triads(steps):
    return [step.chord.triad for step in steps]


@given(old=keys, new=keys, n_chords=st.integers(2, 12), start=starts, cadence=cadences)
@settings(max_examples=40)
def test_path_starts_at_home_and_ends_on_a_cadence_of_the_new_key(
    old, new, n_chords, start, cadence
):
    steps = chord_path(old, new, n_chords=n_chords, start=start, cadence=cadence)
    assert len(steps) == n_chords
    assert steps[0].chord == tonic_triad(old if start == "old key" else new)
    wanted = CADENCES if cadence == "any" else [cadence]
    assert steps[-1].chord in [cadence_chord(one, new) for one in wanted]
    assert all(step.key == new for step in steps[n_chords // 2 + 1 :])


@given(
    old=keys, new=keys, n_chords=st.integers(1, 6), semitones=st.integers(1, 11), cadence=cadences
)
@settings(max_examples=25)
def test_transposing_both_keys_transposes_the_path(old, new, n_chords, semitones, cadence):
    here = chord_path(old, new, n_chords=n_chords, cadence=cadence)
    there = chord_path(
        old.transposed(semitones), new.transposed(semitones), n_chords=n_chords, cadence=cadence
    )
    assert [s.chord.transposed(semitones) for s in here] == [s.chord for s in there]
    assert [s.pivot_from is None for s in here] == [s.pivot_from is None for s in there]


@pytest.mark.parametrize("n_chords", [4, 5, 6, 8, 12])
@pytest.mark.parametrize("cadence", CADENCES)
def test_every_chord_belongs_to_the_key_it_is_heard_in(n_chords, cadence):
    for old, new in PAIRS:
        for step in chord_path(old, new, n_chords=n_chords, cadence=cadence):
            assert fit(step.chord, step.key) != "foreign", (str(old), str(new))
            assert step.key in (old, new)


@pytest.mark.parametrize("n_chords", [3, 4, 5, 6, 8, 12])
def test_no_chord_is_repeated_at_once(n_chords):
    for old, new in PAIRS:
        heard = triads(chord_path(old, new, n_chords=n_chords))
        assert all(a != b for a, b in itertools.pairwise(heard)), (str(old), str(new))


@pytest.mark.parametrize("n_chords", [5, 6, 8, 12])
@pytest.mark.parametrize("cadence", CADENCES)
def test_no_path_swings_to_and_fro(n_chords, cadence):
    for old, new in PAIRS:
        heard = triads(chord_path(old, new, n_chords=n_chords, cadence=cadence))
        assert all(a != b for a, b in zip(heard, heard[2:], strict=False)), (str(old), str(new))


@pytest.mark.parametrize("n_chords", [5, 6, 8, 12])
@pytest.mark.parametrize("cadence", CADENCES)
def test_keys_are_joined_by_one_pivot(n_chords, cadence):
    for old, new in PAIRS:
        steps = chord_path(old, new, n_chords=n_chords, cadence=cadence)
        (pivot,) = [n for n, step in enumerate(steps) if step.pivot_from is not None]
        chord = steps[pivot].chord
        assert steps[pivot].pivot_from == old
        assert "foreign" not in (fit(chord, old), fit(chord, new))
        assert {step.key for step in steps[:pivot]} == {old}
        assert {step.key for step in steps[pivot:]} == {new}


@pytest.mark.parametrize("n_chords", [7, 8, 10, 12])
def test_keys_that_share_chords_of_their_own_turn_on_one_of_them(n_chords):
    for old, new in PAIRS:
        shared = set(own_chords(old)) & set(own_chords(new))
        if not shared - {tonic_triad(old)}:  # the path starts there and would have to come back
            continue
        steps = chord_path(old, new, n_chords=n_chords)
        (pivot,) = [step.chord for step in steps if step.pivot_from is not None]
        assert pivot in shared, (str(old), str(new))


@pytest.mark.parametrize("n_chords", [6, 8, 12])
def test_a_subdominant_leads_to_the_last_dominant(n_chords):
    # Common practice, no source: ii or IV (iv or VI in minor) before V7.
    for old, new in PAIRS:
        before = chord_path(old, new, n_chords=n_chords)[-2].chord
        degree = (before.root - new.tonic) % 12
        assert degree in ((2, 5) if new.mode == "major" else (5, 8)), (str(old), str(new))


@pytest.mark.parametrize("n_chords", [6, 12])
def test_many_small_steps_beat_one_leap(n_chords):
    # Lerdahl 2001: from C major to D minor it is 10; no step of a way that has time goes further
    for old, new in PAIRS:
        for here, step in itertools.pairwise(chord_path(old, new, n_chords=n_chords)):
            heard_in = step.pivot_from or step.key
            leap = chord_distance(here.chord, here.key, step.chord, heard_in)
            assert leap <= 10, (str(old), str(new))


@pytest.mark.parametrize(
    ("old", "new", "n_chords", "numerals_old", "numerals_new"),
    [
        # Common practice, no source: the modulations that harmony courses begin with.
        pytest.param("C major", "G major", 4, "I iii vi", "ii V7", id="vi is ii, to the dominant"),
        pytest.param("C major", "F major", 4, "I IV", "I ii V7", id="IV is I, to the subdominant"),
        pytest.param("C major", "D major", 4, "I vi iii", "ii V7", id="iii is ii, a tone up"),
        pytest.param("E minor", "F minor", 8, "i iv VII III VI", "V i iv V7", id="VI is V"),
        pytest.param("C major", "F# major", 4, "I V", "bII ii V7", id="V is the Neapolitan"),
    ],
)
def test_known_ways_between_keys(old, new, n_chords, numerals_old, numerals_new):
    old, new = parse_key(old), parse_key(new)
    steps = chord_path(old, new, n_chords=n_chords)
    left = [s.chord.roman(old) for s in steps if s.key == old or s.pivot_from]
    entered = [s.chord.roman(new) for s in steps if s.key == new]
    assert " ".join(left) == numerals_old
    assert " ".join(entered).endswith(numerals_new)


@pytest.mark.parametrize(
    ("cadence", "key", "last"),
    [
        pytest.param("dominant", "F minor", "C7", id="dominant"),
        pytest.param("subdominant", "F minor", "Bbm", id="subdominant of minor"),
        pytest.param("subdominant", "D major", "G", id="subdominant of major"),
        pytest.param("flat seventh", "D major", "C", id="flat seventh of major"),
        pytest.param("flat seventh", "E minor", "D", id="seventh degree of minor"),
    ],
)
def test_the_cadence_is_a_choice(cadence, key, last):
    assert symbols("A minor", key, 5, cadence)[-1] == last


def test_any_cadence_is_one_of_the_three_ways():
    for old, new in PAIRS[::5]:
        ways = [chord_path(old, new, n_chords=6, cadence=cadence) for cadence in CADENCES]
        assert chord_path(old, new, n_chords=6, cadence="any") in ways


@pytest.mark.parametrize(
    ("old", "new", "n_chords"),
    [
        pytest.param("C major", "C major", 6, id="the same key"),
        pytest.param("C major", "C minor", 6, id="parallel keys"),
        pytest.param("A minor", "C major", 6, id="relative keys"),
    ],
)
def test_near_keys_still_lead_somewhere(old, new, n_chords):
    steps = chord_path(parse_key(old), parse_key(new), n_chords=n_chords)
    before_cadence = triads(steps)[:-1]
    assert len(set(before_cadence)) == n_chords - 1


def test_pivot_that_the_new_key_borrows_is_spelled_as_in_the_old_one():
    # C#m is vi of E major; in Ab major it is the borrowed iv, Dbm.
    assert symbols("E major", "Ab major", 8)[:4] == ["E", "A", "F#m", "C#m"]


def test_one_chord_is_the_cadence():
    (step,) = chord_path(parse_key("C major"), parse_key("D major"), n_chords=1)
    assert step.chord == Chord(root=9, quality="dominant seventh")


def test_path_needs_a_chord():
    with pytest.raises(ValueError, match="at least one chord"):
        chord_path(parse_key("C major"), parse_key("D major"), n_chords=0)


@pytest.mark.parametrize("n_chords", [2, 3, 4, 6])
@pytest.mark.parametrize("cadence", CADENCE_CHOICES)
def test_a_chord_turns_from_one_key_to_the_other_only_where_both_can_have_it(n_chords, cadence):
    """A pivot belongs to both keys, and the last chord is one only where there is no time else."""
    for old, new in PAIRS:
        steps = chord_path(old, new, n_chords=n_chords, cadence=cadence)
        for n, step in enumerate(steps):
            if step.pivot_from is not None:
                assert fit(step.chord, old) != "foreign", (old, new)
                assert n < len(steps) - 1 or n_chords <= 3, (old, new)
