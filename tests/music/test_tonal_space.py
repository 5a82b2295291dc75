"""Tonal distances against the numbers that their authors published."""

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.music.chord import Chord
from segue.music.interval import reads_as, relation
from segue.music.key import ALL_KEYS, Key, parse_key
from segue.music.tonal_space import (
    INTERVAL_WEIGHTS,
    MODELS,
    chord_distance,
    interval_distance,
    key_distance,
    krumhansl_distance,
    region_distance,
    tonal_centroid,
    tonal_interval_vector,
)

keys = st.sampled_from(ALL_KEYS)
C = parse_key("C major")


@pytest.mark.parametrize(
    ("name", "correlation"),
    [
        # Krumhansl & Kessler 1982, inter-key correlations; three decimals as in
        # Krumhansl, Cognitive Foundations of Musical Pitch, 1990, ch. 4 (from memory).
        pytest.param("G major", 0.591, id="dominant"),
        pytest.param("A minor", 0.651, id="relative minor"),
        pytest.param("C minor", 0.511, id="parallel minor"),
        pytest.param("E minor", 0.536, id="mediant"),
        pytest.param("F# major", -0.683, id="tritone"),
    ],
)
def test_krumhansl_distance_matches_published_correlations(name, correlation):
    assert krumhansl_distance(C, parse_key(name)) == pytest.approx(1 - correlation, abs=0.0015)


LERDAHL_CHORDS_IN_C = [
    # F. Lerdahl, Tonal Pitch Space, 2001, ch. 2: distance of each triad from I in its key.
    pytest.param(2, "minor", 8, id="ii"),
    pytest.param(4, "minor", 7, id="iii"),
    pytest.param(5, "major", 5, id="IV"),
    pytest.param(7, "major", 5, id="V"),
    pytest.param(9, "minor", 7, id="vi"),
]


@pytest.mark.parametrize(("root", "quality", "distance"), LERDAHL_CHORDS_IN_C)
def test_chord_distance_within_a_key_matches_lerdahl(root, quality, distance):
    tonic = Chord(root=0, quality="major")
    assert chord_distance(tonic, C, Chord(root=root, quality=quality), C) == distance


@pytest.mark.parametrize(
    ("name", "distance"),
    [
        # Lerdahl 2001, ch. 2: regions one step from I.
        pytest.param("G major", 7, id="V"),
        pytest.param("F major", 7, id="IV"),
        pytest.param("A minor", 7, id="vi"),
        pytest.param("C minor", 7, id="i"),
        pytest.param("E minor", 9, id="iii"),
        pytest.param("D minor", 10, id="ii"),
    ],
)
def test_region_distance_matches_lerdahl_for_near_regions(name, distance):
    assert region_distance(C, parse_key(name)) == distance


@pytest.mark.parametrize(
    ("name", "distance"),
    [
        # Lerdahl 2001, ch. 2: the same six moves from a minor key, by the same rule.
        pytest.param("E minor", 7, id="v"),
        pytest.param("D minor", 7, id="iv"),
        pytest.param("C major", 7, id="III"),
        pytest.param("A major", 7, id="I"),
        pytest.param("F major", 9, id="VI"),
        pytest.param("G major", 10, id="VII"),
    ],
)
def test_region_distance_from_a_minor_key(name, distance):
    assert region_distance(parse_key("A minor"), parse_key(name)) == distance


@pytest.mark.parametrize(
    ("x", "y", "distance"),
    [
        # Lerdahl 2001, ch. 2: roots a diatonic fifth apart 5, a third 7, a step 8.
        pytest.param((2, "minor"), (7, "major"), 5, id="ii to V"),
        pytest.param((9, "minor"), (2, "minor"), 5, id="vi to ii"),
        pytest.param((5, "major"), (9, "minor"), 7, id="IV to vi"),
        pytest.param((2, "minor"), (5, "major"), 7, id="ii to IV"),
        pytest.param((5, "major"), (7, "major"), 8, id="IV to V"),
        pytest.param((4, "minor"), (5, "major"), 8, id="iii to IV"),
    ],
)
def test_chord_distance_follows_the_root(x, y, distance):
    chords = [Chord(root=root, quality=quality) for root, quality in (x, y)]
    assert chord_distance(chords[0], C, chords[1], C) == distance


def test_tonal_centroid_of_c_major_triad():
    # Harte, Sandler & Gasser 2006, equation for the centroid; value recomputed by hand.
    chroma = [1.0 if n in (0, 4, 7) else 0.0 for n in range(12)]
    expected = (0.4553, 0.4553, 0.3333, 0.6667, 0.2887, 0.0)
    assert tonal_centroid(chroma) == pytest.approx(expected, abs=5e-4)


@pytest.mark.parametrize(
    ("tones", "weights", "expected"),
    [
        # Bernardes et al. 2016 with the weights they give; dissonance of sonorities.
        pytest.param((0,), "audio", 0.0, id="single tone"),
        pytest.param((0, 4, 7), "symbolic", 0.3804, id="major triad"),
        pytest.param((0, 3, 6), "symbolic", 0.4327, id="diminished triad"),
        pytest.param((0, 4, 7, 10), "audio", 0.4886, id="dominant seventh"),
        pytest.param(tuple(range(12)), "audio", 1.0, id="all twelve"),
    ],
)
def test_dissonance_in_the_tonal_interval_space(tones, weights, expected):
    chroma = [1.0 if n in tones else 0.0 for n in range(12)]
    vector = tonal_interval_vector(chroma, weights=weights)
    dissonance = 1.0 - math.hypot(*map(abs, vector)) / math.hypot(*INTERVAL_WEIGHTS[weights])
    assert dissonance == pytest.approx(expected, abs=5e-4)


