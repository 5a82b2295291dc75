"""A band for the beat net to learn from: drums, bass, chords, pad and lead, drawn anew each time.

Positions are in beats, three or four steps to the beat. All patterns are common practice, no
source; they are drawn more freely than a band would play them, so that the net meets much.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from benchmarks import _patterns as patterns
from benchmarks._render import DRUM_CHANNEL

BASS, CHORDS, PAD, LEAD, MORE_CHORDS = range(5)
BASSES: Final = (32, 33, 34, 35, 36, 38, 39, 87, 43, 58)
STRUCK: Final = (
    0, 1, 4, 5, 7, 24, 25, 26, 27, 28, 11, 16, 6, 12, 2, 3, 8, 13, 15, 29, 30, 46, 104, 105, 107,
    17, 18, 21, 45,
)  # fmt: skip
SOFT: Final = (
    48, 49, 50, 51, 52, 53, 54, 88, 89, 90, 91, 92, 93, 94, 95, 40, 41, 42, 43, 44, 19, 20, 21, 61,
    60, 68, 71, 73, 78, 79, 75, 16,
)  # fmt: skip
LEADS: Final = (
    53, 54, 56, 61, 64, 65, 66, 73, 80, 81, 22, 27, 11, 40, 68, 71, 30, 29, 0, 75, 78, 85, 82, 110,
    105, 109,
)  # fmt: skip
PADS: Final = (48, 49, 89, 90, 51, 53, 16, 21, 50, 88, 91, 94, 95, 52)
KITS: Final = (0, 0, 0, 8, 16, 24, 25, 32, 40)
STYLE_SHARES: Final = {
    "back beat": 0.60, "every beat": 0.13, "half-time": 0.07, "sparse": 0.06, "train": 0.04,
    "swing": 0.05, "off-beats": 0.02, "latin": 0.03,
}  # fmt: skip
RHYTHMS: Final[dict[int, tuple[tuple[float, ...], ...]]] = {
    4: (
        (0,), (0, 2), (0, 1, 2, 3), (0.5, 1.5, 2.5, 3.5), (0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5),
        (0, 1.5), (0, 1.5, 2.5, 3.5), (0, 1.5, 3), (0, 0.75, 1.5, 2.5, 3.25), (1, 3), (0, 2.5),
        (0, 1.5, 2, 3.5), tuple(step / 4 for step in range(16)), (0, 0.5, 1.5, 2, 2.5, 3.5),
        (0, 1.5, 2, 2.5, 3.5),
    ),
    3: (
        (0,), (1, 2), (0, 1, 2), (0, 0.5, 1, 1.5, 2, 2.5), (0, 2), (0, 1.5), (0, 1, 1.5, 2, 2.5),
    ),
    2: (
        (0,), (0, 1), (0, 2 / 3, 1, 5 / 3), tuple(step / 3 for step in range(6)),
        (1 / 3, 2 / 3, 4 / 3, 5 / 3), (0, 1, 5 / 3),
    ),
}  # fmt: skip

Hit = tuple[int, float, float]
Chord = tuple[float, int, tuple[int, ...]]
"""Place in the bar in beats, root as a pitch class, and intervals."""
Part = tuple[float, float, int, float, int]
"""Position and length in beats, MIDI note, velocity, channel."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Players:
    """Who plays, and how."""

    metre: int
    steps_a_beat: int
    style: str | None
    has_bass: bool
    has_chords: bool
    has_more_chords: bool
    has_pad: bool
    has_lead: bool
    is_soft: bool = False


def drawn_players(
    rng: np.random.Generator, *, metre: int, by_three: bool, drums: bool, soft: bool
) -> Players:
    """A band; drums with most of it, and without drums somebody who carries the chords."""
    styles = list(STYLE_SHARES)
    return Players(
        metre=metre,
        steps_a_beat=3 if by_three or metre == 2 else 4,
        style=str(rng.choice(styles, p=list(STYLE_SHARES.values()))) if drums else None,
        has_bass=bool(rng.random() < (0.85 if drums else 0.6)),
        has_chords=bool(rng.random() < (0.75 if drums else 0.95)),
        has_more_chords=bool(rng.random() < 0.3),
        has_pad=bool(rng.random() < 0.35),
        has_lead=bool(rng.random() < 0.5),
        is_soft=soft,
    )


