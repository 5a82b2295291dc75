"""The tempo map against the standard's bytes, a second library, and the plan's own curve."""

import io
import math
from dataclasses import replace
from fractions import Fraction
from itertools import accumulate, pairwise

import mido
import pretty_midi
import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.music.key import ALL_KEYS, parse_key
from segue.music.tempo import TempoCurve, TempoSpan
from segue.stage.midi import midi_bytes, score_bytes, tempo_events
from segue.stage.midi_score import TICKS_A_BEAT, markers_of, notes_moved, plan_score

BAR_TOLERANCE_S = 0.001  # what the rig's bars may be off

# Microseconds a quarter note of the Standard MIDI File examples and common tempi.
TEMPI = [(60, 1_000_000), (90, 666_667), (100, 600_000), (120, 500_000), (140, 428_571)]


def _with_tempo(plan, *spans):
    return replace(plan, tempo=TempoCurve(spans=spans))


def _hold(plan, bpm):
    return _with_tempo(plan, TempoSpan(n_beats=plan.end_beat, start_bpm=bpm, end_bpm=bpm))


@pytest.mark.parametrize(("bpm", "us"), TEMPI, ids=[f"{bpm} BPM" for bpm, _ in TEMPI])
def test_a_steady_tempo_is_one_event_with_the_published_value(plans, bpm, us):
    assert tempo_events(plan_score(_hold(plans[1], bpm), ()).ruler)[0] == (0, us)


def test_120_bpm_is_written_as_the_standard_shows(plans):
    # Standard MIDI Files 1.0: FF 51 03, then 07 A1 20 for 120 BPM.
    assert b"\x00\xff\x51\x03\x07\xa1\x20" in midi_bytes(_hold(plans[1], 120.0), ())


def test_header_is_format_1_with_four_tracks(plans):
    # MThd, length 6, format 1, tracks, ticks a quarter note.
    expected = b"MThd\x00\x00\x00\x06\x00\x01\x00\x04" + TICKS_A_BEAT.to_bytes(2, "big")
    assert midi_bytes(plans[0], ()).startswith(expected)


@pytest.mark.parametrize("index", [0, 1], ids=["ramp", "step"])
def test_bars_are_where_the_plan_has_them_by_another_library(plans, index):
    plan = plans[index]
    read = pretty_midi.PrettyMIDI(io.BytesIO(midi_bytes(plan, ())))
    for line in plan.bar_lines:
        seconds = read.tick_to_time(round(line.beat * TICKS_A_BEAT))
        assert seconds == pytest.approx(plan.tempo.seconds_at(line.beat), abs=BAR_TOLERANCE_S)


def test_a_ramp_has_an_event_every_beat(plans):
    ramp = next(span for span in plans[0].tempo.spans if span.law != "hold")
    ticks = [tick for tick, _ in tempo_events(plan_score(plans[0], ()).ruler)]
    assert len(ticks) >= ramp.n_beats - 1


def test_a_tempo_that_changes_within_a_beat_changes_on_its_tick(plans):
    """120 BPM are 500,000 microseconds a quarter note, 90 are 666,667; half a beat is 480 ticks."""
    spans = [
        TempoSpan(n_beats=n_beats, start_bpm=bpm, end_bpm=bpm)
        for n_beats, bpm in ((2.5, 120.0), (5.5, 90.0))
    ]
    plan = replace(
        _with_tempo(plans[0], *spans), exit_beat=0.0, entry_beat=0.0, end_beat=8.0, bar_lines=()
    )
    assert tempo_events(plan_score(plan, ()).ruler) == ((0, 500_000), (5 * 480, 666_667))


@given(
    spans=st.lists(
        st.tuples(st.integers(1, 12), st.floats(40, 220), st.floats(40, 220)),
        min_size=1,
        max_size=5,
    )
)
def test_the_clock_never_strays(plans, spans):
    curve = tuple(
        TempoSpan(n_beats=float(n), start_bpm=a, end_bpm=b, law="geometric") for n, a, b in spans
    )
    n_beats = sum(span.n_beats for span in curve)
    plan = replace(
        _with_tempo(plans[0], *curve), exit_beat=0.0, entry_beat=0.0, end_beat=n_beats, bar_lines=()
    )
    clock_s, last_tick, last_us = 0.0, 0, 500_000
    for tick, us in (*tempo_events(plan_score(plan, ()).ruler), (round(n_beats * TICKS_A_BEAT), 0)):
        clock_s += (tick - last_tick) * last_us / TICKS_A_BEAT / 1e6
        assert clock_s == pytest.approx(
            plan.tempo.seconds_at(tick / TICKS_A_BEAT), abs=BAR_TOLERANCE_S / 2
        )
        last_tick, last_us = tick, us


