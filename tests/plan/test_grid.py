"""The beats of a song as a ruler, and the loudness of a bridge laid on it."""

from dataclasses import replace
from itertools import pairwise
from types import SimpleNamespace

import pytest

from segue.analysis.structure_facts import BarFact
from segue.plan.build import asked_notes
from segue.plan.grid import BeatGrid, beat_grid, beats_between
from segue.plan.pads import LEAST_CHORD_S, MOST_CHORD_S, chord_beats
from segue.plan.places_asked import places_asked
from segue.plan.song_levels import are_without_drums, bridge_curve
from segue.recipes.recipe import Length, Level
from tests.plan.song_facts import start_facts

GRID = BeatGrid(beats_s=(10.0, 10.5, 11.0, 11.6), downbeat=1, metre=3, is_heard=True)


def with_beats(facts, beats_s):
    return replace(facts, pulse=replace(facts.pulse, beats_s=tuple(beats_s), downbeats_s=()))


@pytest.mark.parametrize(
    ("index", "seconds", "bpm"),
    [
        (0.0, 10.0, 120.0),
        (0.5, 10.25, 120.0),
        (2.5, 11.3, 100.0),
        (-2.0, 9.0, 120.0),
        (4.0, 12.2, 100.0),
    ],
    ids=str,
)
def test_a_grid_tells_time_between_its_beats_and_beyond_them(index, seconds, bpm):
    assert GRID.seconds_at(index) == pytest.approx(seconds)
    assert GRID.index_at(seconds) == pytest.approx(index)
    assert GRID.bpm_at(index) == pytest.approx(bpm)


@pytest.mark.parametrize(
    ("index", "before", "after"),
    [(1.0, 1, 1), (0.86, 1, 1), (0.84, -2, 1), (1.14, 1, 1), (1.16, 1, 4), (3.9, 4, 4)],
    ids=str,
)
def test_a_hair_off_a_bar_line_is_on_it(index, before, after):
    assert (GRID.bar_line_before(index), GRID.bar_line_after(index)) == (before, after)


@pytest.mark.parametrize(
    ("off_s", "is_evened"),
    [pytest.param(0.005, True, id="nobody hears it"), pytest.param(0.009, False, id="it is heard")],
)
def test_beats_are_evened_where_they_are_off_by_no_more_than_is_noticed(off_s, is_evened):
    """6 ms (A. Friberg and J. Sundberg, JASA 98(5), 1995)."""
    facts = start_facts()
    beats_s = [0.5 * n + off_s * (-1) ** n for n in range(32)]
    steps = {round(b - a, 6) for a, b in pairwise(beats_s)}
    grid = beat_grid(with_beats(facts, beats_s), anchor_s=0.0)
    even = {round(b - a, 3) for a, b in pairwise(grid.beats_s)}
    assert (len(even) == 1) is is_evened
    assert is_evened or grid.beats_s == tuple(beats_s)
    assert len(steps) == 2


def test_one_long_step_among_hundreds_is_no_reason_to_even_them():
    beats_s = [*(0.3 * n for n in range(900)), 0.3 * 899 + 0.46]
    grid = beat_grid(with_beats(start_facts(), beats_s), anchor_s=0.0)
    assert grid.beats_s == tuple(beats_s)


def test_without_enough_beats_or_trust_a_grid_is_a_ruler_through_its_anchor():
    facts = start_facts(bpm=120.0)
    for pulse in (
        replace(facts.pulse, confidence=0.1),
        replace(facts.pulse, beats_s=facts.pulse.beats_s[:4], downbeats_s=()),
    ):
        grid = beat_grid(replace(facts, pulse=pulse), anchor_s=7.0)
        assert not grid.is_heard
        assert (grid.beats_s, grid.downbeat) == ((7.0, 7.5), 0)


def test_beats_between_two_places_are_no_closer_than_rounding():
    assert beats_between(1.0, 4.0) == [1.0, 2.0, 3.0, 4.0]
    assert beats_between(0.9995, 2.0005) == [0.9995, 2.0005]


