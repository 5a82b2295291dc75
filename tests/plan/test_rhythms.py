"""Comping and bass in the rhythms that players know, note by note.

What they are called and how they go is common practice, no source.
"""

from dataclasses import replace
from itertools import groupby, pairwise

import pytest

from segue.plan import plan_segue
from segue.plan.layer import PlayedLayer
from tests.plan.song_facts import end_facts, start_facts

BASS_LOWEST, BASS_HIGHEST = 28, 28 + 12 + 11
"""E1, the lowest string of a bass guitar, and an octave above the highest root."""
RHYTHMS = ("by tempo", "held", "quarters", "eighths", "off-beats", "push", "arpeggio", "strum")


@pytest.fixture(scope="module", name="played")
def _played(shelf):
    """What 'comp' or 'bass' plays in a rhythm, and where its bars begin."""

    def played(source, rhythm, *, bpm=100.0, metre=4):
        recipe = shelf["walk the bass"]
        layers = tuple(
            replace(layer, rhythm=rhythm) if layer.source == source else layer
            for layer in recipe.layers
        )
        songs = end_facts(bpm=bpm, metre=metre), start_facts(bpm=bpm, metre=metre)
        plan = plan_segue(replace(recipe, layers=layers), *songs)
        (layer,) = (
            x
            for x in plan.layers
            if isinstance(x, PlayedLayer) and (x.sound == "bass") == (source == "bass")
        )
        return layer, plan.exit_beat

    return played


def bar(layer, first_beat, metre=4, n=0):
    """Bar n: when each stroke starts, its loudest note's level, how many notes it has."""
    start = first_beat + n * metre
    inside = [x for x in layer.notes if start <= x.start_beat < start + metre]
    return [
        (round(at - start, 3), round(max(x.gain_db for x in notes), 3), len(notes))
        for at, group in groupby(inside, key=lambda x: x.start_beat)
        for notes in [list(group)]
    ]


@pytest.mark.parametrize(
    ("rhythm", "strokes"),
    [
        pytest.param("held", [(0, 0, 3)], id="held"),
        pytest.param("quarters", [(0, 0, 3), (1, -2, 3), (2, 0, 3), (3, -2, 3)], id="quarters"),
        pytest.param(
            "eighths", [(n / 2, -4 if n % 2 else 0, 3) for n in range(8)], id="eighths"
        ),
        pytest.param(
            "off-beats", [(0.5, 0, 3), (1.5, -1, 3), (2.5, 0, 3), (3.5, -1, 3)], id="off-beats"
        ),
        pytest.param("push", [(0, 0, 3), (1.5, -2, 3), (3, 0, 3)], id="three, three and two"),
        pytest.param(
            "arpeggio", [(n / 2, -4 if n % 2 else 0, 1) for n in range(8)], id="note by note"
        ),
    ],
)  # fmt: skip
def test_chords_are_struck_where_the_rhythm_has_them(played, rhythm, strokes):
    layer, first = played("comp", rhythm)
    assert bar(layer, first, n=1) == strokes
    # the bridge lands on its one, whatever the figure leaves to others later
    landing = [] if strokes[0][0] == 0 else [(0, 0, 3)]
    assert bar(layer, first) == landing + strokes


def test_an_arpeggio_goes_up_and_down_through_the_chord(played):
    layer, first = played("comp", "arpeggio")
    low, middle, high = layer.voicings[0].notes_midi[1:]
    notes = [x.midi for x in layer.notes if x.start_beat < first + 4]
    assert notes == [low, middle, high, middle] * 2


@pytest.mark.parametrize(("bpm", "step"), [(59.0, 0.25), (61.0, 0.5), (119.0, 0.5), (121.0, 1.0)])
def test_a_chord_is_never_broken_up_in_a_hurry(played, bpm, step):
    """At most four notes a second, whatever the tempo."""
    layer, first = played("comp", "arpeggio", bpm=bpm)
    assert [at for at, _, _ in bar(layer, first)] == [n * step for n in range(round(4 / step))]


def test_a_strum_runs_down_the_strings_on_the_beat_and_up_between(played):
    layer, first = played("comp", "strum")
    notes = [x for x in layer.notes if x.start_beat < first + 4]
    strokes = [notes[n : n + 3] for n in range(0, len(notes), 3)]
    assert len(strokes) == 8
    for n, stroke in enumerate(strokes):
        midi = [x.midi for x in stroke]
        assert midi == sorted(midi, reverse=bool(n % 2))
        starts = [x.start_beat - first for x in stroke]
        assert starts[0] == n / 2
        # from string to string at 100 BPM: 13 ms
        assert all(b - a == pytest.approx(0.022) for a, b in pairwise(starts))
        assert len({x.end_beat for x in stroke}) == 1
    assert [max(x.gain_db for x in stroke) for stroke in strokes] == [0, -4, -1, -4] * 2


@pytest.mark.parametrize(
    ("bpm", "rhythm"),
    [(79.0, "arpeggio"), (81.0, "push"), (114.0, "push"), (116.0, "off-beats"),
     (139.0, "off-beats"), (141.0, "quarters")],
)  # fmt: skip
def test_the_figure_follows_the_tempo(played, bpm, rhythm):
    made, first = played("comp", "by tempo", bpm=bpm)
    asked, _ = played("comp", rhythm, bpm=bpm)
    assert bar(made, first) == bar(asked, first)


def test_a_waltz_is_comped_on_two_and_three_over_one_low_note(played):
    chords, first = played("comp", "by tempo", metre=3)
    assert bar(chords, first, 3) == [(0, 0, 3), (1, -1, 3), (2, -3, 3)]
    assert bar(chords, first, 3, n=1) == [(1, -1, 3), (2, -3, 3)]
    bass, first = played("bass", "by tempo", metre=3)
    assert bar(bass, first, 3) == [(0, 0, 1)]


