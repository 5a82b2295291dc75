"""The click and the cue, on rulers that are made by hand."""

from types import SimpleNamespace

import pytest

from segue.analysis.facts import FirstNote
from segue.music.key import parse_key
from segue.music.tempo import TempoCurve, TempoSpan
from segue.plan.guides import click_hits, cue_notes
from segue.plan.plan import BarLine

HOLDS = TempoCurve(spans=(TempoSpan(n_beats=40, start_bpm=100.0, end_bpm=100.0),))
MOVES = TempoCurve(spans=(TempoSpan(n_beats=40, start_bpm=100.0, end_bpm=120.0, law="geometric"),))


def ruler(*, exit_beat=16.0, entry_beat=32.0, end_beat=40.0, metre=4, tempo=HOLDS, is_heard=True):
    return SimpleNamespace(
        exit_beat=exit_beat,
        entry_beat=entry_beat,
        end_beat=end_beat,
        metre=metre,
        tempo=tempo,
        outgoing=SimpleNamespace(grid=SimpleNamespace(is_heard=True)),
        incoming=SimpleNamespace(grid=SimpleNamespace(is_heard=is_heard)),
    )


def clicks(time):
    lines = tuple(
        BarLine(beat=float(beat), number=n, section="incoming", metre=time.metre)
        for n, beat in enumerate(range(0, int(time.end_beat), time.metre), start=1)
    )
    return click_hits(time, lines, ())


@pytest.mark.parametrize(
    ("time", "first"),
    [
        pytest.param(ruler(), 24.0, id="two bars before the entry"),
        pytest.param(ruler(metre=3, entry_beat=30.0, exit_beat=15.0), 24.0, id="two bars of three"),
        pytest.param(ruler(tempo=MOVES), 16.0, id="from the exit where the tempo moves"),
        pytest.param(
            ruler(tempo=MOVES, exit_beat=28.0), 24.0, id="two bars into the old song all the same"
        ),
        pytest.param(ruler(exit_beat=4.0, entry_beat=4.0), 0.0, id="never before the plan begins"),
    ],
)
def test_the_click_begins(time, first):
    beats = [hit.beat for hit in clicks(time)]
    assert beats == [first + n for n in range(int(time.end_beat - first))]


def test_the_click_accents_bars_and_is_still_where_nobody_keeps_time():
    time = ruler(is_heard=False)
    hits = clicks(time)
    assert [hit.beat for hit in hits] == [24.0 + n for n in range(8)]
    assert [hit.kind for hit in hits] == ["bar", "beat", "beat", "beat"] * 2


def test_nobody_counts_between_two_songs_without_a_pulse():
    time = ruler(is_heard=False)
    time.outgoing.grid.is_heard = False
    assert clicks(time) == ()


@pytest.mark.parametrize("name", ["C major", "F minor", "B major"])
def test_the_cue_gives_root_and_fifth_and_then_holds_the_singers_note(name):
    key, time = parse_key(name), ruler()
    root, fifth, *held = cue_notes(time, key, FirstNote(midi=64.5, time_s=1.0))
    assert (root.midi % 12, fifth.midi % 12) == (key.tonic, (key.tonic + 7) % 12)
    assert 0 < fifth.midi - root.midi < 12
    # whole bars before the entry: one for root and fifth, and two or more for the note itself
    assert root.start_beat % time.metre == 0
    assert (root.end_beat, fifth.start_beat) == (root.start_beat + 2, root.start_beat + 2)
    assert fifth.end_beat == root.start_beat + 4
    assert {note.midi for note in held} == {64.5}
    assert [note.start_beat for note in held] == [
        root.start_beat + 4 * n for n in range(1, len(held) + 1)
    ]
    assert held[0].start_beat <= time.entry_beat - 2 * time.metre
    for note in held:
        assert note.start_beat + 3 < note.end_beat < note.start_beat + 4  # a breath before the next
    assert time.entry_beat - 1 < held[-1].end_beat < time.entry_beat


def test_a_cue_without_a_first_note_repeats_the_root_and_begins_with_the_plan_at_the_earliest():
    notes = cue_notes(ruler(exit_beat=4.0, entry_beat=8.0), parse_key("G major"), None)
    assert notes[0].start_beat == 0.0
    assert {note.midi for note in notes} == {notes[0].midi, notes[0].midi + 7}
    assert [note.midi for note in notes].count(notes[1].midi) == 1