# Half of the millisecond that the rig's bars may be off; the rest is the tick's and the reader's.
STRAY_US = 500.0


def _strays_us(ruler, events):
    """How far the file's clock is from each place of a ruler, in exact parts."""
    steps = [*events, (math.inf, 0)]
    strays, clock, last = [], Fraction(0), 0
    for beat, second in ruler:
        tick = round(beat * TICKS_A_BEAT)
        for (start, us), (end, _) in pairwise(steps):
            here, there = max(start, last), min(end, tick)
            clock += Fraction(us * max(there - here, 0), TICKS_A_BEAT)
        last = tick
        strays.append(float(clock) - second * 1e6)
    return strays


def _ruler(beat_lengths_s):
    return [(float(n), second) for n, second in enumerate(accumulate(beat_lengths_s, initial=0.0))]


@given(lengths=st.lists(st.floats(0.2, 2.0), min_size=1, max_size=60))
def test_at_every_beat_the_clock_is_within_half_a_millisecond(lengths):
    ruler = _ruler(lengths)
    assert max(map(abs, _strays_us(ruler, tempo_events(ruler)))) <= STRAY_US + 1e-3


@given(bpm=st.floats(40, 220), n_beats=st.integers(1, 900))
def test_a_steady_song_has_one_tempo_and_the_nearest(bpm, n_beats):
    # Rounding to whole microseconds is at most half of one a beat: 450 in 900 beats.
    events = tempo_events([(float(n), 60.0 / bpm * n) for n in range(n_beats + 1)])
    assert events == ((0, round(6e7 / bpm)),)


@given(
    bpm=st.floats(60, 200),
    jitter_us=st.lists(st.floats(-250, 250), min_size=2, max_size=400),
)
def test_a_steady_song_whose_beats_are_a_little_off_has_one_tempo(bpm, jitter_us):
    ruler = [(float(n), 60.0 / bpm * n + us / 1e6) for n, us in enumerate([0.0, *jitter_us])]
    assert len(tempo_events(ruler)) == 1


@given(
    songs=st.lists(
        st.tuples(st.integers(60, 200), st.integers(16, 100)), min_size=1, max_size=6
    ).filter(lambda songs: all(a[0] != b[0] for a, b in pairwise(songs)))
)
def test_songs_after_each_other_have_a_tempo_each(songs):
    # A beat of two neighbouring whole tempi differs by 1.5 ms at least (200 and 199 BPM).
    ruler = _ruler([60.0 / bpm for bpm, n_beats in songs for _ in range(n_beats)])
    events = tempo_events(ruler)
    starts = [0, *accumulate(n_beats * TICKS_A_BEAT for _, n_beats in songs)][:-1]
    assert [tick for tick, _ in events] == starts
    for (_, us), (bpm, n_beats) in zip(events, songs, strict=True):
        assert us == pytest.approx(6e7 / bpm, abs=2 * STRAY_US / n_beats)


@given(lengths=st.lists(st.floats(0.45, 0.55) | st.just(0.5), min_size=2, max_size=60))
def test_a_tempo_is_left_only_where_no_other_would_have_served_longer(lengths):
    ruler = _ruler(lengths)
    events = tempo_events(ruler)
    strays = _strays_us(ruler, events)
    for (start, _), (end, _) in pairwise(events):
        first, last = start // TICKS_A_BEAT, end // TICKS_A_BEAT
        clock_us = strays[first] + ruler[first][1] * 1e6
        least, most = 1.0, 1e9
        for n in range(first + 1, last + 2):
            due_us = ruler[n][1] * 1e6 - clock_us
            least = max(least, (due_us - STRAY_US) / (n - first))
            most = min(most, (due_us + STRAY_US) / (n - first))
        assert math.ceil(least - 1e-3) > math.floor(most + 1e-3) or least > most


@given(lengths=st.lists(st.floats(0.45, 0.55), min_size=2, max_size=60))
def test_another_reader_finds_the_beats_where_they_are(plans, lengths):
    ruler = _ruler(lengths)
    score = replace(plan_score(plans[0], ()), ruler=tuple(ruler), metres=(), keys=())
    file = io.BytesIO(score_bytes(replace(score, click=(), voicings=(), cue=())))
    read = pretty_midi.PrettyMIDI(file)
    for beat, second in ruler:
        there_s = read.tick_to_time(round(beat * TICKS_A_BEAT))
        assert there_s == pytest.approx(second, abs=STRAY_US / 1e6 + 1e-7)


def test_a_beat_that_no_tempo_can_hold_is_as_near_as_a_file_can_say():
    # The slowest tempo of the standard is FF FF FF: 16.777215 s a beat.
    events = tempo_events([(0.0, 0.0), (1.0, 20.0), (2.0, 20.5), (3.0, 24.0)])
    assert events[0] == (0, 0xFFFFFF)
    assert events[1][1] == round((20.5 - 16.777215) * 1e6)
    assert _strays_us([(2.0, 20.5), (3.0, 24.0)], events) == pytest.approx([0.0, 0.0], abs=STRAY_US)


