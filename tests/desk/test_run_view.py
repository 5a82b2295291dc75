"""Chords that are offered in the place of another."""

import pytest

from segue.desk.run_view import MOST_CHOICES, chord_choices
from segue.music.chord_words import parse_chord
from segue.music.tonal_space import collection
from segue.plan import plan_segue
from tests.plan.song_facts import end_facts, start_facts


@pytest.mark.parametrize(("old", "new"), [("E minor", "F minor"), ("C major", "A minor")])
@pytest.mark.parametrize("recipe", ["turnaround", "pad in the new key"])
def test_they_fit_a_key_and_are_others(shelf, recipe, old, new):
    plan = plan_segue(shelf[recipe], end_facts(old), start_facts(new))
    choices = chord_choices(plan)
    assert [choice.symbol for choice in choices] == [v.symbol for v in plan.voicings]
    for n, choice in enumerate(choices):
        assert 0 < len(choice.others) <= MOST_CHOICES
        assert choice.symbol not in choice.others
        beside = {choices[m].symbol for m in (n - 1, n + 1) if 0 <= m < len(choices)}
        assert not beside & set(choice.others)
        if n + 1 < len(choices):
            for symbol in choice.others:
                tones = set(parse_chord(symbol).pitch_classes)
                assert any(tones <= collection(key) for key in (plan.key_from, plan.key_to))


def test_the_last_one_may_be_a_cadence_of_the_new_key(shelf):
    plan = plan_segue(shelf["turnaround"], end_facts("C major"), start_facts("C major"))
    last = chord_choices(plan)[-1]
    assert {"G7", "F", "G"} & {last.symbol, *last.others}


def test_a_drone_is_shown_and_has_no_others(shelf):
    plan = plan_segue(shelf["drone on the common tone"], end_facts(), start_facts())
    found = chord_choices(plan)
    assert found
    assert all(not choice.others for choice in found)
