"""Band grooves, made up from a seed, as openings and endings."""

from dataclasses import replace
from typing import Final

import numpy as np

from benchmarks import _patterns as patterns
from benchmarks._band import Band, drawn_band
from benchmarks._draft import Draft, Edge, tempo_facts
from benchmarks._parts import (
    BASS_CHANNEL,
    CHORD_CHANNEL,
    LEAD_CHANNEL,
    PAD_CHANNEL,
    Part,
    played_parts,
    voicing,
)
from benchmarks._render import DRUM_CHANNEL, Note, Performance, Voice, snapped_s

LENGTH_S: Final = 25.0
BASSES: Final = (32, 33, 34, 35, 36, 38, 39)
STRUCK: Final = (0, 1, 4, 5, 7, 24, 25, 26, 27, 28, 11, 16, 6, 12)
"""Programs of comping instruments: pianos, guitars, mallets, organ."""
PADS: Final = (48, 49, 89, 90, 51, 53, 16, 21)
LEADS: Final = (53, 54, 56, 61, 64, 65, 66, 73, 80, 81, 22, 27, 11, 40, 68, 71)
FADE_TO_DB: Final = -50.0
FADE_UNHEARD_SHARE: Final = 0.2
"""The last part of a fade, below -40 dB, has no truth: nobody hears its beats."""


def groove(edge: Edge, rng: np.random.Generator) -> Draft:
    """A groove that is about 25 s long, as an ending or an opening."""
    band = drawn_band(edge, rng)
    n_bars = 2 + int(np.ceil((LENGTH_S + 3) * band.tempo_bpm / 60 / band.beats_per_bar))
    beats_s = _beat_times(band, n_bars * band.beats_per_bar + 1, rng)
    parts = played_parts(band, n_bars, rng)
    notes = _played(parts, beats_s, band, rng)
    voices = _voices(band, rng)
    draft = (
        _opening(band, notes, beats_s, rng)
        if edge == "start"
        else _ending(band, notes, beats_s, n_bars, rng)
    )
    return replace(draft, performance=replace(draft.performance, voices=voices))


def _beat_times(band: Band, n_beats: int, rng: np.random.Generator) -> np.ndarray:
    """Seconds of the beats; a drifting band sways by its ratio to both sides."""
    position = np.linspace(0, 1, n_beats - 1)
    sway = np.sin(2 * np.pi * (rng.uniform(0.3, 1.0) * position + rng.random()))
    lengths_s = 60 / band.tempo_bpm * (1 + band.drift_ratio * sway)
    return np.concatenate([[0.0], np.cumsum(lengths_s)]) + rng.uniform(0.1, 0.5)


def _played(
    parts: list[Part], beats_s: np.ndarray, band: Band, rng: np.random.Generator
) -> list[Note]:
    """Notes in seconds: swung, a little uneven, and on the renderer's block edges."""
    notes = []
    grid = np.arange(len(beats_s))
    for channel, midi, position, length, velocity in parts:
        start = _swung(position, band.swing_share)
        start_s = float(np.interp(start, grid, beats_s))
        end_s = float(np.interp(_swung(position + length, band.swing_share), grid, beats_s))
        spread_s = band.human_s * (0.6 if channel == DRUM_CHANNEL else 1.5)
        start_s = snapped_s(start_s + rng.normal(0, spread_s) if spread_s else start_s)
        notes.append(
            Note(
                start_s=start_s,
                length_s=max(end_s - start_s, 0.04),
                midi=midi,
                velocity=int(np.clip(velocity, 20, 127)),
                channel=channel,
            )
        )
    return notes


def _swung(position: float, share: float) -> float:
    """A position in beats after the first half of each beat is stretched to `share`."""
    whole, part = divmod(position, 1)
    half = 0.5
    if part < half:
        return float(whole + part * share / half)
    return float(whole + share + (part - half) * (1 - share) / half)


