"""Keys, chords, numerals and distances against libraries that others wrote."""

import itertools

import librosa
import music21.analysis.discrete
import music21.chord
import music21.harmony
import music21.interval
import music21.key
import music21.pitch
import music21.roman
import numpy as np
import pytest

from segue.music.chord import CADENCES, Chord, borrowed_chords, cadence_chord, own_chords
from segue.music.chord_path import chord_path
from segue.music.interval import interval_name
from segue.music.key import ALL_KEYS, Key, parse_key, pitch_class_name
from segue.music.profiles import KRUMHANSL_KESSLER, profile_matrix
from segue.music.tonal_space import (
    INTERVAL_WEIGHTS,
    collection,
    krumhansl_distance,
    tonal_centroid,
    tonal_interval_vector,
)

EVERY_KEY = [pytest.param(key, id=str(key)) for key in ALL_KEYS]


def theirs(name):
    """A name of ours as music21 writes it: its flats are minus signs."""
    return name[0] + name[1:].replace("b", "-")


def their_key(key):
    return music21.key.Key(theirs(key.tonic_name), key.mode)


def their_numeral(chord, key):
    """Numeral that music21 finds for a chord, spelled by its degree: in C, then transposed.

    In minor, music21 marks the lowered sixth and seventh degree with a
    cautionary flat and the raised ones not at all; we follow the common
    teaching that the signature's degrees go unmarked.
    """
    home = Key(tonic=0, mode=key.mode)
    symbol = music21.harmony.ChordSymbol(theirs(chord.triad.transposed(-key.tonic).symbol_in(home)))
    tonics = [music21.pitch.Pitch(theirs(k.tonic_name) + "4") for k in (home, key)]
    closed = music21.chord.Chord(symbol.pitches).transpose(music21.interval.Interval(*tonics))
    figure = music21.roman.romanNumeralFromChord(closed, their_key(key)).figure
    plain = figure.lstrip("b#")
    if key.mode == "minor" and plain.upper() in ("VI", "VII"):
        return plain if figure != plain else "#" + plain
    return figure


@pytest.mark.parametrize("key", EVERY_KEY)
def test_numerals_of_a_key_are_those_of_music21(key):
    for chord in (*own_chords(key), *borrowed_chords(key)):
        assert chord.roman(key) == their_numeral(chord, key), chord.symbol_in(key)


@pytest.mark.parametrize(
    ("root", "key", "plain"),
    [
        pytest.param(2, "Db major", "D", id="not Ebb"),
        pytest.param(4, "Db major", "E", id="not Fb"),
        pytest.param(9, "Db major", "A", id="not Bbb"),
        pytest.param(11, "Db major", "B", id="not Cb"),
        pytest.param(11, "Eb minor", "Cb", id="Cb where the scale has it"),
    ],
)
def test_guests_are_spelled_as_players_read_them(root, key, plain):
    assert Chord(root=root, quality="major").symbol_in(parse_key(key)) == plain


@pytest.mark.parametrize("cadence", CADENCES)
@pytest.mark.parametrize(("old", "new"), [("C major", "D major"), ("E minor", "F minor")])
def test_numerals_of_a_path_name_the_chords_that_are_played(old, new, cadence):
    old, new = parse_key(old), parse_key(new)
    for key in (old, new):
        for step in chord_path(old, new, n_chords=8, cadence=cadence):
            if step.chord.triad not in (*own_chords(key), *borrowed_chords(key)):
                continue
            figure = step.chord.roman(key)
            heard = music21.roman.RomanNumeral(figure, their_key(key))
            chord = step.chord if figure.endswith("7") else step.chord.triad
            assert {p.pitchClass for p in heard.pitches} == set(chord.pitch_classes), figure


@pytest.mark.parametrize("mode", ["major", "minor"])
def test_numerals_read_back_in_music21_over_all_pairs(mode):
    home = Key(tonic=0, mode=mode)
    for new, n_chords in itertools.product(ALL_KEYS, (4, 7)):
        for step in chord_path(home, new, n_chords=n_chords):
            figure = step.chord.triad.roman(step.key)
            heard = music21.roman.RomanNumeral(figure, their_key(step.key))
            assert {p.pitchClass for p in heard.pitches} == set(step.chord.triad.pitch_classes)


