"""Keys and notes as people write them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.errors import KeyNameError
from segue.music.key import ALL_KEYS, Key, name_in, note_in, note_name, parse_key, parse_note

keys = st.sampled_from(ALL_KEYS)


@pytest.mark.parametrize(
    ("text", "name"),
    [
        pytest.param("F# minor", "F# minor", id="ascii sharp"),
        pytest.param("f♯ Minor", "F# minor", id="sharp sign"),
        pytest.param("Gb minor", "Gb minor", id="as it was typed"),
        pytest.param("A# minor", "A# minor", id="as it was typed, with seven sharps"),
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


@pytest.mark.parametrize(("typed", "usual"), [("Gb major", "F# major"), ("A# minor", "Bb minor")])
def test_a_key_is_the_same_however_it_is_spelled(typed, usual):
    one, other = parse_key(typed), parse_key(usual)
    assert one == other
    assert hash(one) == hash(other)
    assert str(one) == typed
    assert str(one.transposed(12)) == typed
    assert str(one.transposed(1)) == str(other.transposed(1))


def test_a_spelling_is_of_the_same_note():
    with pytest.raises(ValueError, match="'Gb' is no name of pitch class 5"):
        Key(tonic=5, mode="major", spelled="Gb")


@pytest.mark.parametrize(
    ("key", "scale"),
    # Common practice, no source: each letter once, the seventh of minor raised to the tonic.
    [
        ("F# major", "F# G# A# B C# D# E#"),
        ("Gb major", "Gb Ab Bb Cb Db Eb F"),
        ("C# minor", "C# D# E F# G# A B#"),
        ("D minor", "D E F G A Bb C#"),
    ],
)
def test_notes_are_named_in_their_key(key, scale):
    key = parse_key(key)
    steps = (0, 2, 4, 5, 7, 9, 11) if key.mode == "major" else (0, 2, 3, 5, 7, 8, 11)
    assert [name_in((key.tonic + up) % 12, key) for up in steps] == scale.split()


@given(midi=st.integers(12, 120), key=keys)
def test_notes_named_in_a_key_read_back(midi, key):
    assert parse_note(note_in(midi, key)) == midi


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
