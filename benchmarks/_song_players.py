"""Who plays a sketch and how: bass, comping, drums, melody and written parts, in seconds.

Ways of playing are common practice, no source.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from benchmarks import _patterns as patterns
from benchmarks._render import DRUM_CHANNEL, Note, Voice
from benchmarks._song_sketch import Sketch, Sounding, Tone

BASS, COMP, SECOND, PAD, LEAD, BRIDGE, PIANO = 0, 1, 2, 3, 4, 5, 6
BASSES: Final = (32, 33, 34, 35, 36, 37, 38, 39, 43, 58)
KEYS: Final = (0, 1, 2, 3, 4, 5, 6, 7, 11, 12, 16, 17, 18, 19, 21)
GUITARS: Final = (24, 25, 26, 27, 28, 29, 30)
DRIVEN: Final = (29, 30)
PADS: Final = (48, 49, 50, 51, 52, 54, 88, 89, 90, 91, 92, 94, 95, 16, 18, 19, 61, 62)
LEADS: Final = (
    22, 27, 29, 30, 40, 41, 42, 52, 53, 54, 56, 57, 59, 60, 61, 64, 65, 66, 67, 68, 71, 72, 73,
    75, 80, 81, 85, 87, 11, 0, 4, 24, 25, 26,
)  # fmt: skip
SOFT: Final = (48, 49, 50, 51, 52, 54, 88, 89, 91, 92, 94, 95)
"""Programs whose attacks nobody hears as such."""
BASS_STEPS: Final = {
    "long": ((0.0, 4.0, 0),),
    "halves": ((0.0, 1.9, 0), (2.0, 1.9, 0)),
    "root and fifth": ((0.0, 0.95, 0), (1.0, 0.9, 2), (2.0, 0.95, 0), (3.0, 0.9, 2)),
    "quarters": tuple((float(n), 0.9, 0) for n in range(4)),
    "eighths": tuple((n / 2, 0.45, 0) for n in range(8)),
    "octaves": tuple((n / 2, 0.4, 3 * (n % 2)) for n in range(8)),
    "dotted": ((0.0, 1.4, 0), (1.5, 0.4, 0), (2.0, 1.4, 0), (3.5, 0.4, 2)),
    "syncopated": ((0.0, 0.7, 0), (0.75, 0.7, 0), (1.5, 0.9, 2), (2.5, 0.4, 0), (3.0, 0.8, 3)),
    "walking": ((0.0, 0.95, 0), (1.0, 0.95, 1), (2.0, 0.95, 2), (3.0, 0.95, 4)),
    "offbeat": tuple((n + 0.5, 0.4, 0) for n in range(4)),
    "reggae": ((0.0, 0.45, 0), (0.5, 0.45, 0), (1.5, 0.9, 2), (2.5, 0.4, 1), (3.0, 0.4, 0)),
}
COMP_STEPS: Final = patterns.COMPING["4/4"] | {
    "halves": ((0, 1.9, -1), (2, 1.9, -1)),
    "strum": ((0, 0.9, -1), (1, 0.4, -1), (1.5, 0.4, -1), (2.5, 0.4, -1), (3, 0.4, -1),
              (3.5, 0.4, -1)),
    "skank": tuple((n + 0.0, 0.25, -1) for n in (1, 3)),
    "alberti": tuple((n / 2, 0.5, tone) for n, tone in enumerate((0, 2, 1, 2, 0, 2, 1, 2))),
    "chugs": tuple((n / 2, 0.3 if n % 2 else 0.45, -1) for n in range(8)),
    "broken": tuple((n / 2, 0.9, tone) for n, tone in enumerate((0, 2, 3, 2, 4, 3, 2, 3))),
}  # fmt: skip
MORE_DRUMS: Final = {
    "tambourine": [(54, float(n), 80) for n in (1, 3)],
    "shaker": [(70, n / 2, 60) for n in range(8)],
    "train": [(38, n / 2, 60 + 30 * (n % 2)) for n in range(8)] + [(36, 0.0, 95), (36, 2.0, 95)],
    "tom beat": [(45, 0.0, 100), (45, 0.5, 80), (43, 1.0, 95), (45, 1.5, 80), (45, 2.0, 100),
                 (43, 3.0, 100), (43, 3.5, 85)],
    "hip-hop": [(36, 0.0, 115), (36, 0.75, 100), (36, 2.5, 110), (38, 1.0, 112), (38, 3.0, 112)]
    + [(42, n / 2, 80) for n in range(8)],
    "trap": [(36, 0.0, 118), (36, 1.75, 100), (39, 2.0, 110)]
    + [(42, n / 4, 70) for n in range(16)],
    "ride rock": [(36, 0.0, 110), (36, 2.0, 110), (36, 2.5, 100), (38, 1.0, 108), (38, 3.0, 108)]
    + [(51, n / 2, 80) for n in range(8)],
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Players:
    """All that is drawn once for an edge's arrangement."""

    voices: dict[int, Voice]
    bass: str | None
    comping: tuple[tuple[int, str, int, bool], ...]
    """Channel, way of playing, lowest note, and whether it leaves out the third."""
    has_pad: bool
    drums: str | None
    has_melody: bool
    melody_shift: int
    written: tuple[str, ...]
    swing_share: float
    human_s: float
    dropped: tuple[tuple[int, int, int], ...]
    """Channel and bars, from and to, in which it is silent."""


