"""Players: each turns a figure and the chords of a section into notes."""

from __future__ import annotations

from bisect import bisect_right
from typing import Final

from demo_score import Chord, Note, figure_tokens, midi_of_name, voicings

DRUM_NOTES: Final = {
    "kick": 36,
    "stick": 37,
    "snare": 38,
    "clap": 39,
    "floor": 43,
    "hat": 42,
    "pedal": 44,
    "open": 46,
    "tom": 47,
    "crash": 49,
    "high": 50,
    "ride": 51,
    "tamb": 54,
    "shaker": 70,
}
"""General MIDI percussion notes of the drum voices used."""

STRIKE_VELOCITY: Final = {"X": 112, "x": 90, "o": 44}

CHORD_VELOCITY: Final = {"X": 92, "x": 76, "n": 84}
"""One voice alone is played at 98: it must carry as far as a whole chord."""

BASS_LOWEST: Final = 28
"""E1, the open low string of a four-string bass."""


def chord_at(chords: list[Chord], beat: float) -> int:
    """Index of the chord that sounds at a beat."""
    return max(0, bisect_right([chord.beat for chord in chords], beat + 1e-6) - 1)


def bass_notes(figure: str, chords: list[Chord], *, bar_beats: float, energy: float) -> list[Note]:
    """Bass line of a section: the figure repeats, the roots follow the chords."""
    notes: list[Note] = []
    for beat, beats, what in _played(figure, chords, bar_beats=bar_beats):
        index = chord_at(chords, beat)
        following = chords[(index + 1) % len(chords)]
        midi = _bass_pitch(what, chords[index], following)
        accent = 8 if (beat - chords[0].beat) % bar_beats == 0 else 0
        velocity = int((88 + accent - (14 if what == "a" else 0)) * energy)
        notes.append(Note(beat=beat, beats=beats * 0.94, midi=midi, velocity=velocity))
    return notes


def _bass_pitch(what: str, chord: Chord, following: Chord) -> int:
    root = _bass_register(chord.bass)
    match what:
        case "R":
            return root
        case "8":
            return root + 12
        case "5":
            fifth = next((t for t in chord.tones if (t - chord.root) % 12 in (6, 7)), chord.root)
            return root + (fifth - chord.bass) % 12
        case "a":
            target = _bass_register(following.bass)
            return target + (1 if root > target else -1 if target > BASS_LOWEST else 2)
        case _:
            return midi_of_name(what)


def _bass_register(tone: int) -> int:
    return BASS_LOWEST + (tone - BASS_LOWEST) % 12


def chord_notes(
    figure: str,
    chords: list[Chord],
    *,
    bar_beats: float,
    energy: float,
    span: tuple[int, int],
) -> list[Note]:
    """Comping of a section: block chords or broken ones, voiced by least motion.

    `span` is the lowest and highest MIDI note of the hands.
    """
    hands = voicings(chords, lowest=span[0], highest=span[1])
    notes: list[Note] = []
    for beat, beats, what in _played(figure, chords, bar_beats=bar_beats):
        index = chord_at(chords, beat)
        if what == "n":
            index = (index + 1) % len(chords)
        hand = hands[index]
        voices = (hand[(int(what) - 1) % len(hand)],) if what.isdigit() else hand
        velocity = int(CHORD_VELOCITY.get(what, 98 if what.isdigit() else 76) * energy)
        for midi in voices:
            top = 6 if midi == voices[-1] else 0
            notes.append(
                Note(beat=beat, beats=beats * 0.97, midi=midi, velocity=min(120, velocity + top))
            )
    return notes


def _played(
    figure: str, chords: list[Chord], *, bar_beats: float
) -> list[tuple[float, float, str]]:
    first = chords[0].beat
    last = chords[-1].beat + chords[-1].beats
    bars = figure_tokens(figure, bar_beats=bar_beats)
    played: list[tuple[float, float, str]] = []
    for bar in range(round((last - first) / bar_beats)):
        beat = first + bar * bar_beats
        for what, beats in bars[bar % len(bars)]:
            if what == "~":
                begun, long, token = played.pop()
                played.append((begun, long + beats, token))
            elif what != "r":
                played.append((beat, beats, what))
            beat += beats
    return played


def drum_notes(
    groove: dict[str, str], *, first_beat: float, beats: float, energy: float
) -> list[Note]:
    """Hits of a groove, repeated to fill a span of beats."""
    notes: list[Note] = []
    for voice, row in groove.items():
        for step in range(round(beats * 4)):
            mark = row[step % len(row)]
            if mark != ".":
                notes.append(
                    Note(
                        beat=first_beat + step / 4,
                        beats=0.25,
                        midi=DRUM_NOTES[voice],
                        velocity=int(min(124, STRIKE_VELOCITY[mark] * energy)),
                    )
                )
    return sorted(notes, key=lambda note: (note.beat, note.midi))