def drawn_programs(players: Players, rng: np.random.Generator) -> dict[int, int]:
    """General MIDI program of each channel."""
    if players.is_soft:
        rows = {BASS: (42, 43, 48, 32, 89, 58), CHORDS: SOFT, PAD: PADS, LEAD: SOFT,
                MORE_CHORDS: SOFT}  # fmt: skip
    else:
        rows = {BASS: BASSES, CHORDS: STRUCK, PAD: PADS, LEAD: LEADS,
                MORE_CHORDS: STRUCK + SOFT}  # fmt: skip
    programs = {channel: int(rng.choice(row)) for channel, row in rows.items()}
    return programs | ({DRUM_CHANNEL: int(rng.choice(KITS))} if players.style else {})


def drawn_volumes(rng: np.random.Generator) -> dict[int, int]:
    """Volume of each channel; the drums are at times far behind."""
    limits = {BASS: (80, 118), CHORDS: (65, 110), PAD: (45, 90), LEAD: (60, 112),
              MORE_CHORDS: (55, 100),
              DRUM_CHANNEL: (50 if rng.random() < 0.3 else 85, 122)}  # fmt: skip
    return {channel: int(rng.integers(*pair)) for channel, pair in limits.items()}


def played(
    players: Players, bars: Sequence[Sequence[Chord]], rng: np.random.Generator
) -> list[Part]:
    """Everything that is played over some bars of chords."""
    parts: list[Part] = []
    if players.style:
        parts += _drums(players, len(bars), rng)
    if players.has_bass:
        parts += _bass(players, bars, rng)
    for channel, low, plays in (
        (CHORDS, 53, players.has_chords), (MORE_CHORDS, 60, players.has_more_chords)
    ):  # fmt: skip
        parts += _chords(players, bars, (channel, low), rng) if plays else []
    parts += _pad(players, bars) if players.has_pad else []
    return parts + (_lead(players, bars, rng) if players.has_lead else [])


def _drums(players: Players, n_bars: int, rng: np.random.Generator) -> list[Part]:
    """A bar again and again, another every fourth, fills at the ends of phrases."""
    usual = _drum_bar(players, rng)
    other = _drum_bar(players, rng) if rng.random() < 0.4 else usual
    phrase, fills, crashes = int(rng.choice([4, 8])), rng.random() * 0.6, rng.random() < 0.5
    silent = 0 if rng.random() < 0.8 else int(rng.integers(1, 6))
    parts: list[Part] = []
    for bar in range(silent, n_bars):
        start = float(bar * players.metre)
        hits = other if bar % 4 == 3 else usual
        if bar % phrase == phrase - 1 and rng.random() < fills:
            hits = _with_fill(players, hits, rng)
        if crashes and bar % 8 == 0:
            hits = [*hits, (patterns.CRASH, 0.0, 95.0)]
        parts += [(start + at, 0.1, drum, velocity + rng.normal(0, 5), DRUM_CHANNEL)
                  for drum, at, velocity in hits]  # fmt: skip
    return parts


def _with_fill(players: Players, hits: list[Hit], rng: np.random.Generator) -> list[Hit]:
    first = max(players.metre - (1 if rng.random() < 0.7 else 2), 0)
    toms = (patterns.SNARE, patterns.HIGH_TOM, patterns.LOW_TOM)
    places = np.arange(first, players.metre - 1e-6, 1 / players.steps_a_beat)
    fill = [(int(rng.choice(toms)), float(at), 80.0 + rng.integers(25)) for at in places]
    return [hit for hit in hits if hit[1] < first] + fill


def _drum_bar(players: Players, rng: np.random.Generator) -> list[Hit]:
    style = str(players.style)
    hits = _waltz(rng) if players.metre == 3 else _core(style, players.metre, rng)
    if style not in ("swing", "off-beats"):
        hits += _hats(players, rng)
    if players.steps_a_beat == 3 and players.metre == 4:
        hits = [(drum, _by_three(at), velocity) for drum, at, velocity in hits]
    return hits


def _waltz(rng: np.random.Generator) -> list[Hit]:
    hits: list[Hit] = [(patterns.KICK, 0, 105)]
    if rng.random() < 0.3:
        return [*hits, (patterns.SNARE, float(rng.choice([1, 2])), 95)]
    drum = patterns.SNARE if rng.random() < 0.6 else patterns.CLOSED_HAT
    return hits + [(drum, beat, 85) for beat in (1, 2) if rng.random() < 0.8]


