"""The tempo map against the standard's bytes, a second library, and the plan's own curve."""

import io
from dataclasses import replace

import mido
import pretty_midi
import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.music.key import ALL_KEYS, parse_key
from segue.music.tempo import TempoCurve, TempoSpan
from segue.stage.midi import midi_bytes, tempo_events
from segue.stage.midi_score import TICKS_A_BEAT, markers_of, plan_score

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
