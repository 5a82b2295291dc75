"""Produced grooves as sketches: vamps, riffs in the bass, stabs, kicks under everything.

Techno, house, hip-hop, trap, shuffles, funk and drum and bass, as common practice has them, no
source. Many stay on one chord or two, and the riff in the bass tells more than the chords.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from benchmarks._render import DRUM_CHANNEL, Voice
from benchmarks._song_loops import LOOPS, MODES, melody_over, numeral
from benchmarks._song_players import BASS, BRIDGE, COMP, LEAD, PAD, PIANO, SECOND, Players
from benchmarks._song_sketch import Sketch, Sounding, Tone

GROUP: Final = "produced"
VAMPS: Final = (
    *(("aeolian", chords) for chords in (
        "i", "i", "i", "i7", "i i i bVII", "i i bVI bVII", "i bVII", "i bVI", "i bIII", "i iv",
        "i i iv iv", "i v", "i i bIII bVII", "i i i bVI", "i7 iv7", "i bVI bVII i",
    )),
    *(("dorian", chords) for chords in ("i7", "i7 IV7", "i i i IV", "i ii", "i7 i7 ii7 IV7")),
    *(("phrygian", chords) for chords in ("i", "i bII", "i i i bII", "i bII bIII bII")),
    *(("harmonic", chords) for chords in ("i i i V", "i iv i V", "i bVI V V")),
    *(("mixolydian", chords) for chords in ("I7", "I7", "I7 IV7", "I bVII", "I I bVII IV")),
    *(("ionian", chords) for chords in (
        "I", "I IV", "I ii7", "I iii7 ii7 V7", "I vi7 ii7 V7", "I IV I V",
    )),
)  # fmt: skip
VAMP_SHARE: Final = 0.6
"""The other produced grooves have a loop of `benchmarks._song_loops`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Style:
    """Tempo, drums and ways of playing; `swing` is the share of the first half of a beat."""

    bpm: tuple[float, float]
    drums: tuple[str, ...]
    bass: tuple[str, ...]
    comping: tuple[str, ...]
    swing: tuple[float, float] = (0.5, 0.5)
    riff_share: float = 0.5


STYLES: Final = {
    "techno": Style(bpm=(118, 145), drums=("four on the floor",), riff_share=0.7,
                    bass=("offbeat", "eighths", "quarters", "octaves"),
                    comping=("offbeats", "charleston", "sixteenths", "pushed", "eighths")),
    "house": Style(bpm=(112, 128), drums=("four on the floor",),
                   bass=("offbeat", "syncopated", "octaves", "dotted"),
                   comping=("offbeats", "pushed", "charleston", "pad")),
    "hip-hop": Style(bpm=(72, 104), drums=("hip-hop", "breakbeat", "half-time"),
                     bass=("long", "dotted", "syncopated", "halves"),
                     comping=("pad", "charleston", "broken", "halves"), swing=(0.5, 0.62)),
    "trap": Style(bpm=(120, 160), drums=("trap", "half-time"), bass=("long", "dotted"),
                  comping=("pad", "arpeggio", "broken", "alberti")),
    "shuffle": Style(bpm=(84, 150), drums=("shuffle", "swing"), swing=(0.6, 0.68),
                     bass=("walking", "quarters", "root and fifth", "eighths"),
                     comping=("skank", "offbeats", "eighths", "charleston", "quarters")),
    "funk": Style(bpm=(88, 122), drums=("straight busy", "breakbeat"), riff_share=0.75,
                  bass=("syncopated", "octaves"), comping=("sixteenths", "skank", "charleston")),
    "drum and bass": Style(bpm=(160, 178), drums=("breakbeat", "half-time"),
                           bass=("long", "halves", "syncopated"), comping=("pad", "arpeggio")),
}  # fmt: skip
BASSES: Final = (33, 36, 38, 38, 39, 39, 81, 87, 80, 62)
STRUCK: Final = (4, 5, 16, 18, 27, 28, 11, 80, 81, 62, 63, 90, 2, 7)
BEDS: Final = (89, 90, 91, 92, 94, 95, 50, 51, 48, 54)


