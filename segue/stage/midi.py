"""The tempo map as a Standard MIDI File, with bar lines, keys, markers and notes.

A MIDI file knows steps of tempo only. Each step lasts for as many beats as one
tempo can serve: a steady song has one value, and a ramp about one a beat.
Microseconds a beat are whole numbers, so each is chosen from where the file's
own clock has got to, counted in whole parts, and rounding never adds up.

References
----------
.. [SMF] MIDI Manufacturers Association, "Standard MIDI Files 1.0", RP-001.
.. [GM1] "General MIDI System Level 1", RP-003: key 76 and 77 of the drum
   channel are high and low wood block.
"""

from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING, Final

from segue.music.key import Key
from segue.stage.midi_score import TICKS_A_BEAT, Marker, MidiScore, plan_score, tick_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from mido import Message, MetaMessage, MidiTrack

    from segue.plan import Plan

MICROSECONDS: Final = 1_000_000  # of a second, in which MIDI files count a beat
_LONGEST_US: Final = 0xFFFFFF  # a tempo event has 24 bits (Standard MIDI Files 1.0)
CLOCK_MAY_STRAY_US: Final = 500
"""Half of the millisecond that the rig's bars may be off; the other half is left to the tick and
to the reader. Set by judgement: a displaced event is noticed from 6 ms on (A. Friberg and
J. Sundberg, JASA 98(5), 1995, 2524-2531)."""
_CLICK_KEYS: Final = {"bar": 76, "beat": 77}
# From 0; 9 is that of percussion (General MIDI)
_CLICK_CHANNEL, _PAD_CHANNEL, _CUE_CHANNEL = 9, 0, 1
_CLICK_TICKS: Final = TICKS_A_BEAT // 8  # length of a click's note: a thirty-second
_PAD_VELOCITY, _CUE_VELOCITY = 64, 72  # of 127, medium loud; by judgement
_CLICK_VELOCITY: Final = {"bar": 100, "beat": 76}
_MOST_SHARPS: Final = 7  # or flats, in a key signature (Standard MIDI Files 1.0)

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
        At every beat of the ruler the file's clock is within half a millisecond of its second,
        where tempi that a file can hold allow it. A tempo is left only where it, and any other
        from the same clock, would miss the next beat.

    Examples
    --------
    >>> tempo_events([(0.0, 0.0), (1.0, 0.5002), (2.0, 0.9998), (3.0, 1.6), (4.0, 2.2)])
    ((0, 499900), (1920, 600100))
    """
    places = [(tick_of(beat), second * MICROSECONDS * TICKS_A_BEAT) for beat, second in ruler]
    events: list[tuple[int, int]] = []
    clock, here = 0, 0  # the clock in parts of a microsecond, as many as a beat has ticks
    while here < len(places) - 1:
        n_served, beat_us = _longest_step(places[here:], clock)
        events.append((places[here][0], beat_us))
        clock += beat_us * (places[here + n_served][0] - places[here][0])
        here += n_served
    return tuple(events)


def _longest_step(places: Sequence[tuple[int, float]], clock: int) -> tuple[int, int]:
    """How many places after the first one tempo can serve, and which."""
    stray = CLOCK_MAY_STRAY_US * TICKS_A_BEAT
    tick, due_here = places[0]
    low, high = 1, _LONGEST_US
    n_served = 0
    for place, due in places[1:]:
        n_ticks = place - tick
        lowest = max(low, math.ceil((due - stray - clock) / n_ticks))
        highest = min(high, math.floor((due + stray - clock) / n_ticks))
        if lowest > highest:
            break
        low, high = lowest, highest
        n_served += 1
    n_served = max(n_served, 1)  # a place that no tempo can serve: as near as a file can say
    place, due = places[n_served]
    n_ticks = place - tick
    own_us = round((due - due_here) / n_ticks)
    # The song's own value wherever the clock allows it; else the one that brings the clock back.
    is_good = abs(clock + own_us * n_ticks - due) <= stray
    best_us = own_us if is_good else round((due - clock) / n_ticks)
    return n_served, min(max(best_us, low), high)


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
    if abs(key.n_sharps) > _MOST_SHARPS:
        key = Key(tonic=key.tonic, mode=key.mode)  # as it is usually spelled
    return key.tonic_name + ("m" if key.mode == "minor" else "")


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