def drawn_players(sketch: Sketch, rng: np.random.Generator, *, drums: bool | None) -> Players:
    """Who plays, with what sounds; `drums` decides on them where it is given."""
    has_drums = bool(rng.random() < 0.6) if drums is None else drums
    written: tuple[str, ...] = ()
    if any(tones for _, tones in sketch.parts):
        written = (("PIANO", "BRIDGE"), ("PIANO",), ())[int(rng.choice(3, p=[0.45, 0.3, 0.25]))]
    is_alone = bool(written) and not has_drums and rng.random() < 0.6
    kinds = list(patterns.FOUR) + list(MORE_DRUMS)
    swung = rng.random() < 0.12
    comping = () if is_alone or (written and rng.random() < 0.5) else _drawn_comping(rng)
    bass = None if is_alone or rng.random() < 0.12 else str(rng.choice(list(BASS_STEPS)))
    return Players(
        voices=_voices(rng),
        bass=bass,
        comping=comping,
        has_pad=not is_alone and bool(rng.random() < 0.35),
        drums=str(rng.choice(kinds)) if has_drums else None,
        has_melody=bool(sketch.melody) and bool(rng.random() < 0.75),
        melody_shift=int(rng.choice([-12, 0, 0, 12])),
        written=written,
        swing_share=float(rng.uniform(0.58, 0.67)) if swung else 0.5,
        human_s=float(rng.choice([0.0, 0.004, 0.008, 0.014])),
        dropped=_drawn_drops(sketch.n_bars, rng),
    )


def _drawn_comping(rng: np.random.Generator) -> tuple[tuple[int, str, int, bool], ...]:
    ways = list(COMP_STEPS)
    drawn = [(COMP, str(rng.choice(ways)), int(rng.integers(43, 60)), False)]
    if rng.random() < 0.4:
        drawn.append((SECOND, str(rng.choice(ways)), int(rng.integers(48, 67)), False))
    if rng.random() < 0.12:  # power chords
        drawn = [(COMP, str(rng.choice(["chugs", "eighths", "pad", "pushed"])), 40, True),
                 *drawn[1:]]  # fmt: skip
    return tuple(drawn)


def _drawn_drops(n_bars: int, rng: np.random.Generator) -> tuple[tuple[int, int, int], ...]:
    """Players who rest for four bars or eight now and then."""
    drops = []
    for channel in (BASS, COMP, SECOND, PAD, LEAD, DRUM_CHANNEL):
        if rng.random() < 0.2:
            drops += [
                (channel, start, start + int(rng.choice([2, 4, 8])))
                for start in range(int(rng.integers(8)), n_bars, 4)
                if rng.random() < 0.25
            ]
    return tuple(drops)


def _voices(rng: np.random.Generator) -> dict[int, Voice]:
    def voice(programs: tuple[int, ...], low: int, high: int, spread: int) -> Voice:
        return Voice(
            program=int(rng.choice(programs)),
            volume=int(rng.integers(low, high)),
            pan=int(np.clip(64 + rng.integers(-spread, spread + 1), 0, 127)),
        )

    struck = KEYS + GUITARS
    return {
        BASS: voice(BASSES, 70, 122, 8),
        COMP: voice(struck, 55, 112, 45),
        SECOND: voice(struck, 45, 105, 50),
        PAD: voice(PADS, 40, 90, 30),
        LEAD: voice(LEADS, 60, 118, 20),
        BRIDGE: voice(struck + LEADS + PADS, 50, 105, 40),
        PIANO: voice((0, 0, 0, 1, 2, 4, 5, 24, 25, 26, 11, 46, *SOFT[:4]), 70, 112, 20),
        DRUM_CHANNEL: Voice(
            program=int(rng.choice([0, 0, 0, 8, 16, 24, 25, 32, 40])),
            volume=int(rng.integers(60, 122)),
        ),
    }