def produced_sketch(number: int, rng: np.random.Generator) -> Sketch:
    """A produced groove; its style is in `Sketch.loop`, before the colon."""
    name = str(rng.choice(list(STYLES)))
    style = STYLES[name]
    table = VAMPS if rng.random() < VAMP_SHARE else LOOPS
    mode_name, names = table[int(rng.integers(len(table)))]
    mode, scale = MODES[mode_name]
    loop = [numeral(chord) for chord in names.split()]
    turn = int(rng.integers(len(loop)))
    bpm = float(np.exp(rng.uniform(np.log(style.bpm[0]), np.log(style.bpm[1]))))
    per_chord = 4 * int(rng.choice([1, 1, 2])) if len(loop) <= 8 else 4
    n_chords = int(np.ceil(110 * bpm / 60 / per_chord / len(loop))) * len(loop)
    chords = []
    for place in range(n_chords):
        root, intervals, bass = loop[(place + turn) % len(loop)]
        chords.append(Sounding(start=place * per_chord, stop=(place + 1) * per_chord, root=root,
                               intervals=intervals, bass=bass))  # fmt: skip
    n_beats = n_chords * per_chord
    riff: tuple[Tone, ...] = ()
    if rng.random() < style.riff_share:
        riff = _riff(mode, scale, chords, n_beats, is_still=len(set(loop)) <= 2, rng=rng)
    home = per_chord * ((len(loop) - turn) % len(loop))
    melody = tuple(melody_over(chords, mode, scale, home, rng)) if rng.random() < 0.4 else ()
    return Sketch(
        name=f"{GROUP}{number}",
        group=GROUP,
        beats_s=np.arange(n_beats + 1) * 60 / bpm,
        bars=tuple(range(0, n_beats + 1, 4)),
        chords=tuple(chords),
        keys=((0, mode),) * (n_beats // 4),
        melody=melody,
        parts=(("BRIDGE", riff), ("PIANO", ())),
        loop=f"{name}: {mode_name}: {names}, from chord {turn + 1}",
    )


def _riff(
    mode: str,
    scale: tuple[int, ...],
    chords: list[Sounding],
    n_beats: int,
    *,
    is_still: bool,
    rng: np.random.Generator,
) -> tuple[Tone, ...]:
    """A bass figure of a bar or two that comes back: from the tonic, or over each chord's root."""
    third = 4 if mode == "major" else 3
    colours = [n for n in (0, 0, third, 7, 10, 12, 5) if n % 12 in scale or n in (0, 7, 12)]
    n_steps = int(rng.choice([8, 16, 16]))
    struck = np.flatnonzero(rng.random(n_steps) < rng.uniform(0.3, 0.75))
    struck = np.unique(np.concatenate([[0], struck]))
    grain = float(rng.choice([0.5, 0.5, 0.25]))
    figure = [(float(s) * grain, 0 if s == 0 and rng.random() < 0.85 else int(rng.choice(colours)))
              for s in struck]  # fmt: skip
    span = n_steps * grain
    stays = is_still and rng.random() < 0.7
    tones = []
    for start in np.arange(0, n_beats, span):
        for at, above in figure:
            beat = start + at
            if beat >= n_beats:
                break
            chord = next(c for c in chords if c.start <= beat < c.stop)
            root = 0 if stays else chord.bass
            up = above if stays or above % 12 in (0, 7) else 0
            tones.append(Tone(start=beat, length=grain * 0.9, midi=28 + (root - 28) % 12 + up,
                              velocity=100))  # fmt: skip
    return tuple(tones)


def produced_players(sketch: Sketch, rng: np.random.Generator) -> Players:
    """Who plays a produced groove: synthesisers and drums, now and then without."""
    style = STYLES[sketch.loop.partition(":")[0]]
    has_riff = bool(sketch.parts[0][1])
    has_comp = rng.random() < 0.75
    comping = ((COMP, str(rng.choice(style.comping)), int(rng.integers(45, 64)), False),)
    if rng.random() < 0.3:
        comping += ((SECOND, str(rng.choice(style.comping)), int(rng.integers(52, 68)), False),)
    return Players(
        voices=_voices(rng),
        bass=None if has_riff else str(rng.choice(style.bass)),
        comping=comping if has_comp else (),
        has_pad=bool(rng.random() < (0.35 if has_comp else 0.8)),
        drums=str(rng.choice(style.drums)) if rng.random() < 0.92 else None,
        has_melody=bool(sketch.melody),
        melody_shift=int(rng.choice([-12, 0, 0, 12])),
        written=("BRIDGE",) if has_riff else (),
        swing_share=float(rng.uniform(*style.swing)),
        human_s=float(rng.choice([0.0, 0.0, 0.004])),
        dropped=_breaks(sketch.n_bars, rng),
    )


def _breaks(n_bars: int, rng: np.random.Generator) -> tuple[tuple[int, int, int], ...]:
    """Parts that come and go by eights, as arrangements are built at a desk."""
    drops = []
    for channel in (BRIDGE, BASS, COMP, PAD, LEAD, DRUM_CHANNEL):
        if rng.random() < 0.3:
            drops += [(channel, start, start + 8) for start in range(0, n_bars, 8)
                      if rng.random() < 0.3]  # fmt: skip
    return tuple(drops)


def _voices(rng: np.random.Generator) -> dict[int, Voice]:
    def voice(programs: tuple[int, ...], low: int, high: int) -> Voice:
        return Voice(program=int(rng.choice(programs)), volume=int(rng.integers(low, high)),
                     pan=int(rng.integers(40, 88)))  # fmt: skip

    bass = replace(voice(BASSES, 85, 126), pan=64)
    return {
        BASS: bass, BRIDGE: bass, COMP: voice(STRUCK, 50, 105), SECOND: voice(STRUCK, 40, 95),
        PAD: voice(BEDS, 45, 95), LEAD: voice((*STRUCK, 53, 54, 73), 55, 105),
        PIANO: voice(STRUCK, 60, 100),
        DRUM_CHANNEL: Voice(program=int(rng.choice([0, 24, 25, 25, 26, 8])),
                            volume=int(rng.integers(85, 126))),
    }  # fmt: skip


def pumped(sound: np.ndarray, beats_s: list[float], depth: float, rate_hz: int) -> np.ndarray:
    """The sound ducked under each beat, as by a compressor that hears the kick."""
    gain = np.ones(len(sound))
    for at_s, next_s in zip(beats_s, [*beats_s[1:], beats_s[-1] + 0.5], strict=True):
        first, last = (round(t * rate_hz) for t in (at_s, next_s))
        first, last = max(first, 0), min(last, len(sound))
        if last > first:
            place = np.linspace(0, 1, last - first)
            gain[first:last] = 1 - depth * np.exp(-4 * place)
    return np.asarray(sound * gain[:, None])