def _voices(band: Band, rng: np.random.Generator) -> dict[int, Voice]:
    return {
        DRUM_CHANNEL: Voice(program=0, volume=int(rng.integers(85, 120))),
        BASS_CHANNEL: Voice(program=int(rng.choice(BASSES)), volume=int(rng.integers(85, 115))),
        CHORD_CHANNEL: Voice(
            program=int(rng.choice(STRUCK)),
            volume=int(rng.integers(70, 105)),
            pan=int(rng.integers(30, 98)),
        ),
        PAD_CHANNEL: Voice(program=int(rng.choice(PADS)), volume=int(rng.integers(45, 80))),
        LEAD_CHANNEL: Voice(
            program=int(rng.choice(LEADS)),
            volume=int(rng.integers(75, 110)),
            pan=int(rng.integers(44, 84)),
        ),
    } | ({} if band.drums else {DRUM_CHANNEL: Voice(program=0)})


def _draft(band: Band, notes: list[Note], beats: list[tuple[float, bool]], **cut: float) -> Draft:
    tempo_bpm, tempo_range_bpm = tempo_facts([time_s for time_s, _ in beats])
    style = f"{band.drums or 'no drums'}, {band.bass}, {band.comping}, {band.loop.name}"
    return Draft(
        performance=Performance(notes=tuple(notes), voices={}),
        group="groove",
        style=style,
        edge=band.edge,
        kind=band.kind,
        tonic=band.tonic,
        mode=band.loop.mode,
        time_signature=band.metre,
        beats_s=tuple(time_s for time_s, _ in beats),
        downbeat_of_beat=tuple(is_downbeat for _, is_downbeat in beats),
        tempo_bpm=tempo_bpm,
        tempo_range_bpm=tempo_range_bpm,
        from_s=cut["from_s"],
        to_s=cut["to_s"],
        fade_s=cut.get("fade_s", 0.0),
    )


def _ending(
    band: Band,
    notes: list[Note],
    beats_s: np.ndarray,
    n_bars: int,
    rng: np.random.Generator,
) -> Draft:
    """Cut the groove at a bar line, and end it as the band's kind of ending asks."""
    last = n_bars * band.beats_per_bar
    end_s = float(beats_s[last])
    notes = [note for note in notes if note.start_s < end_s - 0.03]
    notes = [replace(n, length_s=min(n.length_s, end_s - n.start_s)) for n in notes]
    n_struck = last
    tail_s, fade_s = float(rng.uniform(0.0, 0.3)), 0.0
    if band.kind in ("cold stop", "ring-out"):
        n_struck = last + 1
        held_s = 0.12 if band.kind == "cold stop" else float(rng.uniform(2.0, 4.0))
        tail_s = held_s + float(rng.uniform(0.6, 1.5))
        notes += _final_chord(band, snapped_s(end_s), held_s)
    elif band.kind == "fade":
        fade_s = float(rng.uniform(7.0, 12.0))
    to_s = end_s + tail_s
    heard_to_s = to_s - FADE_UNHEARD_SHARE * fade_s
    beats = [(float(beats_s[n]), n % band.beats_per_bar == 0) for n in range(n_struck)]
    beats = [beat for beat in beats if beat[0] < heard_to_s]
    from_s = max(to_s - LENGTH_S, 0.0)
    return _draft(band, notes, [b for b in beats if b[0] >= from_s - 0.5], from_s=from_s,
                  to_s=to_s, fade_s=fade_s)  # fmt: skip


def _final_chord(band: Band, start_s: float, held_s: float) -> list[Note]:
    """The tonic, by everyone."""
    home = replace(band, bars_before=0, has_sevenths=False)
    struck = [(BASS_CHANNEL, 28 + (band.tonic - 28) % 12, 108)]
    struck += [(CHORD_CHANNEL, midi, 100) for midi in voicing(home, 0, 53)]
    if band.has_pad:
        struck += [(PAD_CHANNEL, midi, 80) for midi in voicing(home, 0, 58)]
    if band.drums:
        struck += [(DRUM_CHANNEL, drum, 110) for drum in (patterns.KICK, patterns.CRASH)]
    return [
        Note(start_s=start_s, length_s=held_s, midi=midi, velocity=velocity, channel=channel)
        for channel, midi, velocity in struck
    ]


