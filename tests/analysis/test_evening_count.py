"""The songs of an evening, each counted one way: laws over drawn evenings."""

import math
from dataclasses import replace
from itertools import pairwise, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from segue.analysis.shared_count import (
    apart_cost,
    counted_evening,
    counted_together,
    level_cost,
    levels_of_count,
)
from tests.plan.song_facts import end_facts, start_facts, unheard

BPM = st.floats(55.0, 200.0)
OCTAVE = st.sampled_from([0.5, 1.0, 1.0, 2.0])
SONG = st.tuples(BPM, OCTAVE, st.floats(0.5, 0.95), st.floats(0.5, 0.95))


def heard_song(bpm, octave=1.0, start_confidence=0.9, end_confidence=0.9):
    """A song whose end is heard an octave off its start, or not."""
    end_bpm = min(max(bpm * octave, 50.0), 208.0)
    return (
        start_facts(bpm=bpm, confidence=start_confidence),
        end_facts(bpm=end_bpm, confidence=end_confidence),
    )


def octaves_apart(one, other):
    return abs(math.log2(one.pulse.tempo_bpm / other.pulse.tempo_bpm))


@settings(max_examples=60)
@given(drawn=st.lists(SONG, min_size=1, max_size=5), joined=st.booleans())
def test_every_song_has_one_counting(drawn, joined):
    songs = [heard_song(*song) for song in drawn]
    counted = counted_evening(songs, [joined] * (len(songs) - 1))
    for heard, (start, end) in zip(songs, counted, strict=True):
        may_be_one = any(
            abs(math.log2(heard[0].pulse.tempo_bpm * a / heard[1].pulse.tempo_bpm / b)) < 0.13
            for a, b in product(*(levels_of_count(edge.pulse) for edge in heard))
        )
        assert octaves_apart(start, end) < 0.14 or not may_be_one
        for before, after in zip(heard, (start, end), strict=True):
            octaves = math.log2(after.pulse.tempo_bpm / before.pulse.tempo_bpm)
            assert octaves == pytest.approx(round(octaves), abs=1e-9)


@settings(max_examples=30)
@given(drawn=st.lists(BPM, min_size=2, max_size=4))
def test_no_other_counting_of_the_evening_is_cheaper(drawn):
    songs = [heard_song(bpm) for bpm in drawn]
    pulses = [song[0].pulse for song in songs]

    def cost(levels):
        bpm = [pulse.tempo_bpm * level for pulse, level in zip(pulses, levels, strict=True)]
        alone = sum(2 * level_cost(p, level) for p, level in zip(pulses, levels, strict=True))
        return alone + sum(apart_cost(a, b) for a, b in pairwise(bpm))

    counted = counted_evening(songs, [True] * (len(songs) - 1))
    levels = [c[0].pulse.tempo_bpm / p.tempo_bpm for c, p in zip(counted, pulses, strict=True)]
    every = product(*(levels_of_count(pulse) for pulse in pulses))
    assert cost(levels) == pytest.approx(min(cost(way) for way in every))


def test_a_song_between_two_is_counted_the_same_in_both_joins():
    """Alone, each pair counts the song in the middle in its own way."""
    songs = [heard_song(62.0), heard_song(80.0), heard_song(140.0)]
    first = counted_together(songs[0][1], songs[1][0])[1]
    second = counted_together(songs[1][1], songs[2][0])[0]
    assert octaves_apart(first, second) == pytest.approx(1.0)
    start, end = counted_evening(songs, [True, True])[1]
    assert octaves_apart(start, end) == pytest.approx(0.0)


def test_an_end_heard_at_half_is_counted_as_its_start():
    start, end = counted_evening([heard_song(192.0, 0.5, 0.5, 0.9)])[0]
    assert start.pulse.tempo_bpm == end.pulse.tempo_bpm == pytest.approx(96.0)
    assert any("one counting" in doubt for doubt in start.doubts)


def test_across_silence_tempi_need_not_fit():
    songs = [heard_song(70.0), heard_song(138.0)]
    apart = counted_evening(songs, [False])
    assert [edges[0].pulse.tempo_bpm for edges in apart] == [70.0, 138.0]
    near = counted_evening(songs, [True])
    assert octaves_apart(near[0][1], near[1][0]) < 0.15


def test_a_song_that_changes_its_tempo_and_one_without_a_pulse_stay():
    changes = (start_facts(bpm=150.0), end_facts(bpm=96.0))
    silent = (None, unheard(end_facts(bpm=70.0)))
    assert counted_evening([changes, silent], [True]) == (changes, silent)


def test_a_tempo_that_was_given_is_kept():
    given_tempo = tuple(
        replace(edge, pulse=replace(edge.pulse, source="given")) for edge in heard_song(70.0)
    )
    assert counted_evening([given_tempo, heard_song(140.0)], [True])[0] == given_tempo


def test_an_evening_of_no_songs_is_none():
    assert counted_evening([]) == ()