def test_semitone_pitch_classes_are_farther_apart_than_fifths_in_the_interval_space():
    tones = [tonal_interval_vector([float(n == k) for n in range(12)]) for k in (0, 1, 7)]
    # Bernardes et al. 2016, audio weights: 44.895 and 36.310.
    assert interval_distance(tones[0], tones[1]) == pytest.approx(44.895, abs=0.01)
    assert interval_distance(tones[0], tones[2]) == pytest.approx(36.310, abs=0.01)


@given(a=keys, b=keys, semitones=st.integers(0, 11))
def test_every_model_is_symmetric_where_published_so_and_unmoved_by_transposition(a, b, semitones):
    moved = a.transposed(semitones), b.transposed(semitones)
    for name, model in MODELS.items():
        assert model(*moved) == pytest.approx(model(a, b), abs=1e-9), name
        assert model(a, a) == pytest.approx(0.0, abs=1e-9), name
    assert key_distance(a, b) == pytest.approx(key_distance(b, a))
    assert key_distance(*moved) == pytest.approx(key_distance(a, b))


@given(a=keys, b=keys)
def test_key_distance_is_a_share_and_zero_only_at_home(a, b):
    assert 0.0 <= key_distance(a, b) <= 1.0
    assert (key_distance(a, b) == 0.0) == (a == b)


@given(a=keys, b=keys)
def test_every_model_is_symmetric(a, b):
    for name, model in MODELS.items():
        assert model(a, b) == pytest.approx(model(b, a), abs=1e-9), name


@given(a=keys, b=keys, c=keys)
def test_no_detour_is_shorter(a, b, c):
    for name, model in MODELS.items():
        # 1 - r is half the square of a distance (between unit vectors), so its root is one.
        power = 0.5 if name == "Krumhansl-Kessler" else 1.0
        ab, bc, ac = (model(*pair) ** power for pair in ((a, b), (b, c), (a, c)))
        assert ac <= ab + bc + 1e-7, name


@pytest.mark.parametrize("mode", ["major", "minor"])
def test_common_practice_of_neighbours(mode):
    # Common practice, no source: a fourth up or a fifth down is easy, a semitone is the one
    # to avoid among close neighbours, a whole tone lies between.
    home = Key(tonic=2, mode=mode)
    fourth, tone, semitone = (key_distance(home, home.transposed(n)) for n in (5, 2, 1))
    fifth_down = key_distance(home, home.transposed(-7))
    assert fourth == fifth_down < tone < semitone
    for other in (3, 4, 5, 7, 8, 9, 10):
        assert key_distance(home, home.transposed(other)) < semitone


def test_tritone_is_farthest_of_the_same_mode():
    distances = {n: key_distance(C, C.transposed(n)) for n in range(12)}
    assert max(distances, key=distances.__getitem__) == 6


def test_lerdahl_chord_distances_are_symmetric_within_a_key():
    triads = [Chord(root=p.values[0], quality=p.values[1]) for p in LERDAHL_CHORDS_IN_C]
    for x, y in itertools.combinations(triads, 2):
        assert chord_distance(x, C, y, C) == chord_distance(y, C, x, C)


@given(
    chroma=st.lists(st.floats(0.01, 1.0), min_size=12, max_size=12),
    gain=st.sampled_from([1e-6, 0.01, 0.5, 40.0]),
)
def test_how_loud_it_is_moves_no_place(chroma, gain):
    louder = [gain * x for x in chroma]
    assert tonal_centroid(louder) == pytest.approx(tonal_centroid(chroma))
    for weights in INTERVAL_WEIGHTS:
        places = (tonal_interval_vector(x, weights=weights) for x in (louder, chroma))
        assert next(places) == pytest.approx(next(places))


def test_distances_rank_every_other_key_from_nearest_to_farthest():
    """The mean rank of 23 other keys, ties shared, is that of 1 to 23: 12 of 23."""
    for home in (C, Key(tonic=9, mode="minor")):
        ranks = [key_distance(home, key) for key in ALL_KEYS if key != home]
        assert sum(ranks) / len(ranks) == pytest.approx(12 / 23, abs=0.02)
        assert max(ranks) <= 1.0


def test_silent_chroma_has_a_place_at_the_origin():
    assert tonal_interval_vector([0.0] * 12) == (0j,) * 6
    assert math.hypot(*tonal_centroid([0.0] * 12)) == 0.0


@pytest.mark.parametrize("mode", ["major", "minor"])
def test_whole_tone_up_reads_as_a_lift_and_is_easier_than_a_semitone(mode):
    # Common practice, no source: the step up into a last chorus.
    home = Key(tonic=7, mode=mode)
    up = home.transposed(2)
    assert reads_as(home, up) == "lift"
    assert reads_as(up, home) == "drop"
    assert relation(home, up) == f"G {mode} to A {mode}, up a whole tone"
    assert key_distance(home, up) < key_distance(home, home.transposed(1))


@given(a=keys, b=keys)
def test_only_small_steps_in_one_mode_lift(a, b):
    step = (b.tonic - a.tonic) % 12
    assert (reads_as(a, b) == "lift") == (a.mode == b.mode and step in (1, 2))
    assert (reads_as(a, b) == "drop") == (reads_as(b, a) == "lift")