@pytest.mark.parametrize("key", ALL_KEYS, ids=str)
def test_every_key_has_a_signature_that_reads_back(plans, key):
    plan = replace(plans[0], key_from=key, key_to=key)
    read = pretty_midi.PrettyMIDI(io.BytesIO(midi_bytes(plan, ())))
    number = read.key_signature_changes[0].key_number
    assert number % 12 == key.tonic
    assert (number >= 12) == (key.mode == "minor")


def test_markers_and_notes_read_back(plans):
    plan = plans[1]
    marks = markers_of(plan, from_title="Old", to_title="New")
    read = mido.MidiFile(file=io.BytesIO(midi_bytes(plan, marks)))
    texts = [message.text for message in read.tracks[0] if message.type == "marker"]
    assert texts[0] == "Old"
    assert any("New, bar one" in text for text in texts)
    notes = pretty_midi.PrettyMIDI(io.BytesIO(midi_bytes(plan, marks))).instruments
    click = next(i for i in notes if i.is_drum)
    assert len(click.notes) == len(plan.click)
    assert click.notes[0].start == pytest.approx(
        plan.tempo.seconds_at(plan.click[0].beat), abs=BAR_TOLERANCE_S
    )


def test_every_place_with_a_name_has_its_marker(plans):
    for plan in plans:
        marks = markers_of(plan, from_title="Old", to_title="New")
        there = [(name, mark.beat) for mark in marks for name in mark.name.split(", ")]
        assert dict(there)["Old"] == 0.0
        assert (("segue", plan.exit_beat) in there) == (plan.entry_beat > plan.exit_beat)
        first = min(hit.beat for hit in plan.click)
        assert (("click starts", pytest.approx(first)) in there) == (first > 0)
        entry = plan.entry_beat if plan.enters_on_a_bar else None
        assert dict(there).get("bar one") == entry
        assert dict(there).get("singer") == pytest.approx(plan.singer_beat)
        beats = [mark.beat for mark in marks]
        assert beats == sorted(beats)
        assert [m.time_s for m in marks] == [plan.tempo.seconds_at(beat) for beat in beats]
    assert any(plan.singer_beat is not None for plan in plans)


@pytest.mark.parametrize(
    ("heard", "numbers"), [((True, False), [16]), ((False, True), [17]), ((False, False), [])]
)
def test_a_key_that_was_not_heard_is_no_signature(plans, heard, numbers):
    plan = replace(plans[0], key_from=parse_key("E minor"), key_to=parse_key("F minor"))
    content = midi_bytes(plan, (), keys_heard=heard)
    changes = pretty_midi.PrettyMIDI(io.BytesIO(content)).key_signature_changes
    assert [change.key_number for change in changes] == numbers
    places = [plan.tempo.seconds_at(0.0 if heard[0] else plan.entry_beat) for _ in numbers]
    assert [change.time for change in changes] == pytest.approx(places, abs=BAR_TOLERANCE_S)


def test_a_song_in_free_time_has_no_bar_one(plans):
    for is_free, name in ((False, "New, bar one"), (True, "New starts")):
        marks = markers_of(plans[0], from_title="Old", to_title="New", is_free=is_free)
        assert sum(name in mark.name for mark in marks) == 1


def test_keys_change_at_the_entry(plans):
    plan = replace(plans[0], key_from=parse_key("E minor"), key_to=parse_key("F minor"))
    changes = pretty_midi.PrettyMIDI(io.BytesIO(midi_bytes(plan, ()))).key_signature_changes
    assert [c.key_number for c in changes] == [12 + 4, 12 + 5]
    assert changes[1].time == pytest.approx(
        plan.tempo.seconds_at(plan.entry_beat), abs=BAR_TOLERANCE_S
    )


@pytest.mark.parametrize("by_beats", [0.0, 7.5, 64.0])
def test_a_score_that_is_moved_keeps_its_ruler_and_all_its_distances(plans, by_beats):
    score = plan_score(plans[0], ())
    moved = notes_moved(score, by_beats)
    assert replace(moved, click=score.click, voicings=score.voicings, cue=score.cue) == score
    assert [x.beat for x in moved.click] == [x.beat + by_beats for x in score.click]
    for before, after in ((score.voicings, moved.voicings), (score.cue, moved.cue)):
        assert len(before) == len(after) > 0
        for old, new in zip(before, after, strict=True):
            assert new == replace(
                old, start_beat=old.start_beat + by_beats, end_beat=old.end_beat + by_beats
            )
