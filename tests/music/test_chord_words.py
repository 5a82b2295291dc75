"""Chords as musicians write them: what a numeral names in a key, and what is no chord."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.errors import OptionError
from segue.music.chord import Chord
from segue.music.chord_words import numeral_of, parse_chord, parse_numeral, written_steps
from segue.music.key import ALL_KEYS, Key, parse_key

keys = st.sampled_from(ALL_KEYS)
QUALITIES = ("major", "minor", "dominant seventh")


# Chords of keys as every book of harmony has them (common practice); numerals are counted on the
# major scale, so that the sixth degree of a minor key is bVI.
@pytest.mark.parametrize(
    ("key", "numerals", "symbols"),
    [
        ("C major", "I ii iii IV V vi", "C Dm Em F G Am"),
        ("G major", "I IV V7", "G C D7"),
        ("Eb major", "I vi IV V", "Eb Cm Ab Bb"),
        ("A minor", "i iv bVI bVII V7", "Am Dm F G E7"),
        ("F minor", "i iv bVI V7", "Fm Bbm Db C7"),
        ("F# minor", "i bVII bVI V", "F#m E D C#"),
        ("D major", "I bVII #iv", "D C G#m"),
    ],
)
def test_numerals_name_the_chords_of_a_key(key, numerals, symbols):
    named = [parse_numeral(word, parse_key(key)) for word in numerals.split()]
    assert named == [parse_chord(word) for word in symbols.split()]


@given(key=keys, root=st.integers(0, 11), quality=st.sampled_from(QUALITIES))
def test_a_numeral_reads_back_as_its_chord_in_every_key(key, root, quality):
    chord = Chord(root=root, quality=quality)
    assert parse_numeral(numeral_of(chord, key), key) == chord


@given(key=keys, steps=st.integers(1, 11), root=st.integers(0, 11))
def test_a_song_in_another_key_keeps_its_numerals(key, steps, root):
    moved = Key(tonic=(key.tonic + steps) % 12, mode=key.mode)
    chord = Chord(root=root, quality="major")
    assert numeral_of(chord, key) == numeral_of(
        Chord(root=(root + steps) % 12, quality="major"), moved
    )


@pytest.mark.parametrize(
    ("flat", "sharp"), [("Db", "C#"), ("Ebm", "D#m"), ("B♭7", "A#7"), ("Cb", "B"), ("E#", "F")]
)
def test_a_key_of_the_piano_has_two_names(flat, sharp):
    assert parse_chord(flat) == parse_chord(sharp)


@pytest.mark.parametrize("text", ["H", "Cdim", "Cmaj7", "C/G", "", "c", "Asus4"])
def test_what_is_not_played_is_told(text):
    with pytest.raises(OptionError, match="no chord that can be played"):
        parse_chord(text)


@pytest.mark.parametrize("text", ["VIII", "v7", "b", "Iv", "bbVI", ""])
def test_what_is_no_numeral_is_told(text):
    with pytest.raises(ValueError, match="not a numeral"):
        parse_numeral(text, parse_key("C major"))


def test_a_written_chord_is_heard_in_the_old_key_only_where_the_new_one_has_it_not():
    old, new = parse_key("E minor"), parse_key("F minor")
    steps = written_steps("vii bVII bVI V7", old, new)
    assert [step.key for step in steps] == [old, new, new, new]