@pytest.mark.parametrize("key", EVERY_KEY)
def test_chord_symbols_sound_as_music21_reads_them(key):
    cadence = [cadence_chord(one, key) for one in CADENCES]
    for chord in (*own_chords(key), *borrowed_chords(key), *cadence):
        symbol = music21.harmony.ChordSymbol(theirs(chord.symbol_in(key)))
        assert [p.pitchClass for p in symbol.pitches] == list(chord.pitch_classes)


@pytest.mark.parametrize("key", EVERY_KEY)
def test_key_relations_and_signatures_are_those_of_music21(key):
    other = their_key(key)
    assert key.n_sharps == other.sharps
    assert collection(key) == {p.pitchClass for p in other.pitches}
    for name, relative in (("relative", other.relative), ("parallel", other.parallel)):
        near = Key(tonic=relative.tonic.pitchClass, mode=relative.mode)
        assert interval_name(key, near) == f"the {name} {near.mode}"


SECONDS = {"minor second": "semitone", "major second": "whole tone", "perfect fourth": "fourth"}


@pytest.mark.parametrize("semitones", [*range(-5, 0), *range(1, 6)])
def test_interval_names_are_those_of_music21(semitones):
    size = music21.interval.Interval(abs(semitones)).simpleNiceName.lower()
    size = SECONDS.get(size, size)
    way = "up" if semitones > 0 else "down"
    home = Key(tonic=2, mode="major")
    assert interval_name(home, home.transposed(semitones)) == f"{way} a {size}"


@pytest.mark.parametrize("mode", ["major", "minor"])
def test_krumhansl_kessler_profiles_are_those_of_music21(mode):
    weights = music21.analysis.discrete.KrumhanslKessler().getWeights(mode)
    assert list(getattr(KRUMHANSL_KESSLER, mode)) == pytest.approx(weights)


def test_krumhansl_distances_are_correlations_as_numpy_computes_them():
    theirs_all = np.corrcoef(profile_matrix(KRUMHANSL_KESSLER))
    for (i, a), (j, b) in itertools.product(enumerate(ALL_KEYS), repeat=2):
        assert krumhansl_distance(a, b) == pytest.approx(1 - theirs_all[i, j], abs=1e-12)


CHROMAS = {
    "major triad": [1, 0, 0, 0, 1, 0, 0, 1, 0, 0, 0, 0],
    "uneven": [0.1, 0.9, 0.3, 0.0, 0.7, 0.2, 0.5, 1.0, 0.0, 0.4, 0.6, 0.8],
}


@pytest.mark.parametrize("chroma", CHROMAS.values(), ids=CHROMAS.keys())
def test_tonal_centroid_is_that_of_librosa(chroma):
    reference = librosa.feature.tonnetz(chroma=np.array(chroma, dtype=float)[:, None])[:, 0]
    assert tonal_centroid(chroma) == pytest.approx(reference.tolist(), abs=1e-9)


@pytest.mark.parametrize("chroma", CHROMAS.values(), ids=CHROMAS.keys())
@pytest.mark.parametrize("weights", ["symbolic", "audio"])
def test_tonal_interval_vector_is_a_weighted_fourier_transform(chroma, weights):
    # Bernardes et al. 2016, eq. 1: coefficients 1..6 of the chroma that sums to 1, weighted.
    spectrum = np.fft.fft(np.array(chroma) / np.sum(chroma))[1:7]
    reference = spectrum * np.array(INTERVAL_WEIGHTS[weights])
    assert np.allclose(tonal_interval_vector(chroma, weights=weights), reference)


def test_plain_names_of_all_pitch_classes_sound_right():
    for pitch_class, flats in itertools.product(range(12), (True, False)):
        name = pitch_class_name(pitch_class, flats=flats)
        assert music21.pitch.Pitch(theirs(name)).pitchClass == pitch_class
