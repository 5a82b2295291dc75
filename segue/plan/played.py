"""Planned chords in rhythm: comping, and a bass under it.

Which rhythm suits which tempo is common practice, no source; that a little syncopation makes
people want to move, and much of it does not, is [WC14]_.

References
----------
.. [WC14] M. Witek and others, "Syncopation, body-movement and pleasure in groove music", PLoS ONE
   9(4), 2014, e94446.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from segue.plan.grid import SAME_BEAT
from segue.plan.layer import PlayedLayer, PlayedNote, Voicing
from segue.plan.pads import chord_voicings
from segue.plan.shaping import Planned, Setting, shaping

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from segue.plan.timeline import Timeline
    from segue.recipes.recipe import RecipeLayer
    from segue.recipes.recipe_layer import Rhythm

_OFF_DB: Final = -4.0
"""Off the beat it is played this much softer."""
_WALTZ: Final = 3  # beats a bar
_COMMON: Final = 4  # beats a bar
_LOWEST_BASS_MIDI: Final = 28  # E1, the lowest string of a bass


@dataclass(frozen=True, slots=True)
class _Stroke:
    """A chord or a note struck in a bar.

    Parameters
    ----------
    at, length : float
        Beats from the bar line, and how long it is held.
    tone : str
        'all' of a chord, 'next' of its notes, or for a bass 'root', 'fifth', 'octave' or 'lead'
        into the next chord.
    """

    at: float
    length: float
    gain_db: float = 0.0
    tone: str = "all"


def played_layer(layer: RecipeLayer, setting: Setting) -> Planned:
    """Comping or a bass, note by note.

    Parameters
    ----------
    layer : RecipeLayer
        With source 'comp' or 'bass'.
    """
    time = setting.time
    voicings, said = chord_voicings(layer, setting)
    is_bass = layer.source == "bass"
    bpm = time.tempo.bpm_at(max(time.entry_beat - 1.0, 0.0))
    strokes = (_bass_strokes if is_bass else _comp_strokes)(layer.rhythm, bpm, time.metre)
    make = _bass_notes if is_bass else _comp_notes
    notes = tuple(
        note for note in make(voicings, strokes, time) if note.start_beat < voicings[-1].end_beat
    )
    planned = PlayedLayer(
        **shaping(layer, time),
        voicings=voicings,
        notes=tuple(sorted(notes, key=lambda note: (note.start_beat, note.midi))),
        sound="bass" if is_bass else layer.played_on,
    )
    return Planned(layers=(planned,), notes=said)


_SLOW_BPM, _MIDDLE_BPM, _FAST_BPM = 80.0, 115.0, 140.0
"""Where players change the figure they accompany with; common practice, no source."""


def _comp_strokes(rhythm: Rhythm, bpm: float, metre: int) -> tuple[_Stroke, ...]:
    """A bar of comping."""
    beats = range(metre)
    match _suiting(bpm, metre) if rhythm == "by tempo" else rhythm:
        case "waltz":
            return (_Stroke(1, 0.6, -1), _Stroke(2, 0.6, -3))
        case "held":
            return (_Stroke(0, float(metre)),)
        case "quarters":
            return tuple(_Stroke(b, 0.7, -2.0 * (b % 2)) for b in beats)
        case "eighths":
            on = tuple(_Stroke(b, 0.35) for b in beats)
            return on + tuple(_Stroke(b + 0.5, 0.35, _OFF_DB) for b in beats)
        case "off-beats":
            return tuple(_Stroke(b + 0.5, 0.4, -float(b % 2)) for b in beats)
        case "push":
            return _pushed(metre)
        case "arpeggio":
            return _broken(_broken_step(bpm), metre)
        case _:
            return _strummed(metre)


def _broken_step(bpm: float) -> float:
    """Beats from note to note of a broken chord: the quickest that is not hurried."""
    return next((step for step in (0.25, 0.5) if bpm / (60.0 * step) <= _MOST_NOTES_A_S), 1.0)


_MOST_NOTES_A_S: Final = 4.0
"""A chord broken up faster than this is a flurry (common practice, no source): sixteenths up to 60
BPM, eighths up to 120, then quarters."""


def _broken(step: float, metre: int) -> tuple[_Stroke, ...]:
    """Note by note, louder on the beat."""
    return tuple(
        _Stroke(n * step, 2 * step, _OFF_DB if n * step % 1 else 0.0, "next")
        for n in range(round(metre / step))
    )


def _pushed(metre: int) -> tuple[_Stroke, ...]:
    """Three, three and two eighths."""
    places = [at for at in (0.0, 1.5, 3.0) if at < metre]
    ends = [*places[1:], float(metre)]
    return tuple(
        _Stroke(at, 0.85 * (end - at), -2.0 if at % 1 else 0.0)
        for at, end in zip(places, ends, strict=True)
    )


def _strummed(metre: int) -> tuple[_Stroke, ...]:
    """Down on the beat, up between."""
    strokes = []
    for beat in range(metre):
        strokes += [
            _Stroke(beat, 0.5, -float(beat % 2), "down"),
            _Stroke(beat + 0.5, 0.5, _OFF_DB, "up"),
        ]
    return tuple(strokes)


def _suiting(bpm: float, metre: int) -> Rhythm | Literal["waltz"]:
    """How chords are played at a tempo."""
    if metre == _WALTZ:
        return "waltz"
    by_tempo: tuple[tuple[float, Rhythm], ...] = (
        (_SLOW_BPM, "arpeggio"),
        (_MIDDLE_BPM, "push"),
        (_FAST_BPM, "off-beats"),
    )
    return next((name for limit, name in by_tempo if bpm < limit), "quarters")


def _bass_strokes(rhythm: Rhythm, bpm: float, metre: int) -> tuple[_Stroke, ...]:
    """A bar of bass."""
    half = metre / 2
    if rhythm == "walking":
        tones = ("root", "third", "fifth", "lead")
        last = metre - 1
        return tuple(
            _Stroke(b, 0.9, 0.0 if b % 2 == 0 else -1.5, "lead" if b == last else tones[b % 3])
            for b in range(metre)
        )
    if rhythm == "held":  # a string rings for half a slow bar, no longer
        return (_Stroke(0, half, 0.0, "root"), _Stroke(half, half, -3.0, "root"))
    if rhythm == "quarters":
        return tuple(_Stroke(b, 0.8, -float(b % 2), "root") for b in range(metre))
    if rhythm == "off-beats":
        return tuple(_Stroke(b + 0.5, 0.4, 0.0, "octave") for b in range(metre))
    if metre == _WALTZ:
        return (_Stroke(0, 2.6, 0.0, "root"),)
    if rhythm == "eighths" or (rhythm == "by tempo" and _MIDDLE_BPM <= bpm < _FAST_BPM):
        return tuple(
            _Stroke(b + off, 0.4, -2.0 if off else 0.0, "root")
            for b in range(metre)
            for off in (0, 0.5)
        )
    if metre != _COMMON or bpm < _SLOW_BPM or bpm >= _FAST_BPM:
        return (
            _Stroke(0, 0.9 * half, 0.0, "root"),
            _Stroke(half, 0.9 * half, -1.5, "fifth"),
        )
    return (
        _Stroke(0, 1.4, 0.0, "root"),
        _Stroke(1.5, 2.0, -1.5, "root"),
        _Stroke(3.5, 0.45, -3.0, "lead"),
    )


def _bars(voicings: Sequence[Voicing], time: Timeline) -> Iterator[tuple[float, Voicing, Voicing]]:
    """Every bar line inside the chords, with the chord there and the one after it."""
    first = time.exit_beat
    end = voicings[-1].end_beat
    beat = first + math.floor((voicings[0].start_beat - first) / time.metre) * time.metre
    while beat < end - SAME_BEAT:
        yield beat, *_chord_at(voicings, beat)
        beat += time.metre


def _chord_at(voicings: Sequence[Voicing], beat: float) -> tuple[Voicing, Voicing]:
    here = next((n for n, v in enumerate(voicings) if beat < v.end_beat - SAME_BEAT), -1)
    return voicings[here], voicings[min(here + 1, len(voicings) - 1) if here >= 0 else here]


def _landing(strokes: Sequence[_Stroke]) -> tuple[_Stroke, ...]:
    """The first bar: a chord on its one, also where the figure leaves that to others."""
    first = min(stroke.at for stroke in strokes)
    return (_Stroke(0, 0.9 * first), *strokes) if first > 0 else tuple(strokes)


_SPREAD_BEATS: Final = 0.022
"""A strum takes this long from string to string."""


def _comp_notes(
    voicings: Sequence[Voicing], strokes: Sequence[_Stroke], time: Timeline
) -> Iterator[PlayedNote]:
    count = 0
    for n_bar, (line, _, _) in enumerate(_bars(voicings, time)):
        for stroke in strokes if n_bar else _landing(strokes):
            at = line + stroke.at
            chord, _ = _chord_at(voicings, at)
            if at < voicings[0].start_beat - SAME_BEAT or at >= chord.end_beat:
                continue
            upper = chord.notes_midi[1:] or chord.notes_midi
            end = min(at + stroke.length, chord.end_beat)
            if stroke.tone == "next":
                turn = [0, 1, 2, 1] if len(upper) >= 3 else list(range(len(upper)))  # noqa: PLR2004
                picked: Sequence[int] = (upper[turn[count % len(turn)]],)
                count += 1
            else:
                picked = upper[::-1] if stroke.tone == "up" else upper
            spread = _SPREAD_BEATS if stroke.tone in ("up", "down") else 0.0
            for n, midi in enumerate(picked):
                start = min(at + n * spread, end - SAME_BEAT)
                yield PlayedNote(start_beat=start, end_beat=end, midi=midi, gain_db=stroke.gain_db)


def _bass_notes(
    voicings: Sequence[Voicing], strokes: Sequence[_Stroke], time: Timeline
) -> Iterator[PlayedNote]:
    for line, _, _ in _bars(voicings, time):
        for stroke in strokes:
            at = line + stroke.at
            chord, after = _chord_at(voicings, at)
            if at < voicings[0].start_beat - SAME_BEAT or at >= chord.end_beat:
                continue
            changes = at + stroke.length >= chord.end_beat - 0.6
            midi = _bass_tone(stroke.tone, chord, after if changes else chord)
            end = min(at + stroke.length, chord.end_beat)
            yield PlayedNote(start_beat=at, end_beat=end, midi=midi, gain_db=stroke.gain_db)


def _bass_tone(tone: str, chord: Voicing, after: Voicing) -> int:
    root = _low(chord.notes_midi[0])
    goal = _low(after.notes_midi[0])
    match tone:
        case "fifth":
            return _low(root + 7)
        case "octave":
            return root + 12
        case "third":
            third = next((n for n in chord.notes_midi if (n - root) % 12 in (3, 4)), root + 7)
            return _low(third)
        case "lead" if goal != root:  # a step below, or above where that is nearer
            return goal - 1 if goal > root else goal + 2
        case "lead":
            return _low(root + 7)
        case _:
            return root


def _low(midi: int) -> int:
    """The tone in the bass register."""
    return _LOWEST_BASS_MIDI + (midi - _LOWEST_BASS_MIDI) % 12