def ruler(exit_beat=16.0, entry_beat=32.0, bpm=120.0, metre=4, moved=()):
    def seconds_at(beat):
        return 60.0 * beat / bpm

    sides = [SimpleNamespace(moved=text, left_index=None) for text in (*moved, "", "")[:2]]
    return SimpleNamespace(
        exit_beat=exit_beat,
        entry_beat=entry_beat,
        metre=metre,
        tempo=SimpleNamespace(seconds_at=seconds_at),
        outgoing=sides[0],
        incoming=sides[1],
        n_interlude_bars=round((entry_beat - exit_beat) / metre),
    )


@pytest.mark.parametrize(
    ("level", "under_talk", "points"),
    [
        pytest.param(Level(exit_lu=-3, entry_lu=0), False, [(16, -3), (32, 0)], id="all the way"),
        pytest.param(Level(rise_bars=2), False, [(24, -2), (32, -1)], id="in its last bars"),
        pytest.param(Level(rise_bars=60), False, [(16, -2), (32, -1)], id="no longer than it is"),
        pytest.param(Level(rise_bars=0), False, [(16, -2)], id="level"),
        pytest.param(Level(), True, [(24, -14), (32, -4)], id="under talk"),
        pytest.param(Level(exit_lu=-20, entry_lu=-9), True, [(24, -20), (32, -9)], id="lower yet"),
    ],
)
def test_the_loudness_of_a_bridge_is_the_recipes_or_makes_way_for_talk(level, under_talk, points):
    curve = bridge_curve(level, ruler(), under_talk=under_talk)
    assert [(point.beat, point.value) for point in curve] == points


@pytest.mark.parametrize(
    ("drums", "is_none"),
    [((), False), ((0.2, 0.29), True), ((0.2, 0.31), False), ((0.0,), True)],
    ids=str,
)
def test_nobody_drums_in_bars_whose_mean_is_low(drums, is_none):
    bars = [
        BarFact(
            start_s=2.0 * n,
            end_s=2.0 * n + 2.0,
            level_lufs=-14.0,
            onsets_a_beat=1.0,
            voice=0.0,
            bass=0.0,
            drums=share,
            source="mix",
        )
        for n, share in enumerate(drums)
    ]
    assert are_without_drums(bars) is is_none


@pytest.mark.parametrize("bpm", [50, 66, 90, 120, 133, 180, 240])
@pytest.mark.parametrize("bars", [0.25, 0.5, 1, 2, 4])
def test_a_chord_lasts_as_long_as_chords_do_by_halving_and_doubling_alone(bpm, bars):
    beats = chord_beats(bars, ruler(bpm=bpm))
    seconds = beats * 60 / bpm
    assert seconds >= LEAST_CHORD_S - 0.01
    assert seconds <= MOST_CHORD_S or seconds / 2 < LEAST_CHORD_S
    while beats > bars * 4:
        beats /= 2
    assert bars * 4 in (beats, 2 * beats, 4 * beats, 8 * beats, 16 * beats)


@pytest.mark.parametrize(
    ("least", "most", "n_bars", "said"),
    [
        pytest.param(2, 8, 4, (), id="as asked"),
        pytest.param(2, 3, 9, ("9 bars asked: 'fill' can do 2 to 3, and takes 4 here.",), id="few"),
        pytest.param(4, 4, 9, ("9 bars asked: 'fill' takes 4 here.",), id="one length"),
    ],
)
def test_what_of_the_bars_asked_for_could_not_be_done_is_said(least, most, n_bars, said):
    recipe = SimpleNamespace(name="fill", length=Length(least=least, default=least, most=most))
    assert asked_notes(recipe, ruler(), places_asked(n_bars=n_bars)) == said
    moved = asked_notes(recipe, ruler(moved=("Leave at 1:02: moved.",)), places_asked(n_bars=4))
    assert moved == ("Leave at 1:02: moved.",)
