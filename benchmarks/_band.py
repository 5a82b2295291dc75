"""What is drawn once for a groove: key, loop, metre, tempo, drums, ways of playing."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from benchmarks import _patterns as patterns
from benchmarks._draft import Edge

BEATS_OF_METRE: Final = {"4/4": 4, "3/4": 3, "6/8": 2}
ENDINGS: Final = ("keeps going", "cold stop", "ring-out", "fade")
OPENINGS: Final = ("on the beat", "pick-up", "free intro")


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """All that is drawn once for a groove; `bars_before` of it went by before the first bar."""

    edge: Edge
    kind: str
    tonic: int
    loop: patterns.Loop
    bars_before: int
    beats_per_chord: int
    metre: str
    tempo_bpm: float
    drums: str | None
    bass: str
    comping: str
    has_pad: bool
    has_lead: bool
    has_sevenths: bool
    swing_share: float
    drift_ratio: float
    human_s: float

    @property
    def beats_per_bar(self) -> int:
        """Beats in a bar: two in 6/8."""
        return BEATS_OF_METRE[self.metre]


def drawn_band(edge: Edge, rng: np.random.Generator) -> Band:
    """A band, its song and its way of playing.

    Tempi are drawn evenly on a logarithmic scale.
    """
    metre = str(rng.choice(["4/4", "3/4", "6/8"], p=[0.78, 0.11, 0.11]))
    drums = str(rng.choice(list(patterns.DRUMS_OF_METRE[metre])))
    drums_or_none = None if rng.random() < 0.25 else drums
    low_bpm, high_bpm = _tempo_limits(metre, drums_or_none)
    loop = patterns.LOOPS[rng.integers(len(patterns.LOOPS))]
    beats_per_bar = BEATS_OF_METRE[metre]
    tempo_bpm = float(np.exp(rng.uniform(np.log(low_bpm), np.log(high_bpm))))
    bars_per_chord = _bars_per_chord(loop, metre, tempo_bpm, rng)
    is_swung = drums_or_none in patterns.SWUNG
    return Band(
        edge=edge,
        kind=str(rng.choice(ENDINGS if edge == "end" else OPENINGS)),
        tonic=int(rng.integers(12)),
        loop=loop,
        bars_before=int(rng.integers(24)) if edge == "end" else 0,
        beats_per_chord=round(bars_per_chord * beats_per_bar),
        metre=metre,
        tempo_bpm=tempo_bpm,
        drums=drums_or_none,
        bass=str(rng.choice(list(patterns.BASS[metre]))),
        comping=_comping(metre, drums_or_none, rng),
        has_pad=bool(rng.random() < 0.4),
        has_lead=bool(rng.random() < 0.55),
        has_sevenths=bool(rng.random() < 0.3),
        swing_share=float(rng.uniform(0.58, 0.67)) if is_swung else 0.5,
        drift_ratio=float(rng.uniform(0.004, 0.015)) if rng.random() < 0.2 else 0.0,
        human_s=float(rng.choice([0.0, 0.002, 0.004])),
    )


def _tempo_limits(metre: str, drums: str | None) -> tuple[float, float]:
    """Where the notated tempo of a pattern is the felt one."""
    if metre != "4/4":
        return (100.0, 180.0) if metre == "3/4" else (60.0, 105.0)
    limits = {
        "half-time": (100.0, 150.0),
        "double-time": (66.0, 100.0),
        "four on the floor": (105.0, 140.0),
        "straight busy": (65.0, 120.0),
        "breakbeat": (80.0, 175.0),
        "swing": (100.0, 190.0),
        "sparse": (60.0, 120.0),
        None: (60.0, 140.0),
    }
    return limits.get(drums, (70.0, 180.0))


def _bars_per_chord(
    loop: patterns.Loop, metre: str, tempo_bpm: float, rng: np.random.Generator
) -> float:
    if len(loop.chords) > 8:
        return 1
    slow, quick = 100, 130
    if tempo_bpm < slow and metre != "3/4" and rng.random() < 0.25:
        return 0.5
    return 2 if tempo_bpm > quick and rng.random() < 0.5 else 1


def _comping(metre: str, drums: str | None, rng: np.random.Generator) -> str:
    """A way of comping; without drums it has to carry the beat."""
    ways = list(patterns.COMPING[metre])
    if drums is None:
        ways = [way for way in ways if way not in ("pad", "offbeats", "charleston")]
    return str(rng.choice(ways))


def chord_number(band: Band, beat: float) -> int:
    """Which chord it is since the section began."""
    return int((band.bars_before * band.beats_per_bar + beat) // band.beats_per_chord)


def chord_at(band: Band, beat: float) -> tuple[int, tuple[int, ...]]:
    """Root above the tonic and intervals of the chord on a beat."""
    number = chord_number(band, beat)
    root, intervals = band.loop.chords[number % len(band.loop.chords)]
    if band.has_sevenths and len(intervals) == 3:
        is_dominant = root == 7 and intervals[1] == 4
        flat = 10 if is_dominant or intervals[1] == 3 else _seventh(band, root)
        intervals = (*intervals, flat)
    return root, intervals


def _seventh(band: Band, root: int) -> int:
    """The seventh of a major chord that belongs to the scale."""
    return 11 if (root + 11) % 12 in band.loop.scale else 10
