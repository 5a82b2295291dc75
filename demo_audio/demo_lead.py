"""The singing line: one breath a phrase, by pitch bend and expression.

Two MIDI channels take turns, so that a note may ring into the next while the
next is already bent into place.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import mido
import numpy as np
import numpy.typing as npt
from demo_score import Note, phrases
from demo_sound import Audio, Clock, Events, patch_attack_s, render_midi

BEND_SEMITONES: Final = 12
"""Reach of the pitch bend, set by registered parameter 0."""


def render_lead(
    notes: list[Note], program: int, clock: Clock, *, rng: np.random.Generator, length_s: float
) -> tuple[Audio, list[tuple[float, float]]]:
    """A singing line, and the start and end of each phrase in seconds.

    A phrase scoops into its first note, glides through close notes on one
    breath, swells on long notes with a vibrato that comes late, and stops early
    enough to breathe.
    """
    advance_s = patch_attack_s(program, notes[0].midi)
    events: Events = []
    for channel in (0, 1):
        events += _bend_setup(channel, program)
    spans = []
    channel = 0
    for phrase in phrases(notes):
        start_s = clock(phrase[0].beat) + float(rng.normal(0.004, 0.004))
        end_s = clock(phrase[-1].beat + phrase[-1].beats) - 0.09
        spans.append((start_s, end_s))
        for breath in _strokes(phrase):
            channel = 1 - channel
            first = breath[0] is phrase[0]
            last = breath[-1] is phrase[-1]
            onset_s = start_s if first else clock(breath[0].beat) + float(rng.normal(0, 0.005))
            release_s = end_s if last else clock(breath[-1].beat + breath[-1].beats) + 0.015
            stroke = _Stroke(breath, channel, onset_s, release_s, scoop=first)
            events += _stroke_events(stroke, clock, advance_s, rng)
    return render_midi(events, length_s=length_s), spans


@dataclass(frozen=True, slots=True)
class _Stroke:
    """Notes played on one attack, the later ones reached by bending."""

    notes: list[Note]
    channel: int
    onset_s: float
    release_s: float
    scoop: bool


def _bend_setup(channel: int, program: int) -> Events:
    control = [(101, 0), (100, 0), (6, BEND_SEMITONES), (38, 0), (7, 110)]
    messages = [mido.Message("program_change", channel=channel, program=program)]
    messages += [
        mido.Message("control_change", channel=channel, control=number, value=value)
        for number, value in control
    ]
    return [(0.0, message) for message in messages]


def _strokes(phrase: list[Note]) -> list[list[Note]]:
    """Split a phrase at leaps and on long notes; small quick steps are slurred."""
    strokes = [[phrase[0]]]
    for note in phrase[1:]:
        held = strokes[-1]
        step = abs(note.midi - held[-1].midi)
        reach = abs(note.midi - held[0].midi)
        if step in (1, 2) and reach <= 3 and len(held) < 3 and note.beats <= 2:
            held.append(note)
        else:
            strokes.append([note])
    return strokes


def _stroke_events(
    stroke: _Stroke, clock: Clock, advance_s: float, rng: np.random.Generator
) -> Events:
    base = stroke.notes[0].midi
    channel = stroke.channel
    on_s = stroke.onset_s - advance_s
    velocity = int(np.clip(stroke.notes[0].velocity + rng.normal(0, 4), 60, 120))
    events: Events = [
        (on_s, mido.Message("note_on", channel=channel, note=base, velocity=velocity)),
        (stroke.release_s - advance_s, mido.Message("note_off", channel=channel, note=base)),
    ]
    times_s = np.arange(on_s - 0.004, stroke.release_s - advance_s + 0.05, 0.008)
    heard_s = times_s + advance_s
    cents = _pitch_curve(stroke, heard_s, clock, rng) - 100 * base
    bends = np.clip(np.round(cents / (100 * BEND_SEMITONES) * 8192), -8192, 8191)
    swell = _swell_curve(stroke, heard_s)
    for time_s, bend, level in zip(times_s, bends, swell, strict=True):
        events.append((time_s, mido.Message("pitchwheel", channel=channel, pitch=int(bend))))
        control = mido.Message("control_change", channel=channel, control=11, value=int(level))
        events.append((time_s, control))
    return events


def _pitch_curve(
    stroke: _Stroke, heard_s: npt.NDArray[np.float64], clock: Clock, rng: np.random.Generator
) -> npt.NDArray[np.float64]:
    """Pitch in cents above MIDI note 0: scoop, glides, late vibrato."""
    cents = np.full(len(heard_s), 100.0 * stroke.notes[0].midi)
    for note in stroke.notes[1:]:
        glide = 0.5 + 0.5 * np.tanh((heard_s - clock(note.beat)) / 0.022)
        cents += glide * (100 * note.midi - cents)
    depth_cents = rng.uniform(14, 24)
    rate_hz = rng.uniform(5.0, 5.7)
    for note in stroke.notes:
        start_s = max(stroke.onset_s, clock(note.beat))
        end_s = min(stroke.release_s, clock(note.beat + note.beats))
        if end_s - start_s > 0.45:
            ramp = np.clip((heard_s - start_s - 0.22) / 0.3, 0, 1) * (heard_s < end_s)
            cents += ramp * depth_cents * np.sin(2 * np.pi * rate_hz * (heard_s - start_s))
    cents += rng.normal(0, 4)
    if stroke.scoop:
        depth = rng.uniform(60, 130)
        cents -= depth * np.exp(-np.maximum(0, heard_s - stroke.onset_s) / 0.03)
    return cents


def _swell_curve(stroke: _Stroke, heard_s: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Expression (0-127): begins firmly, swells, and tapers into the release."""
    place = np.clip((heard_s - stroke.onset_s) / (stroke.release_s - stroke.onset_s), 0, 1)
    level = 100 + 20 * np.sin(np.pi * place) ** 2
    taper = np.clip((stroke.release_s - heard_s) / 0.06, 0.55, 1)
    return np.clip(level * taper, 0, 127)