def _opening(band: Band, notes: list[Note], beats_s: np.ndarray, rng: np.random.Generator) -> Draft:
    """The groove from its first bar, after what the band's kind of opening puts before it."""
    n_beats = len(beats_s) - 1
    beats = [(float(beats_s[n]), n % band.beats_per_bar == 0) for n in range(n_beats)]
    shift_s = 0.0
    before: list[Note] = []
    if band.kind == "pick-up":
        shift_s = band.beats_per_bar * 60 / band.tempo_bpm
        before, first_beat_s = _pick_up(band, float(beats_s[0]) + shift_s, rng)
        beats = [(t + shift_s, is_down) for t, is_down in beats]
        beats = [*first_beat_s, *beats]
    elif band.kind == "free intro":
        shift_s = float(rng.uniform(3.0, 6.0))
        before = _free_intro(band, float(beats_s[0]), shift_s, rng)
        beats = [(t + shift_s, is_down) for t, is_down in beats]
    notes = before + [replace(n, start_s=snapped_s(n.start_s + shift_s)) for n in notes]
    first_s = min(note.start_s for note in notes)
    from_s = max(first_s - float(rng.choice([0.01, 0.05, 0.2, 0.5])), 0.0)
    to_s = from_s + LENGTH_S
    beats = [beat for beat in beats if beat[0] < to_s]
    return _draft(band, notes, beats, from_s=from_s, to_s=to_s)


def _pick_up(
    band: Band, bar_s: float, rng: np.random.Generator
) -> tuple[list[Note], list[tuple[float, bool]]]:
    """A lead-in of one beat or two, by snare or by a melody from below."""
    beat_s = 60 / band.tempo_bpm
    n_beats = int(rng.integers(1, band.beats_per_bar))
    steps = n_beats * (3 if band.metre == "6/8" else 2)
    below = [m for m in range(50, 74) if (m - band.tonic) % 12 in band.loop.scale]
    goal = min(below, key=lambda midi: ((midi - band.tonic) % 12, abs(midi - 64)))
    ladder = [midi for midi in below if midi < goal][-steps:] or [goal]
    notes = []
    for step in range(steps):
        start_s = snapped_s(bar_s - (steps - step) * n_beats * beat_s / steps)
        midi = ladder[max(len(ladder) - steps + step, 0)]
        notes.append(Note(start_s=start_s, length_s=0.8 * n_beats * beat_s / steps, midi=midi,
                          velocity=92, channel=CHORD_CHANNEL))  # fmt: skip
        if band.drums and step >= steps // 2:
            notes.append(Note(start_s=start_s, length_s=0.1, midi=patterns.SNARE, velocity=85,
                              channel=DRUM_CHANNEL))  # fmt: skip
    return notes, [(bar_s - (n_beats - n) * beat_s, False) for n in range(n_beats)]


def _free_intro(
    band: Band, start_s: float, length_s: float, rng: np.random.Generator
) -> list[Note]:
    """Chords without a pulse: the loop's last chord or the tonic, rolled at will."""
    notes: list[Note] = []
    home = replace(band, bars_before=0)
    time_s = start_s
    while time_s < start_s + length_s - 1.0:
        held_s = min(float(rng.uniform(1.2, 3.0)), start_s + length_s - time_s - 0.05)
        is_home = not notes or rng.random() < 0.5
        beat = 0 if is_home else (len(band.loop.chords) - 1) * band.beats_per_chord
        for number, midi in enumerate(voicing(home, beat, 53)):
            roll_s = number * float(rng.uniform(0.02, 0.12))
            notes.append(Note(start_s=snapped_s(time_s + roll_s), length_s=held_s - roll_s,
                              midi=midi, velocity=78, channel=CHORD_CHANNEL))  # fmt: skip
        time_s += held_s
    return notes
