"""The tempo map as a Standard MIDI File, with bar lines, keys, markers and notes.

A MIDI file knows steps of tempo only: while the tempo moves there is one event
a beat, at the mean tempo of that beat. Microseconds a beat are whole numbers, so
each is chosen from where the file's own clock has got to, and rounding never
adds up.

References
----------
.. [SMF] MIDI Manufacturers Association, "Standard MIDI Files 1.0", RP-001.
.. [GM1] "General MIDI System Level 1", RP-003: key 76 and 77 of the drum
   channel are high and low wood block.
"""

from __future__ import annotations

import io
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from segue.stage.midi_score import TICKS_A_BEAT, plan_score, tick_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from mido import Message, MetaMessage, MidiTrack

    from segue.music.key import Key
    from segue.plan import Plan
    from segue.stage.midi_score import Marker, MidiScore

MICROSECONDS: Final = 1_000_000  # of a second, in which MIDI files count a beat
_LONGEST_US: Final = 0xFFFFFF  # a tempo event has 24 bits (Standard MIDI Files 1.0)
_CLOCK_MAY_STRAY_US: Final = 250.0
"""A new tempo is written where the old one would be further off after the beat: a quarter of the
millisecond that the rig's bars may be off."""
_CLICK_KEYS: Final = {"bar": 76, "beat": 77}
# From 0; 9 is that of percussion (General MIDI)
_CLICK_CHANNEL, _PAD_CHANNEL, _CUE_CHANNEL = 9, 0, 1
_CLICK_TICKS: Final = TICKS_A_BEAT // 8  # length of a click's note: a thirty-second
_PAD_VELOCITY, _CUE_VELOCITY = 64, 72  # of 127, medium loud; by judgement
_CLICK_VELOCITY: Final = {"bar": 100, "beat": 76}
_SHARPS_OF_MAJOR: Final = (0, -5, 2, -3, 4, -1, 6, 1, -4, 3, -2, 5)
"""Sharps (flats negative) of the major key on each pitch class, six sharps for F sharp."""

Event = tuple[int, "Message | MetaMessage"]


def midi_bytes(
    plan: Plan, markers: Sequence[Marker], *, keys_heard: tuple[bool, bool] = (True, True)
) -> bytes:
    """A format 1 file: tempo map and markers, then click, chords and cue as notes.

    Parameters
    ----------
    plan : Plan
        Tick 0 is beat 0.
    keys_heard : (bool, bool)
        As for `plan_score`.
    """
    return score_bytes(plan_score(plan, markers, keys_heard=keys_heard))


def score_bytes(score: MidiScore) -> bytes:
    """A format 1 file of a plan's score, or of a whole evening's; see `midi_bytes`."""
    from mido import MidiFile

    midi = MidiFile(type=1, ticks_per_beat=TICKS_A_BEAT)
    tracks = {
        "tempo map": _conductor(score),
        "click": _clicks(score),
        "chords": _chords(score),
        "cue": _cue(score),
    }
    for name, events in tracks.items():
        midi.tracks.append(_track(name, events, score.end_beat))
    out = io.BytesIO()
    midi.save(file=out)
    return out.getvalue()


def tempo_events(ruler: Sequence[tuple[float, float]]) -> tuple[tuple[int, int], ...]:
    """Tick and microseconds a beat of every change of tempo.

    Parameters
    ----------
    ruler : sequence of (float, float)
        Beats and seconds, as in `MidiScore`.

    Returns
    -------
    tuple of (tick, microseconds a beat)
        At every beat of the ruler the file's clock is within a quarter of a
        millisecond of its second.
    """
    events: list[tuple[int, int]] = []
    clock_us = 0.0
    for (start, _), (end, end_s) in pairwise(ruler):
        beats = (tick_of(end) - tick_of(start)) / TICKS_A_BEAT
        left_us = end_s * MICROSECONDS - clock_us
        if not events or abs(events[-1][1] * beats - left_us) > _CLOCK_MAY_STRAY_US:
            beat_us = min(max(round(left_us / beats), 1), _LONGEST_US)
            events.append((tick_of(start), beat_us))
        clock_us += events[-1][1] * beats
    return tuple(events)


def _conductor(score: MidiScore) -> Iterator[Event]:
    from mido import MetaMessage

    for tick, beat_us in tempo_events(score.ruler):
        yield tick, MetaMessage("set_tempo", tempo=beat_us)
    for beat, numerator, denominator in score.metres:
        signature = {"numerator": numerator, "denominator": denominator}
        yield tick_of(beat), MetaMessage("time_signature", **signature)
    for beat, key in score.keys:
        yield tick_of(beat), MetaMessage("key_signature", key=_key_signature(key))
    for beat, name in score.markers:
        # Text of a MIDI file is Latin-1 to most readers.
        text = name.encode("latin-1", "replace").decode("latin-1")
        yield tick_of(beat), MetaMessage("marker", text=text)


def _key_signature(key: Key) -> str:
    """Name that the library writes as sharps or flats."""
    major = key.tonic if key.mode == "major" else (key.tonic + 3) % 12
    sharps = _SHARPS_OF_MAJOR[major]
    if abs(sharps) == 6:  # noqa: PLR2004 - six sharps or six flats are the same key
        sharps = -6 if key.prefers_flats else 6
    names = {
        "major": ("Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#"),
        "minor": ("Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#", "G#", "D#"),
    }
    return names[key.mode][sharps + 6] + ("m" if key.mode == "minor" else "")


def _clicks(score: MidiScore) -> Iterator[Event]:
    for hit in score.click:
        start = tick_of(hit.beat)
        yield from _note(
            _CLICK_KEYS[hit.kind],
            (start, start + _CLICK_TICKS),
            _CLICK_VELOCITY[hit.kind],
            _CLICK_CHANNEL,
        )


def _chords(score: MidiScore) -> Iterator[Event]:
    for voicing in score.voicings:
        place = tick_of(voicing.start_beat), tick_of(voicing.end_beat)
        for midi in voicing.notes_midi:
            yield from _note(midi, place, _PAD_VELOCITY, _PAD_CHANNEL)


def _cue(score: MidiScore) -> Iterator[Event]:
    for note in score.cue:
        place = tick_of(note.start_beat), tick_of(note.end_beat)
        yield from _note(round(note.midi), place, _CUE_VELOCITY, _CUE_CHANNEL)


def _note(midi: int, place: tuple[int, int], velocity: int, channel: int) -> Iterator[Event]:
    from mido import Message

    yield place[0], Message("note_on", note=midi, velocity=velocity, channel=channel)
    yield place[1], Message("note_off", note=midi, velocity=0, channel=channel)


def _track(name: str, events: Iterable[Event], end_beat: float) -> MidiTrack:
    """Events in order as a track; at one tick, notes end before others start."""
    from mido import MetaMessage, MidiTrack

    track = MidiTrack([MetaMessage("track_name", name=name)])
    last = 0
    ordered = sorted(events, key=lambda event: (event[0], event[1].type != "note_off"))
    for tick, message in ordered:
        at = max(tick, 0)
        track.append(message.copy(time=at - last))
        last = at
    track.append(MetaMessage("end_of_track", time=max(tick_of(end_beat) - last, 0)))
    return track
