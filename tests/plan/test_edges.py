"""Where songs are left, by how they end and where their phrases start."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.analysis.facts import PhraseFact
from segue.plan.edges import song_end
from tests.plan import song_facts


def left_s(facts):
    end = song_end(facts)
    return end.grid.seconds_at(end.done_index)


def phrased(facts, phase, *, confidence=0.9):
    starts_s = facts.pulse.downbeats_s[phase::4]
    return replace(facts, phrases=PhraseFact(starts_s=starts_s, confidence=confidence))


@given(phase=st.integers(0, 3))
def test_a_song_that_keeps_going_is_left_on_a_sure_phrase(phase):
    facts = phrased(song_facts.end_facts(kind="keeps going"), phase)
    exit_s = left_s(facts)
    groups = (exit_s - facts.phrases.starts_s[0]) / (4 * 4 * facts.pulse.beat_s)
    assert groups == pytest.approx(round(groups), abs=1e-3)
    assert exit_s > facts.ending.sound_end_s - 4 * 4 * facts.pulse.beat_s - 0.01


def test_unsure_phrases_move_nothing(end_facts):
    facts = end_facts(kind="keeps going")
    assert left_s(phrased(facts, 1, confidence=0.5)) == left_s(facts)


@pytest.mark.parametrize("kind", ["cold stop", "ring-out"])
def test_no_phrase_takes_a_last_chord_away(kind, end_facts):
    facts = end_facts(kind=kind, last_hit_beats_before_end=4.0)
    for phase in range(4):
        assert left_s(phrased(facts, phase)) == left_s(facts) >= facts.ending.last_hit_s - 0.01


def test_a_fade_is_left_while_it_is_loud(end_facts):
    facts = end_facts(kind="fade")
    late = replace(facts.ending, fade_start_s=facts.ending.fade_start_s + facts.pulse.beat_s)
    assert left_s(replace(facts, ending=late)) <= late.fade_start_s


def test_a_held_last_chord_is_heard_out_before_a_cold_stop(end_facts):
    facts = end_facts(kind="cold stop", last_hit_beats_before_end=8.0)
    held = replace(facts.ending, rung_out_s=facts.ending.sound_end_s)
    assert left_s(replace(facts, ending=held)) > left_s(facts)


def test_a_song_is_not_left_a_bar_after_its_sound(end_facts):
    facts = end_facts(kind="ring-out", last_hit_beats_before_end=4.0)
    short = replace(facts.ending, sound_end_s=facts.ending.last_hit_s + 0.2)
    exit_s = left_s(replace(facts, ending=short))
    assert exit_s <= short.sound_end_s + facts.pulse.beat_s
