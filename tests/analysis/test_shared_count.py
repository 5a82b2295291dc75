"""Two songs counted together: laws over drawn pairs."""

import math
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from segue.analysis.shared_count import (
    FASTEST_COUNT_BPM,
    SLOWEST_COUNT_BPM,
    counted_at,
    counted_pair,
    counted_together,
    tapped,
)
from segue.analysis.structure_facts import LoopFact, PhraseFact
from tests.plan.song_facts import end_facts, start_facts

TEMPI = st.floats(50.0, 200.0)


def ratio(old, new):
    return abs(math.log2(old.pulse.tempo_bpm / new.pulse.tempo_bpm))


def with_confidence(facts, confidence):
    return replace(facts, pulse=replace(facts.pulse, confidence=confidence))


@pytest.mark.parametrize(
    ("old_bpm", "new_bpm"),
    [
        pytest.param(70.0, 138.0, id="ballad before a fast song"),
        pytest.param(172.0, 90.0, id="double time before half"),
    ],
)
def test_a_click_does_not_halve_at_bar_one(old_bpm, new_bpm):
    old, new = counted_together(end_facts(bpm=old_bpm), start_facts(bpm=new_bpm))
    assert ratio(old, new) < 0.15
    changed = [facts for facts in (old, new) if facts.pulse.heard_bpm is not None]
    assert len(changed) == 1
    assert any("what was heard" in doubt for doubt in changed[0].doubts)


def test_tempi_that_fit_are_left_alone():
    old, new = end_facts(bpm=124.0), start_facts(bpm=96.0)
    assert counted_together(old, new) == (old, new)


def test_a_tempo_that_was_given_is_kept():
    old = end_facts(bpm=70.0)
    given_tempo = replace(old, pulse=replace(old.pulse, source="given"))
    assert counted_together(given_tempo, start_facts(bpm=138.0))[0] == given_tempo


@settings(max_examples=60)
@given(old_bpm=TEMPI, new_bpm=TEMPI)
def test_no_pair_is_counted_further_apart_and_each_can_be_counted(old_bpm, new_bpm):
    old, new = end_facts(bpm=old_bpm), start_facts(bpm=new_bpm)
    counted = counted_together(old, new)
    assert ratio(*counted) <= ratio(old, new) + 1e-9
    for before, after in zip((old, new), counted, strict=True):
        pulse = after.pulse
        assert SLOWEST_COUNT_BPM <= pulse.tempo_bpm <= FASTEST_COUNT_BPM
        octaves = math.log2(pulse.tempo_bpm / before.pulse.tempo_bpm)
        assert octaves == pytest.approx(round(octaves), abs=1e-9)
        assert (pulse.heard_bpm is None) == (after == before)


@settings(max_examples=40)
@given(bpm=st.floats(60.0, 200.0), metre=st.sampled_from([2, 4]), level=st.sampled_from([2.0, 0.5]))
def test_beats_of_another_level_are_its_beats_and_bars_stay_whole(bpm, metre, level):
    facts = end_facts(bpm=bpm, metre=metre)
    pulse = counted_at(facts, level).pulse
    steps = [b - a for a, b in pairwise(pulse.beats_s)]
    assert steps == pytest.approx([60.0 / (bpm * level)] * len(steps))
    lines = [pulse.beats_s.index(t) for t in pulse.downbeats_s]
    assert all(b - a == metre for a, b in pairwise(lines))
    if level == 0.5:
        assert set(pulse.downbeats_s) <= set(facts.pulse.downbeats_s)
    else:
        assert set(facts.pulse.downbeats_s) <= set(pulse.downbeats_s)


def test_a_counting_that_was_settled_is_kept():
    old, new = end_facts(bpm=70.0), start_facts(bpm=138.0)
    assert counted_pair(old, new, settled_bpm=(None, None)) == counted_together(old, new)
    kept = counted_pair(old, new, settled_bpm=(71.0, 70.0))
    assert [facts.pulse.tempo_bpm for facts in kept] == pytest.approx([70.0, 69.0])
    # no level of the one comes so high, and nothing was settled of the other
    assert counted_pair(old, new, settled_bpm=(700.0, None)) == (old, new)


@pytest.mark.parametrize(("level", "n_bars"), [(2.0, 8), (0.5, 2)])
def test_phrases_and_loops_last_as_long_at_any_level(level, n_bars):
    facts = end_facts(bpm=100.0)
    lines_s = facts.pulse.downbeats_s
    loops = tuple(loop_of(lines_s[8], lines_s[8 + n], n) for n in (1, 2, 4))
    phrases = PhraseFact(starts_s=lines_s[::4], confidence=0.9)
    counted = counted_at(replace(facts, phrases=phrases, loops=loops), level)
    assert counted.phrases.n_bars == n_bars
    bar_s = counted.pulse.metre * counted.pulse.beat_s
    for loop in counted.loops:
        assert loop.end_s - loop.start_s == pytest.approx(loop.n_bars * bar_s)
    assert [loop.n_bars for loop in counted.loops] == ([2, 4, 8] if level > 1 else [1, 2])


def loop_of(start_s, end_s, n_bars):
    return LoopFact(
        start_s=start_s, end_s=end_s, n_bars=n_bars, quality=0.8, seam_db=3.0, repeats=0.7,
        steady_db=1.0, voice=0.0, drums=1.0,
    )  # fmt: skip


def test_tapping_is_readiest_near_two_a_second():
    # L. van Noorden and D. Moelants, 1999: resonance at periods of 500 to 550 ms
    best = max(range(40, 241), key=tapped)
    assert 60.0 / best == pytest.approx(0.525, abs=0.025)