def played(
    sketch: Sketch, players: Players, bars: tuple[int, int], rng: np.random.Generator
) -> list[Note]:
    """Notes of the bars from one to another, in the sketch's own seconds."""
    first, last = sketch.bars[bars[0]], sketch.bars[bars[1]]
    parts: list[tuple[int, Tone]] = []
    chords = [c for c in sketch.chords if c.stop > first and c.start < last]
    for bar in range(*bars):
        start, stop = sketch.bars[bar], sketch.bars[bar + 1]
        inside = [c for c in chords if c.stop > start and c.start < stop]
        parts += _bar(sketch, players, bar, inside, rng)
    if players.has_pad:
        parts += [(PAD, Tone(start=c.start, length=c.stop - c.start - 0.05, midi=m, velocity=70))
                  for c in chords for m in close(c, 57)]  # fmt: skip
    if players.has_melody:
        parts += [(LEAD, Tone(start=t.start, length=t.length, midi=t.midi + players.melody_shift,
                              velocity=t.velocity)) for t in sketch.melody]  # fmt: skip
    channels = {"PIANO": PIANO, "BRIDGE": BRIDGE}
    for name, tones in sketch.parts:
        if name in players.written:
            parts += [(channels[name], tone) for tone in tones]
    parts = [(channel, t) for channel, t in parts if first <= t.start < last - 1e-6]
    return _in_seconds(sketch, players, parts, bars, rng)


def _bar(
    sketch: Sketch, players: Players, bar: int, chords: list[Sounding], rng: np.random.Generator
) -> list[tuple[int, Tone]]:
    start, stop = sketch.bars[bar], sketch.bars[bar + 1]
    n_beats = stop - start
    parts: list[tuple[int, Tone]] = []
    if players.bass:
        parts += _bass_bar(BASS_STEPS[players.bass], start, n_beats, chords, rng)
    for channel, way, lowest, is_open in players.comping:
        for at, length, tone in _fitted(COMP_STEPS[way], n_beats, chords, start):
            chord = _at(chords, at)
            if chord is None:
                continue
            tones = _open(chord, lowest) if is_open else close(chord, lowest)
            ladder = tones + [midi + 12 for midi in tones] + [midi + 24 for midi in tones]
            for midi in tones if tone < 0 else [ladder[min(tone, len(ladder) - 1)]]:
                velocity = int((94 if at == start else 82) + rng.normal(0, 6))
                parts.append((channel, Tone(start=at, length=length, midi=midi, velocity=velocity)))
    if players.drums:
        place = sketch.places[bar] if sketch.places else bar
        parts += _drum_bar(players.drums, place, start, n_beats, rng)
    return parts


def _bass_bar(
    steps: tuple[tuple[float, float, int], ...],
    start: int,
    n_beats: int,
    chords: list[Sounding],
    rng: np.random.Generator,
) -> list[tuple[int, Tone]]:
    parts = []
    for at, length, tone in _fitted(steps, n_beats, chords, start):
        chord = _at(chords, at)
        if chord is None:
            continue
        low = 28 + (chord.bass - 28) % 12
        is_new = abs(at - max(chord.start, start)) < 0.26
        if tone == 3 and not is_new:
            low += 12
        elif tone in (1, 2, 4) and not is_new:
            steps_up = [(chord.root + i - chord.bass) % 12 for i in chord.intervals]
            low += steps_up[min(tone, len(steps_up) - 1)]
        velocity = int((106 if is_new else 94) + rng.normal(0, 5))
        parts.append((BASS, Tone(start=at, length=length, midi=low, velocity=velocity)))
    return parts


