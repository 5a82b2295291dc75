"""How two keys lie to each other, in words; common practice, no source."""

import pytest

from segue.music.interval import difficulty_words, interval_name, reads_as, relation
from segue.music.key import ALL_KEYS, parse_key


@pytest.mark.parametrize(
    ("old", "new", "name", "sentence"),
    [
        ("E minor", "E minor", "the same key", "Both songs are in E minor"),
        ("A minor", "C major", "the relative major", "A minor to C major, the relative major"),
        ("C major", "C minor", "the parallel minor", "C major to C minor, the parallel minor"),
        ("E minor", "F minor", "up a semitone", "E minor to F minor, up a semitone"),
        ("F minor", "E minor", "down a semitone", "F minor to E minor, down a semitone"),
        ("C major", "D major", "up a whole tone", "C major to D major, up a whole tone"),
        ("C major", "G major", None, None),
        ("C major", "F# major", None, None),
    ],
)
def test_relations_in_words(old, new, name, sentence):
    old, new = parse_key(old), parse_key(new)
    if name is None:
        assert relation(old, new) == f"{old} to {new}, {interval_name(old, new)}"
    else:
        assert (interval_name(old, new), relation(old, new)) == (name, sentence)


def test_names_do_not_hang_on_the_key_one_starts_from():
    for old in ALL_KEYS:
        for new in ALL_KEYS:
            there = interval_name(old.transposed(3), new.transposed(3))
            assert interval_name(old, new) == there
            assert reads_as(old, new) == reads_as(old.transposed(3), new.transposed(3))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("E minor", "E minor", "no change of key"),
        ("E minor", "G major", "an easy change (0.06; 1 is hardest)"),
        ("E minor", "F minor", "a hard change (0.84; 1 is hardest)"),
    ],
)
def test_how_hard_a_change_is(old, new, words):
    assert difficulty_words(parse_key(old), parse_key(new)) == words


def test_up_lifts_where_down_drops():
    key = parse_key("C major")
    for semitones in (1, 2):
        assert reads_as(key, key.transposed(semitones)) == "lift"
        assert reads_as(key.transposed(semitones), key) == "drop"
    assert reads_as(key, key) == "neither"
