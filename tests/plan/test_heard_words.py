"""Keys and tempos in words: those that were heard, and nothing of what is guessed."""

from dataclasses import replace

import pytest

from segue.plan import plan_segue
from segue.plan.heard_words import filled_in, key_words, keys_sentence, spelling_key, tempo_words
from tests.plan.song_facts import end_facts, start_facts, unheard

OLD, NEW = end_facts("E minor"), start_facts("F minor")


def test_guesses_are_not_told():
    assert (key_words(NEW.key), tempo_words(NEW.pulse)) == ("F minor", "96 BPM")
    guess = unheard(NEW)
    assert (key_words(guess.key), tempo_words(guess.pulse)) == ("none heard", "free time")


def test_what_is_given_is_told_whatever_was_heard():
    guess = unheard(NEW)
    given = replace(guess, key=replace(guess.key, source="given"))
    assert key_words(given.key) == "F minor"


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (OLD, NEW, "E minor to F minor, up a semitone"),
        (OLD, unheard(NEW), "No key was heard at the start of 'New Song': pads and cue keep to E minor"),  # noqa: E501 - the sentence
        (unheard(OLD), NEW, "No key was heard at the end of 'Old Song': pads and cue keep to F minor"),  # noqa: E501 - the sentence
        (unheard(OLD), unheard(NEW), "No key was heard in either song: the chords of pads and cue are a guess"),  # noqa: E501 - the sentence
    ],
    ids=["both", "old", "new", "neither"],
)  # fmt: skip
def test_keys_of_a_join_as_it_was_planned(old, new, sentence):
    assert keys_sentence(old, new) == sentence
    assert keys_sentence(*filled_in(old, new)) == sentence


def test_notes_are_spelled_by_the_songs_key_or_else_the_joins():
    assert spelling_key(NEW, OLD) == NEW.key.key
    assert spelling_key(unheard(NEW), OLD) == OLD.key.key
    assert spelling_key(unheard(NEW), unheard(OLD)) is None
    assert spelling_key(unheard(NEW), None) is None


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (OLD, unheard(NEW), "E minor is the only key that was heard: "),
        (unheard(OLD), NEW, "F minor is the only key that was heard: "),
        (unheard(OLD), unheard(NEW), "'Old Song' and 'New Song' have no key that was heard: "),
    ],
    ids=["old", "new", "neither"],
)
def test_a_reason_does_not_name_a_key_that_neither_song_has(shelf, old, new, words):
    plan = plan_segue(shelf["pad in the new key"], *filled_in(old, new))
    assert plan.why.startswith(words)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (OLD, NEW, "E minor and F minor can share a tone"),
        (unheard(OLD), NEW, "The old song and F minor can share a tone"),
        (OLD, unheard(NEW), "E minor and the new song can share a tone"),
        (unheard(OLD), unheard(NEW), "The old song and the new song can share a tone"),
        (replace(OLD, key=NEW.key), NEW, "The old song and F minor can share a tone"),
    ],
    ids=["both", "new", "old", "neither", "one key"],
)
def test_a_reason_never_leads_from_a_key_to_itself(shelf, old, new, words):
    plan = plan_segue(shelf["drone on the common tone"], *filled_in(old, new))
    assert plan.why.startswith(words)


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("on the beat", "starts on the beat."),
        ("pick-up", "starts on a pick-up."),
        ("free intro", "starts in free time."),
    ],
)
def test_a_talk_bed_promises_the_start_that_there_is(shelf, kind, words):
    plan = plan_segue(shelf["talk bed"], OLD, start_facts(kind=kind), talk_s=25.0)
    assert plan.why.endswith(f"until the last two bars open up and the new song {words}")