def _fitted(
    steps: tuple[tuple[float, float, int], ...], n_beats: int, chords: list[Sounding], start: int
) -> list[tuple[float, float, int]]:
    """A bar's steps, as many as it has beats for, struck anew where the chord changes."""
    fitted = []
    changes = [c.start for c in chords if start < c.start < start + n_beats]
    shifted = [(start + at + beat, length, tone) for beat in range(0, n_beats, 4)
               for at, length, tone in steps if at + beat < n_beats]  # fmt: skip
    for at, length, tone in shifted:
        cut = next((c for c in changes if at + 0.05 < c < at + length - 0.05), None)
        long = min(length, start + n_beats - at)
        if cut is None:
            fitted.append((at, long, tone))
        else:
            fitted += [(at, cut - at - 0.03, tone), (cut, max(at + long - cut, 0.2), tone)]
    return fitted


def _drum_bar(
    kind: str, bar: int, start: int, n_beats: int, rng: np.random.Generator
) -> list[tuple[int, Tone]]:
    if n_beats % 4 == 0:
        one = (patterns.FOUR | MORE_DRUMS)[kind]
        hits = [(drum, at + beat, v) for beat in range(0, n_beats, 4) for drum, at, v in one]
    elif n_beats == 3:
        hits = list(list(patterns.THREE.values())[len(kind) % 3])
    elif n_beats == 2:
        hits = [hit for hit in (patterns.FOUR | MORE_DRUMS)[kind] if hit[1] < 2]
    else:
        hits = [(patterns.KICK, 0.0, 108)] + [(patterns.CLOSED_HAT, n / 2, 78)
                                              for n in range(2 * n_beats)]  # fmt: skip
        hits += [(patterns.SNARE, n_beats / 2, 104)]
    if bar % 4 == 3 and rng.random() < 0.45 and n_beats > 2:
        hits = [hit for hit in hits if hit[1] < n_beats - 1]
        toms = (patterns.SNARE, patterns.SNARE, patterns.HIGH_TOM, patterns.LOW_TOM)
        hits += [(drum, n_beats - 1 + n / 4, 95) for n, drum in enumerate(toms)]
    if bar % 8 == 0 and rng.random() < 0.7:
        hits.append((patterns.CRASH, 0.0, 95))
    return [(DRUM_CHANNEL, Tone(start=start + at, length=0.1, midi=drum,
                                velocity=int(np.clip(v + rng.normal(0, 5), 20, 127))))
            for drum, at, v in hits]  # fmt: skip


def _at(chords: list[Sounding], beat: float) -> Sounding | None:
    return next((c for c in chords if c.start <= beat + 1e-6 < c.stop - 1e-6), None)


def close(chord: Sounding, lowest: int) -> list[int]:
    """The chord in close position above a note."""
    return sorted({lowest + (chord.root + i - lowest) % 12 for i in chord.intervals})


def _open(chord: Sounding, lowest: int) -> list[int]:
    root = lowest + (chord.root - lowest) % 12
    return [root, root + 7 if 7 in chord.intervals else root + 6, root + 12]


def _in_seconds(
    sketch: Sketch,
    players: Players,
    parts: list[tuple[int, Tone]],
    bars: tuple[int, int],
    rng: np.random.Generator,
) -> list[Note]:
    grid = np.arange(len(sketch.beats_s))
    lines = np.array(sketch.bars)
    notes = []
    for channel, tone in parts:
        bar = int(np.searchsorted(lines, tone.start + 1e-6, side="right")) - 1
        if any(c == channel and low <= bar - bars[0] < high for c, low, high in players.dropped):
            continue
        start_s, end_s = np.interp(
            [_swung(tone.start, players.swing_share),
             _swung(tone.start + tone.length, players.swing_share)], grid, sketch.beats_s,
        )  # fmt: skip
        spread_s = players.human_s * (0.5 if channel == DRUM_CHANNEL else 1.0)
        start_s = max(float(start_s) + (rng.normal(0, spread_s) if spread_s else 0.0), 0.0)
        notes.append(
            Note(
                start_s=start_s,
                length_s=max(float(end_s) - start_s, 0.05),
                midi=int(np.clip(tone.midi, 20, 108)),
                velocity=int(np.clip(tone.velocity, 15, 127)),
                channel=channel,
            )
        )
    return notes


def _swung(position: float, share: float) -> float:
    whole, part = divmod(position, 1)
    if part < 0.5:
        return float(whole + part * share / 0.5)
    return float(whole + share + (part - 0.5) * (1 - share) / 0.5)
