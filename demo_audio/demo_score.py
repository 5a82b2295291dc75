"""The notation that the demo songs are written in, and what it means in notes.

Everything is text a musician can read. A *figure* is a row of ``what:beats``
tokens, bars parted by ``|``; what "what" means depends on who plays it:

======  ================================================================
lead    a pitch (``F#4``), ``r`` a rest, ``~`` holds the note before it
bass    ``R`` root, ``5`` fifth, ``8`` octave, ``a`` a step that leads to
        the next root, ``r`` a rest, or a pitch
chords  ``x`` the chord, ``X`` accented, ``n`` the next bar's chord played
        early, ``1``-``5`` one voice of the chord, ``r`` a rest
======  ================================================================

A drum groove is one row of sixteenths per voice: ``X`` accent, ``x`` normal,
``o`` ghost note, ``.`` nothing. Beats are quarter notes; beat 0 is bar one.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

PITCH_CLASSES: Final = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}

CHORD_TONES: Final = {
    "": (0, 4, 7),
    "m": (0, 3, 7),
    "6": (0, 4, 7, 9),
    "m6": (0, 3, 7, 9),
    "7": (0, 4, 7, 10),
    "m7": (0, 3, 7, 10),
    "maj7": (0, 4, 7, 11),
    "add9": (0, 2, 4, 7),
    "m9": (0, 2, 3, 7, 10),
    "maj9": (0, 2, 4, 7, 11),
    "7sus4": (0, 5, 7, 10),
    "m7b5": (0, 3, 6, 10),
}
"""Semitones above the root that each chord suffix stands for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """One note of a part, still in beats."""

    beat: float
    beats: float
    midi: int
    velocity: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Chord:
    """A chord symbol and the span it sounds over."""

    symbol: str
    beat: float
    beats: float
    root: int
    bass: int
    tones: tuple[int, ...]


def pitch_class(name: str) -> int:
    """Pitch class of a note name without octave, C = 0."""
    return (PITCH_CLASSES[name[0]] + name.count("#") - name[1:].count("b")) % 12


def midi_of_name(name: str) -> int:
    """MIDI note number of a name such as ``Bb3``; C4 is 60.

    >>> midi_of_name("A4"), midi_of_name("Bb3")
    (69, 58)
    """
    letter, octave = name[:-1], int(name[-1])
    accidental = letter.count("#") - letter[1:].count("b")
    return 12 * (octave + 1) + PITCH_CLASSES[letter[0]] + accidental


def figure_tokens(figure: str, *, bar_beats: float) -> list[list[tuple[str, float]]]:
    """Tokens of each bar of a figure.

    Raises
    ------
    ValueError
        If a bar does not add up to `bar_beats`.
    """
    bars = []
    for number, bar in enumerate(figure.split("|"), start=1):
        tokens = [(what, float(beats)) for what, beats in (t.split(":") for t in bar.split())]
        total_beats = sum(beats for _, beats in tokens)
        if abs(total_beats - bar_beats) > 1e-9:
            message = f"bar {number} of {figure!r} has {total_beats} beats, not {bar_beats}"
            raise ValueError(message)
        bars.append(tokens)
    return bars


def chords_of_text(text: str, *, first_beat: float, bar_beats: float) -> list[Chord]:
    """Chords of a progression; the chords of one bar share it evenly."""
    chords = []
    for bar, symbols in enumerate(text.split("|")):
        names = symbols.split()
        share = bar_beats / len(names)
        for place, symbol in enumerate(names):
            beat = first_beat + bar * bar_beats + place * share
            chords.append(_chord(symbol, beat=beat, beats=share))
    return chords


def _chord(symbol: str, *, beat: float, beats: float) -> Chord:
    upper, _, slash = symbol.partition("/")
    length = 2 if upper[1:2] in ("#", "b") else 1
    root = pitch_class(upper[:length])
    return Chord(
        symbol=symbol,
        beat=beat,
        beats=beats,
        root=root,
        bass=pitch_class(slash) if slash else root,
        tones=tuple((root + step) % 12 for step in CHORD_TONES[upper[length:]]),
    )


def voicings(chords: list[Chord], *, lowest: int, highest: int) -> list[tuple[int, ...]]:
    """One close voicing a chord, each moving least from the one before.

    A chord of five leaves its root to the bass, as a keyboard player would.
    """
    centre = (lowest + highest) / 2
    placed: list[tuple[int, ...]] = []
    for chord in chords:
        tones = chord.tones[1:] if len(chord.tones) > 4 else chord.tones
        options = list(_close_positions(sorted(tones), lowest, highest))
        before = placed[-1] if placed else None
        placed.append(min(options, key=lambda option: _cost(option, before, centre)))
    return placed


def _close_positions(tones: list[int], lowest: int, highest: int) -> list[tuple[int, ...]]:
    options = []
    for turn in range(len(tones)):
        stack = tones[turn:] + [tone + 12 for tone in tones[:turn]]
        for octave in range(2, 8):
            option = tuple(tone + 12 * octave for tone in stack)
            if option[0] >= lowest and option[-1] <= highest:
                options.append(option)
    return options


def _cost(option: tuple[int, ...], before: tuple[int, ...] | None, centre: float) -> float:
    middle = sum(option) / len(option)
    if before is None:
        return abs(middle - centre)
    motion = sum(min(abs(tone - other) for other in before) for tone in option)
    return motion + 0.15 * abs(middle - centre)


def lead_notes(figure: str, *, first_beat: float, bar_beats: float) -> list[Note]:
    """Notes of a melody; a held note runs on over the bar line."""
    notes: list[Note] = []
    beat = first_beat
    for tokens in figure_tokens(figure, bar_beats=bar_beats):
        for what, beats in tokens:
            if what == "~":
                held = notes.pop()
                notes.append(
                    Note(beat=held.beat, beats=held.beats + beats, midi=held.midi, velocity=96)
                )
            elif what != "r":
                notes.append(Note(beat=beat, beats=beats, midi=midi_of_name(what), velocity=96))
            beat += beats
    return notes


def phrases(notes: list[Note]) -> list[list[Note]]:
    """Runs of notes with no rest between them: what is sung on one breath."""
    groups = [[notes[0]]] if notes else []
    for before, note in pairwise(notes):
        if note.beat - (before.beat + before.beats) > 1e-6:
            groups.append([])
        groups[-1].append(note)
    return groups
