"""What each player of a band plays, bar by bar, in beats."""

from itertools import pairwise
from typing import Final

import numpy as np

from benchmarks import _patterns as patterns
from benchmarks._band import Band, chord_at, chord_number
from benchmarks._render import DRUM_CHANNEL

BASS_CHANNEL: Final = 0
CHORD_CHANNEL: Final = 1
PAD_CHANNEL: Final = 2
LEAD_CHANNEL: Final = 3

Part = tuple[int, int, float, float, int]
"""Channel, MIDI note, position and length in beats, velocity."""


def played_parts(band: Band, n_bars: int, rng: np.random.Generator) -> list[Part]:
    """Everything that is played in the first bars, player by player."""
    parts: list[Part] = []
    for bar in range(n_bars):
        parts += _drum_bar(band, bar, rng) if band.drums else []
        parts += _bass_bar(band, bar, rng)
        parts += _comping_bar(band, bar, rng)
    if band.has_pad:
        parts += _pad(band, n_bars)
    if band.has_lead:
        parts += _lead(band, n_bars, rng)
    return parts


def _drum_bar(band: Band, bar: int, rng: np.random.Generator) -> list[Part]:
    start = bar * band.beats_per_bar
    hits = list(patterns.DRUMS_OF_METRE[band.metre][str(band.drums)])
    number = band.bars_before + bar
    is_fill = number % 4 == 3 and rng.random() < 0.5
    if is_fill:
        fill_from = band.beats_per_bar - 1
        hits = [hit for hit in hits if hit[1] < fill_from]
        toms = (patterns.SNARE, patterns.SNARE, patterns.HIGH_TOM, patterns.LOW_TOM)
        hits += [(drum, fill_from + n / 4, 95) for n, drum in enumerate(toms)]
    if number % 8 == 0 and band.drums != "sparse":
        hits.append((patterns.CRASH, 0, 90))
    return [
        (DRUM_CHANNEL, drum, start + position, 0.1, int(velocity + rng.normal(0, 4)))
        for drum, position, velocity in hits
    ]


def _bass_bar(band: Band, bar: int, rng: np.random.Generator) -> list[Part]:
    start = bar * band.beats_per_bar
    parts: list[Part] = []
    for position, length, tone in _restruck(band, patterns.BASS[band.metre][band.bass]):
        root, intervals = chord_at(band, start + position)
        interval = 12 if tone == 3 else intervals[tone]
        low = 28 + (band.tonic + root - 28) % 12
        velocity = int((104 if position == 0 else 94) + rng.normal(0, 4))
        parts.append((BASS_CHANNEL, low + interval, start + position, length, velocity))
    return parts


def _restruck(band: Band, steps: tuple[patterns.Step, ...]) -> list[patterns.Step]:
    """The steps of a bar, cut and struck again where the chord changes inside it."""
    edge = float(band.beats_per_chord)
    if edge >= band.beats_per_bar:
        return list(steps)
    cut: list[patterns.Step] = []
    for position, length, tone in steps:
        if position < edge < position + length:
            cut.append((position, edge - position - 0.05, tone))
            cut.append((edge, position + length - edge, tone))
        else:
            cut.append((position, length, tone))
    return cut


def voicing(band: Band, beat: float, lowest: int) -> list[int]:
    """The chord in close position above `lowest`, which keeps common tones where they are."""
    root, intervals = chord_at(band, beat)
    return sorted(lowest + (band.tonic + root + tone - lowest) % 12 for tone in intervals)


def _comping_bar(band: Band, bar: int, rng: np.random.Generator) -> list[Part]:
    start = bar * band.beats_per_bar
    parts: list[Part] = []
    for position, length, tone in _restruck(band, patterns.COMPING[band.metre][band.comping]):
        chord = voicing(band, start + position, 53)
        ladder = chord + [midi + 12 for midi in chord]
        played = chord if tone == patterns.ALL else [ladder[tone]]
        accent = 92 if position == 0 else 82
        for midi in played:
            velocity = int(accent + rng.normal(0, 5))
            parts.append((CHORD_CHANNEL, midi, start + position, length, velocity))
    return parts


def _pad(band: Band, n_bars: int) -> list[Part]:
    n_beats = n_bars * band.beats_per_bar
    numbers = [chord_number(band, beat) for beat in range(n_beats)]
    starts = [beat for beat in range(n_beats) if beat == 0 or numbers[beat] != numbers[beat - 1]]
    return [
        (PAD_CHANNEL, midi, start, end - start - 0.05, 70)
        for start, end in pairwise([*starts, n_beats])
        for midi in voicing(band, start, 58)
    ]


def _lead(band: Band, n_bars: int, rng: np.random.Generator) -> list[Part]:
    """A walk through the scale: to a chord tone on bar lines, home where the loop begins."""
    ladder = [m for m in range(62, 86) if (m - band.tonic) % 12 in band.loop.scale]
    grain = 1 / 3 if band.metre == "6/8" else 0.5
    lengths = (grain, 2 * grain, 2 * grain, 3 * grain) if band.metre == "6/8" else (0.5, 1, 1, 1.5)
    parts: list[Part] = []
    place, beat = len(ladder) // 2, 0.0
    while beat < n_bars * band.beats_per_bar - 1:
        length = float(rng.choice(lengths))
        place = int(np.clip(place + rng.integers(-2, 3), 0, len(ladder) - 1))
        if abs(beat % band.beats_per_bar) < grain / 2:
            place = _nearest_chord_tone(band, beat, ladder, place)
        if rng.random() < 0.8:
            parts.append((LEAD_CHANNEL, ladder[place], beat, 0.9 * length, 96))
        beat += length
    return parts


def _nearest_chord_tone(band: Band, beat: float, ladder: list[int], place: int) -> int:
    root, intervals = chord_at(band, beat)
    is_home = chord_number(band, beat) % len(band.loop.chords) == 0
    tones = {(band.tonic + root + interval) % 12 for interval in ((0,) if is_home else intervals)}
    fitting = [index for index, midi in enumerate(ladder) if midi % 12 in tones] or [place]
    return min(fitting, key=lambda index: abs(index - place))