@pytest.mark.parametrize(
    ("rhythm", "bpm", "strokes"),
    [
        pytest.param("held", 100.0, [(0, 0), (2, -3)], id="held"),
        pytest.param("quarters", 100.0, [(0, 0), (1, -1), (2, 0), (3, -1)], id="quarters"),
        pytest.param(
            "eighths", 100.0, [(n / 2, -2 if n % 2 else 0) for n in range(8)], id="eighths"
        ),
        pytest.param("off-beats", 100.0, [(n + 0.5, 0) for n in range(4)], id="off-beats"),
        pytest.param("walking", 100.0, [(0, 0), (1, -1.5), (2, 0), (3, -1.5)], id="walking"),
        pytest.param("by tempo", 100.0, [(0, 0), (1.5, -1.5), (3.5, -3)], id="a middle tempo"),
        pytest.param("by tempo", 79.0, [(0, 0), (2, -1.5)], id="a slow one"),
        pytest.param("by tempo", 141.0, [(0, 0), (2, -1.5)], id="a fast one"),
        pytest.param(
            "by tempo", 120.0, [(n / 2, -2 if n % 2 else 0) for n in range(8)], id="a driving one"
        ),
    ],
)
def test_the_bass_plays_where_the_rhythm_has_it(played, rhythm, bpm, strokes):
    layer, first = played("bass", rhythm, bpm=bpm)
    assert [(at, db) for at, db, _ in bar(layer, first)] == strokes


@pytest.mark.parametrize("source", ["comp", "bass"])
def test_nobody_plays_before_the_bridge_or_after_it_and_every_bar_is_whole(played, source):
    for rhythm in RHYTHMS:
        layer, first = played(source, rhythm)
        assert all(first <= x.start_beat < layer.end_beat for x in layer.notes), rhythm
        n_last = round((layer.end_beat - first) / 4) - 1
        last, before = ([at for at, _, _ in bar(layer, first, n=n)] for n in (n_last, n_last - 1))
        assert last == before, rhythm


def chord_at(layer, beat):
    return next(x for x in layer.voicings if x.start_beat - 1e-6 <= beat < x.end_beat - 1e-6)


@pytest.mark.parametrize("rhythm", [*RHYTHMS, "walking"])
@pytest.mark.parametrize("metre", [3, 4])
@pytest.mark.parametrize("bpm", [72.0, 104.0, 150.0])
def test_the_bass_keeps_to_its_strings_and_to_the_chords(played, rhythm, metre, bpm):
    layer, first = played("bass", rhythm, bpm=bpm, metre=metre)
    for note in layer.notes:
        chord = chord_at(layer, note.start_beat)
        assert note.end_beat <= chord.end_beat + 1e-6
        assert BASS_LOWEST - 2 <= note.midi <= BASS_HIGHEST
        place = (note.start_beat - first) % metre
        up = (note.midi - chord.notes_midi[0]) % 12
        if place == 0 or rhythm in ("quarters", "held"):
            assert up == 0, "a bar begins on the root"
        elif rhythm == "off-beats":
            assert up == 0
            assert note.midi >= BASS_LOWEST + 12
        elif not _leads(layer, note):
            assert up in (0, 3, 4, 7), "root, third or fifth"


def _leads(layer, note):
    """Whether a note is the last before another chord, a step from its root."""
    chord = chord_at(layer, note.start_beat)
    after = [x for x in layer.voicings if x.start_beat >= chord.end_beat - 1e-6]
    if not after or note.end_beat < chord.end_beat - 0.7:
        return False
    return (note.midi - after[0].notes_midi[0]) % 12 in (11, 2)


def test_a_walking_bass_goes_through_the_chord_and_leads_into_the_next(played):
    layer, first = played("bass", "walking")
    for n, (here, after) in enumerate(pairwise(layer.voicings)):
        root = here.notes_midi[0]
        walked = [
            x.midi for x in layer.notes if first + 4 * n <= x.start_beat < first + 4 * (n + 1)
        ]
        assert (walked[0] - root) % 12 == 0
        assert (walked[1] - root) % 12 in (3, 4)
        assert (walked[2] - root) % 12 == 7
        assert (walked[3] - after.notes_midi[0]) % 12 in (11, 2)
    last = [x.midi for x in layer.notes][-1]
    assert (last - layer.voicings[-1].notes_midi[0]) % 12 == 7  # nothing comes after: the fifth


@pytest.mark.parametrize("rhythm", RHYTHMS)
def test_chords_are_let_go_before_the_next(played, rhythm):
    layer, _ = played("comp", rhythm)
    for note in layer.notes:
        chord = chord_at(layer, note.start_beat)
        assert note.midi in chord.notes_midi[1:]
        assert note.start_beat < note.end_beat <= chord.end_beat + 1e-6


@pytest.mark.parametrize(("old_bpm", "is_eighths"), [(70.0, False), (125.0, True)])
def test_the_bass_suits_the_tempo_that_the_bridge_has(shelf, old_bpm, is_eighths):
    """Not that of the new song, which comes in one step with bar one."""
    recipe = shelf["walk the bass"]
    layers = tuple(
        replace(x, rhythm="by tempo") if x.source == "bass" else x for x in recipe.layers
    )
    held = replace(recipe, layers=layers, tempo=replace(recipe.tempo, move="hold"))
    songs = end_facts(bpm=old_bpm), start_facts(bpm=195.0 - old_bpm)
    plan = plan_segue(held, *songs)
    (bass,) = (x for x in plan.layers if isinstance(x, PlayedLayer) and x.sound == "bass")
    assert (len(bar(bass, plan.exit_beat)) == 8) is is_eighths
