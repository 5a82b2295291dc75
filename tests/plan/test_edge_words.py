"""What the edge itself plays and how loud one channel is, in words."""

from dataclasses import replace

import pytest

from segue.analysis.facts import EdgeChord, KeyFact, LevelFact
from segue.music.chord import Chord
from segue.music.key import parse_key
from segue.plan import plan_segue
from segue.plan.heard_words import edge_chord_words, file_loudness_words
from segue.plan.places_asked import PlacesAsked
from tests.plan.song_facts import end_facts, start_facts


def on(facts, root: int, quality: str, confidence: float = 0.9):
    chord = EdgeChord(chord=Chord(root=root, quality=quality), confidence=confidence)
    return replace(facts, edge_chord=chord)


@pytest.mark.parametrize(
    ("key", "root", "quality", "words"),
    [
        # Numerals of the trade: bVII in major, VII in minor, counted from the natural scale.
        pytest.param("F major", 3, "major", "ends on bVII (Eb)", id="flat seventh"),
        pytest.param("F minor", 3, "major", "ends on VII (Eb)", id="seventh of minor"),
        pytest.param("C major", 9, "minor", "ends on vi (Am)", id="sixth"),
    ],
)
def test_an_ending_is_told_by_degree_and_chord(key, root, quality, words):
    facts = replace(end_facts(), key=KeyFact(key=parse_key(key), confidence=0.9))
    assert edge_chord_words(on(facts, root, quality)) == words


def test_an_opening_starts_and_doubt_is_marked():
    facts = replace(start_facts(), key=KeyFact(key=parse_key("G major"), confidence=0.9))
    assert edge_chord_words(on(facts, 0, "major", 0.6)) == "starts on IV (C)?"


def test_nothing_is_told_of_a_chord_that_is_not_clear():
    assert edge_chord_words(on(end_facts(), 0, "major", 0.3)) == ""
    assert edge_chord_words(end_facts()) == ""


def test_the_file_s_own_loudness_is_told_where_it_differs():
    level = LevelFact(loudness_lufs=-14.0, true_peak_dbtp=-1.0, file_lufs=-17.01)
    assert file_loudness_words(level) == "-17.0 LUFS by ITU-R BS.1770 for its one channel"
    assert file_loudness_words(replace(level, file_lufs=-14.0)) == ""
    assert file_loudness_words(replace(level, file_lufs=None)) == ""


@pytest.mark.parametrize(("n_bars", "words"), [(1, "; 1 bar of "), (2, "; 2 bars of ")])
def test_one_bar_is_no_bars(shelf, n_bars, words):
    asked = PlacesAsked(n_bars=n_bars)
    plan = plan_segue(shelf["fill and go"], end_facts(), start_facts(), asked=asked)
    assert words in plan.why