def _core(style: str, metre: int, rng: np.random.Generator) -> list[Hit]:
    """Kick, snare and what marks a style, without the hi-hat."""
    if style == "back beat":
        return _back_beat(metre, rng)
    kick, snare, rim, ride = patterns.KICK, patterns.SNARE, patterns.RIM, patterns.RIDE
    beats = range(metre)
    halves = [step / 2 for step in range(2 * metre)]
    quarters = [step / 4 for step in range(4 * metre)]
    drawn: dict[str, list[Hit]] = {
        "every beat": [(kick, b, 112) for b in beats]
        + [(patterns.CLAP, b, 98) for b in beats[1::2]]
        + [(patterns.OPEN_HAT, b + 0.5, 80) for b in beats if rng.random() < 0.7],
        "half-time": [(kick, 0, 112), (snare, metre / 2, 110)]
        + [(kick, p, 98) for p in (0.75, 1.5, 1.75, 2.5, 3.5) if p < metre and rng.random() < 0.25],
        "sparse": [(kick, 0, 98), (rim, metre / 2, 90)],
        "train": [(snare, p, 60 + 40 * (p % 1 == 0.5)) for p in quarters]
        + [(kick, b, 95) for b in beats],
        "swing": [(ride, b, 85) for b in beats]
        + [(ride, b + 0.5, 75) for b in beats[1::2]]
        + [(patterns.PEDAL_HAT, b, 75) for b in beats[1::2]],
        "off-beats": [(kick, metre / 2, 108), (rim, metre / 2, 100)]
        + [(patterns.CLOSED_HAT, p, 78) for p in halves[1::2]],
        "latin": [(kick, p, 88) for p in (0, 1.5, 2, 3.5) if p < metre]
        + [(rim, p, 88) for p in (0, 1.5, 3) if p < metre],
    }
    return drawn[style]


def _back_beat(metre: int, rng: np.random.Generator) -> list[Hit]:
    kick, snare = patterns.KICK, patterns.SNARE
    hits: list[Hit] = [(kick, 0, 110)]
    hits += [(snare if rng.random() < 0.9 else patterns.CLAP, b, 106) for b in range(1, metre, 2)]
    if metre != 4:
        return hits
    hits += [(kick, 2, 106)] if rng.random() < 0.8 else []
    places = (0.5, 0.75, 1.25, 1.5, 1.75, 2.5, 2.75, 3.25, 3.5)
    hits += [(kick, p, 100) for p in places if rng.random() < 0.16]
    return hits + [(snare, p, 52) for p in (0.75, 1.25, 1.75, 2.25, 3.75) if rng.random() < 0.12]


def _hats(players: Players, rng: np.random.Generator) -> list[Hit]:
    """Hi-hat, ride or shaker in quarters, eighths or sixteenths; at times none."""
    drawn = rng.random()
    if drawn >= 0.93:
        return []
    drum = int(rng.choice([patterns.CLOSED_HAT, patterns.RIDE, 54, 70], p=[0.7, 0.18, 0.06, 0.06]))
    step = 0.5 if drawn < 0.55 else 0.25 if drawn < 0.8 else 1.0
    if players.steps_a_beat == 3:
        step = 1 / 3
    accent = float(rng.integers(0, 25))
    return [(drum, float(at), 70 + accent * (at % 1 < 1e-6))
            for at in np.arange(0, players.metre - 1e-6, step)]  # fmt: skip


def _by_three(at: float) -> float:
    """A place of a bar in fours, moved to the nearest third of a beat."""
    part = at % 1
    return float(np.floor(at) + (0.0 if part < 0.2 else 1 / 3 if part < 0.45 else 2 / 3))


def _rhythm(players: Players, rng: np.random.Generator) -> list[float]:
    rows = RHYTHMS[players.metre]
    places = rows[int(rng.integers(len(rows)))]
    if players.steps_a_beat == 3 and players.metre == 4:
        return sorted({round(_by_three(at), 4) for at in places})
    return list(places)


