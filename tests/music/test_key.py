"""Keys and notes as people write them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.errors import KeyNameError
from segue.music.key import ALL_KEYS, Key, note_name, parse_key, parse_note

keys = st.sampled_from(ALL_KEYS)


@pytest.mark.parametrize(
    ("text", "name"),
    [
        pytest.param("F# minor", "F# minor", id="ascii sharp"),
        pytest.param("f♯ Minor", "F# minor", id="sharp sign"),
        pytest.param("Gb minor", "F# minor", id="respelled"),
        pytest.param("B flat", "Bb major", id="words"),
        pytest.param("bb", "Bb minor", id="lower-case letter means minor"),
        pytest.param("Am", "A minor", id="chord style minor"),
        pytest.param("AM", "A major", id="chord style major"),
        pytest.param("E-flat major", "Eb major", id="hyphen"),
        pytest.param("  d  ", "D minor", id="blanks"),
    ],
)
def test_parse_key_reads_what_musicians_write(text, name):
    assert str(parse_key(text)) == name


@pytest.mark.parametrize("text", ["", "H major", "C lydian", "7", "major", "C major!", "Cb#"])
def test_parse_key_refuses_with_an_example(text):
    with pytest.raises(KeyNameError, match="write a tonic and a mode, such as 'F# minor'"):
        parse_key(text)


@given(key=keys)
def test_every_key_name_reads_back(key):
    assert parse_key(str(key)) == key


@pytest.mark.parametrize(
    ("name", "n_accidentals"),
    # Common practice, no source: no usual key signature has more than six accidentals.
    [pytest.param(str(key), 6, id=str(key)) for key in ALL_KEYS],
)
def test_spelling_has_at_most_six_accidentals(name, n_accidentals):
    sharps_of = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
    tonic, mode = name.split()
    sharps = sharps_of[tonic[0]] + 7 * (tonic.count("#") - tonic[1:].count("b"))
    assert abs(sharps - (3 if mode == "minor" else 0)) <= n_accidentals


@given(key=keys, semitones=st.integers(-30, 30))
def test_transposing_there_and_back_is_home(key, semitones):
    assert key.transposed(semitones).transposed(-semitones) == key


def test_key_refuses_what_is_no_pitch_class():
    with pytest.raises(ValueError, match="not a pitch class"):
        Key(tonic=12, mode="major")
    with pytest.raises(ValueError, match="neither major nor minor"):
        Key(tonic=0, mode="dorian")


@given(midi=st.integers(0, 127), flats=st.booleans())
def test_note_names_read_back(midi, flats):
    assert parse_note(note_name(midi, flats=flats)) == midi


@pytest.mark.parametrize("text", ["", "H3", "A", "200", "-1", "nan"])
def test_parse_note_refuses(text):
    with pytest.raises(KeyNameError, match="write a name and an octave"):
        parse_note(text)
