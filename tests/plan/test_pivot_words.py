"""Vamps on chords of both keys: what is told of them, and where they are not proposed."""

from dataclasses import replace
from itertools import product

import pytest

from segue.music.chord import shared_chords
from segue.music.key import ALL_KEYS, parse_key
from segue.plan import plan_segue, suitability
from segue.plan.heard_words import filled_in
from segue.plan.layer import Voicing
from segue.plan.words import home_words
from tests.plan.song_facts import end_facts, start_facts, unheard

NAME = "pivot-chord vamp"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("A minor", "C major", "Am - Dm - G7, all at home in A minor and in C major: "),
        ("C major", "G major", "C - Am - D7, of which C and Am are at home in C major and in G major: "),  # noqa: E501 - the sentence
        ("E minor", "F minor", "Em - C - C7, of which C is at home in E minor and in F minor: "),
        ("G major", "Bb major", "Cm - Eb - F7, all at home in Bb major: "),
        ("F minor", "D major", "C - Em - A7, of which C is at home in F minor, Em and A7 in D major: "),  # noqa: E501 - the sentence
        ("D minor", "D minor", "Dm - Am - A7, all at home in D minor: "),
    ],
)  # fmt: skip
def test_chords_are_told_where_they_are_at_home(shelf, old, new, words):
    plan = plan_segue(shelf[NAME], end_facts(old), start_facts(new))
    assert plan.why.startswith(words)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (end_facts(), unheard(start_facts()), "all at home in E minor: "),
        (unheard(end_facts()), start_facts(), "all at home in F minor: "),
        (unheard(end_facts()), unheard(start_facts()), "a guess, as no key was heard: "),
    ],
    ids=["old", "new", "neither"],
)
def test_no_chord_is_at_home_in_a_key_that_was_not_heard(shelf, old, new, words):
    assert words in plan_segue(shelf[NAME], *filled_in(old, new)).why


def test_no_two_keys_are_told_as_home_where_they_share_no_chord(shelf):
    for old, new in product(ALL_KEYS, ALL_KEYS):
        plan = plan_segue(shelf[NAME], end_facts(str(old)), start_facts(str(new)))
        claims_both = f"at home in {old} and in {new}" in plan.why
        assert claims_both is (old != new and bool(shared_chords(old, new))), plan.why


def test_a_seventh_or_a_guest_keeps_a_chord_from_being_at_home():
    def told(*voicings):
        made = [
            Voicing(start_beat=0.0, end_beat=4.0, notes_midi=notes, symbol=name)
            for name, notes in voicings
        ]
        return home_words(made, end_facts("C major").key, start_facts("C major").key)

    c7, f, d_flat = ("C7", (48, 64, 67, 70)), ("F", (41, 57, 60, 65)), ("Db", (49, 61, 65, 68))
    assert told(c7, f) == "of which F is at home in C major"
    assert told(f) == "all at home in C major"
    assert told(c7, d_flat) == ""


def test_a_vamp_on_shared_chords_is_hardly_proposed_where_there_are_none(shelf):
    vamp = shelf[NAME]
    layers = (
        replace(layer, harmony="path") if layer.harmony == "pivot vamp" else layer
        for layer in vamp.layers
    )
    other = replace(vamp, layers=tuple(layers))
    for old, new in product((parse_key("C major"), parse_key("C minor")), ALL_KEYS):
        pair = end_facts(str(old)), start_facts(str(new))
        share = suitability(vamp, *pair) / suitability(other, *pair)
        assert share == pytest.approx(1.0 if shared_chords(old, new) else 0.1), (old, new)