def _steps(
    places: list[float], chords: Sequence[Chord], metre: int
) -> list[tuple[float, float, Chord]]:
    """Place, length and chord of each step; struck again where the chord changes."""
    struck = sorted({*places, *(chord[0] for chord in chords if 0 < chord[0] < metre)})
    ends = [*struck[1:], float(metre)]
    return [
        (at, end - at, [c for c in chords if c[0] <= at + 1e-6][-1])
        for at, end in zip(struck, ends, strict=True)
    ]


def _bass(
    players: Players, bars: Sequence[Sequence[Chord]], rng: np.random.Generator
) -> list[Part]:
    places = _rhythm(players, rng)
    way = str(rng.choice(["root", "fifth", "octave", "walk"], p=[0.5, 0.25, 0.1, 0.15]))
    held, accent = (0.95 if rng.random() < 0.5 else 0.55), rng.uniform(0, 18)
    parts: list[Part] = []
    for number, chords in enumerate(bars):
        for step, (at, length, (_, root, _)) in enumerate(_steps(places, chords, players.metre)):
            above = {"fifth": 7 * (step % 2), "octave": 12 * (step % 2)}.get(way, 0)
            if way == "walk" and at > 0:
                above = int(rng.choice([0, 2, 4, 5, 7, 9]))
            midi = 28 + (root - 28) % 12 + above
            velocity = 92 + accent * (at == 0) + rng.normal(0, 4)
            parts.append((number * players.metre + at, length * held, midi, velocity, BASS))
    return parts


def _chords(
    players: Players,
    bars: Sequence[Sequence[Chord]],
    where: tuple[int, int],
    rng: np.random.Generator,
) -> list[Part]:
    """Chords struck whole or broken, at times before the bar line."""
    channel, low = where
    places, is_broken = _rhythm(players, rng), rng.random() < 0.45
    held, accent = (0.97 if rng.random() < 0.5 else 0.5), rng.uniform(0, 18)
    is_pushed, seventh = rng.random() < 0.12, (10,) if rng.random() < 0.2 else ()
    parts: list[Part] = []
    for number, chords in enumerate(bars):
        for step, (at, length, chord) in enumerate(_steps(places, chords, players.metre)):
            pitches = _voiced(chord[1], (*chord[2], *seventh), low)
            if is_broken:
                ladder = pitches + [midi + 12 for midi in pitches]
                pitches = [ladder[(step * (1, 2, 1, 3)[step % 4] + step // 3) % 5]]
            start = number * players.metre + at - (0.5 if is_pushed and at == 0 and number else 0)
            loud = 78 + accent * (at == 0) + accent / 2 * (at % 1 == 0)
            parts += [(start, length * held, midi, loud + rng.normal(0, 5), channel)
                      for midi in pitches]  # fmt: skip
    return parts


def _voiced(root: int, intervals: Sequence[int], low: int) -> list[int]:
    return sorted(low + (root + interval - low) % 12 for interval in intervals)


def _pad(players: Players, bars: Sequence[Sequence[Chord]]) -> list[Part]:
    parts: list[Part] = []
    for number, chords in enumerate(bars):
        ends = [*(chord[0] for chord in chords[1:]), float(players.metre)]
        for (at, root, intervals), end in zip(chords, ends, strict=True):
            start = number * players.metre + at
            parts += [(start, 0.98 * (end - at), midi, 70.0, PAD)
                      for midi in _voiced(root, intervals, 58)]  # fmt: skip
    return parts


def _lead(
    players: Players, bars: Sequence[Sequence[Chord]], rng: np.random.Generator
) -> list[Part]:
    """A walk through a scale of the first chord's root, with rests."""
    scale = patterns.IONIAN if rng.random() < 0.5 else patterns.AEOLIAN
    tonic = bars[0][0][1]
    ladder = [midi for midi in range(60, 88) if (midi - tonic) % 12 in scale]
    grain = 1 / 3 if players.steps_a_beat == 3 else 0.5
    lengths = [grain * times for times in ((1, 2, 2, 3, 4) if grain < 0.5 else (1, 1, 2, 2, 3, 4))]
    place, at, parts = len(ladder) // 2, 0.0, []
    while at < len(bars) * players.metre - 1:
        length = float(rng.choice(lengths))
        place = int(np.clip(place + rng.integers(-2, 3), 0, len(ladder) - 1))
        if rng.random() < 0.8:
            parts.append((at, 0.92 * length, ladder[place], 90 + rng.normal(0, 6), LEAD))
        at += length
    return parts
