"""How two keys lie to each other, in words; common practice, no source."""

import pytest

from segue.music.interval import interval_name, reads_as, relation
from segue.music.key import ALL_KEYS, parse_key


@pytest.mark.parametrize(
    ("old", "new", "name", "sentence"),
    [
        ("E minor", "E minor", "the same key", "Both songs are in E minor"),
        ("A minor", "C major", "the relative major", "C major is the relative major of A minor"),
        ("C major", "C minor", "the parallel minor", "C minor is the parallel minor of C major"),
        ("E minor", "F minor", "a semitone up", "F minor is a semitone up from E minor"),
        ("F minor", "E minor", "a semitone down", "E minor is a semitone down from F minor"),
        ("C major", "D major", "a whole tone up", "D major is a whole tone up from C major"),
        ("C major", "G major", None, None),
        ("C major", "F# major", None, None),
    ],
)
def test_relations_in_words(old, new, name, sentence):
    old, new = parse_key(old), parse_key(new)
    if name is None:
        assert relation(old, new) == f"{new} is {interval_name(old, new)} from {old}"
    else:
        assert (interval_name(old, new), relation(old, new)) == (name, sentence)


def test_names_do_not_hang_on_the_key_one_starts_from():
    for old in ALL_KEYS:
        for new in ALL_KEYS:
            there = interval_name(old.transposed(3), new.transposed(3))
            assert interval_name(old, new) == there
            assert reads_as(old, new) == reads_as(old.transposed(3), new.transposed(3))


def test_up_lifts_where_down_drops():
    key = parse_key("C major")
    for semitones in (1, 2):
        assert reads_as(key, key.transposed(semitones)) == "lift"
        assert reads_as(key.transposed(semitones), key) == "drop"
    assert reads_as(key, key) == "neither"
