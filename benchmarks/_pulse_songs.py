"""Songs for the beat net to learn from, as notes with their beats at the octave that is felt.

Four kinds: songs of our own, drawn anew; analysed rock songs, played by a drawn band along their
own bar lines; pop songs as they were played on the piano, with or without drums; and music
without a pulse. Beats are at the octave at which a bar of four is nearest to two seconds (common
practice, no source), except where drums say otherwise.
"""

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from benchmarks import _patterns as patterns
from benchmarks._pulse_players import (
    BASS,
    CHORDS,
    LEAD,
    LEADS,
    SOFT,
    STRUCK,
    Chord,
    Part,
    drawn_players,
    drawn_programs,
    drawn_volumes,
    played,
)
from benchmarks._render import DRUM_CHANNEL

Floats = np.ndarray
FELT_BAR_S: Final = 2.0
LENGTH_S: Final = 26.0
DRAWN_S: Final = 34.0
TEMPI_BPM: Final = {
    "every beat": (112, 150), "half-time": (110, 160), "train": (84, 130), "swing": (95, 200),
    "off-beats": (120, 165), "latin": (95, 165), "sparse": (70, 125), "back beat": (72, 176),
    None: (80, 166),
}  # fmt: skip
OTHER_TEMPI_BPM: Final = {3: (84, 190), 2: (54, 100)}
"""Tempi of three beats a bar and of 6/8."""
DRIFTS: Final = 0.4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MadeSong:
    """A song as notes.

    `notes` has a row a note: start and length in seconds, MIDI note, velocity, channel. Of it the
    seconds `from_s` to `to_s` are used. `beats_s` is empty where there is no pulse.
    """

    notes: Floats
    programs: dict[int, int]
    volumes: dict[int, int]
    beats_s: Floats
    is_down: Floats
    from_s: float
    to_s: float
    group: str
    piece: str
    metre: int
    fade_s: float = 0.0

    @property
    def has_drums(self) -> bool:
        """Whether anything is played on the drum channel."""
        return bool((self.notes[:, 4] == DRUM_CHANNEL).any())


def octaves_to_felt(beats_s: Floats) -> int:
    """Octaves from some beats of common time to those that are felt."""
    bar_s = 4 * float(np.median(np.diff(beats_s)))
    return round(np.log2(bar_s / FELT_BAR_S))


def at_octave(beats_s: Floats, is_down: Floats, octaves: int) -> tuple[Floats, Floats]:
    """Beats some octaves up or down, and which of them start a bar of four."""
    first = int(np.flatnonzero(is_down)[0]) if is_down.any() else 0
    numbers = np.arange(len(beats_s))
    if octaves >= 0:
        grid = np.arange(0, len(beats_s) - 1 + 1e-9, 1 / 2**octaves)
        steps = np.round((grid - first) * 2**octaves).astype(int)
        return np.interp(grid, numbers, beats_s), steps % 4 == 0
    apart = 2**-octaves
    kept = numbers[(numbers - first) % apart == 0]
    return beats_s[kept], ((kept - first) // apart) % 4 == 0


def own_song(seed: int, rng: np.random.Generator, *, soft: bool = False) -> MadeSong:
    """A chord loop, played by a band."""
    drums = bool(rng.random() < 0.5) and not soft
    is_soft = soft or (not drums and bool(rng.random() < 0.35))
    metre = int(rng.choice([4, 3, 2], p=[0.76, 0.13, 0.11]))
    by_three = metre == 4 and bool(rng.random() < 0.12)
    players = drawn_players(rng, metre=metre, by_three=by_three, drums=drums, soft=is_soft)
    low_bpm, high_bpm = OTHER_TEMPI_BPM.get(metre) or TEMPI_BPM[players.style]
    bpm = float(np.exp(rng.uniform(np.log(low_bpm), np.log(high_bpm))))
    n_bars = int(DRAWN_S * bpm / 60 / metre) + 2
    bars = _loop_bars(n_bars, metre, rng)
    numbers = np.arange(n_bars * metre + 1)
    beats_s = _drifting(len(numbers), 60 / bpm, rng) + rng.uniform(0.05, 0.6)
    is_swung = players.style == "swing" or (metre != 2 and not by_three and rng.random() < 0.1)
    swing = float(rng.uniform(0.54, 0.68)) if is_swung else 0.5
    notes = in_seconds(played(players, bars, rng), numbers, beats_s, swing=swing, rng=rng)
    song = MadeSong(
        notes=notes, programs=drawn_programs(players, rng), volumes=drawn_volumes(rng),
        beats_s=beats_s, is_down=numbers % metre == 0, from_s=0.0, to_s=float(beats_s[-1]),
        group="own, soft" if is_soft else "own", piece=f"own {seed}", metre=metre,
    )  # fmt: skip
    return as_edge(song, rng)


def _loop_bars(n_bars: int, metre: int, rng: np.random.Generator) -> list[list[Chord]]:
    """A loop of the ears benchmark from any of its chords on, a chord for half a bar to two."""
    loop = patterns.LOOPS[int(rng.integers(len(patterns.LOOPS)))]
    tonic, start = int(rng.integers(12)), int(rng.integers(len(loop.chords)))
    chords = [((tonic + root) % 12, tuple(intervals)) for root, intervals in loop.chords]
    rate = float(rng.choice([1.0, 2.0, 0.5], p=[0.65, 0.2, 0.15]))
    if rate < 1 and metre == 4:
        return [[(0.0, *chords[(start + 2 * bar) % len(chords)]),
                 (2.0, *chords[(start + 2 * bar + 1) % len(chords)])]
                for bar in range(n_bars)]  # fmt: skip
    return [[(0.0, *chords[int(start + bar // max(rate, 1.0)) % len(chords)])]
            for bar in range(n_bars)]  # fmt: skip


def _drifting(n_beats: int, beat_s: float, rng: np.random.Generator) -> Floats:
    """Times of beats that sway, wander, or slow down at the end; most keep the tempo."""
    ratios = np.ones(n_beats - 1)
    drawn = rng.random()
    if drawn < DRIFTS / 2:
        turns = rng.uniform(0.3, 1.2) * np.linspace(0, 1, n_beats - 1) + rng.random()
        ratios += rng.uniform(0.004, 0.02) * np.sin(2 * np.pi * turns)
    elif drawn < DRIFTS:
        ratios = np.clip(1 + 0.7 * np.cumsum(rng.normal(0, 0.004, n_beats - 1)), 0.88, 1.12)
    if rng.random() < 0.06:
        ratios[-6:] *= np.linspace(1.02, 1.3, 6)
    return np.concatenate([[0.0], np.cumsum(beat_s * ratios)])


def in_seconds(
    parts: list[Part], numbers: Floats, beats_s: Floats, *, swing: float, rng: np.random.Generator
) -> Floats:
    """Notes of some parts, swung and a little uneven."""
    notes = np.array(parts, dtype=np.float64).reshape(-1, 5)
    ends = notes[:, 0] + notes[:, 1]
    start_s, end_s = (np.interp(_swung(at, swing), numbers, beats_s) for at in (notes[:, 0], ends))
    human_s = float(rng.choice([0.0, 0.002, 0.005, 0.009]))
    uneven_s = rng.normal(0, human_s, len(notes)) * np.where(notes[:, 4] == DRUM_CHANNEL, 0.6, 1.5)
    notes[:, 0] = np.maximum(start_s + uneven_s, 0.01)
    notes[:, 1] = np.maximum(end_s - notes[:, 0], 0.04)
    notes[:, 3] = np.clip(notes[:, 3], 15, 127)
    return notes[np.argsort(notes[:, 0], kind="stable")]


def _swung(places: Floats, share: float) -> Floats:
    """Places in beats after the first half of each beat is stretched to `share`."""
    whole = np.floor(places)
    part = places - whole
    early, late = part * share / 0.5, share + (part - 0.5) * (1 - share) / 0.5
    return np.asarray(whole + np.where(part < 0.5, early, late))


def as_edge(song: MadeSong, rng: np.random.Generator) -> MadeSong:
    """The start of a song, its end (cut, stopped, rung out or faded), or something between."""
    last_s = float(song.beats_s[-1])
    drawn = rng.random()
    if drawn < 0.5:
        from_s = max(float(song.notes[0, 0]) - float(rng.choice([0.01, 0.1, 0.4])), 0.0)
        return replace(song, from_s=from_s, to_s=min(from_s + LENGTH_S, last_s))
    if drawn < 0.85:
        return _ended(song, rng)
    from_s = rng.uniform(0, max(last_s - LENGTH_S, 0.1))
    return replace(song, from_s=from_s, to_s=min(from_s + LENGTH_S, last_s))


def _ended(song: MadeSong, rng: np.random.Generator) -> MadeSong:
    end_s = float(song.beats_s[song.is_down][-1])
    notes = song.notes[song.notes[:, 0] < end_s - 0.04].copy()
    notes[:, 1] = np.minimum(notes[:, 1], np.maximum(end_s - notes[:, 0], 0.03))
    late = notes[(notes[:, 4] != DRUM_CHANNEL) & (notes[:, 0] > end_s - 4)]
    drawn, fade_s = rng.random(), 0.0
    if drawn < 0.4 and len(late):
        held_s = 0.15 if rng.random() < 0.3 else float(rng.uniform(1.5, 4))
        struck = [(end_s, held_s, midi, 100, channel)
                  for midi, channel in np.unique(late[:, [2, 4]], axis=0)[:7]]  # fmt: skip
        if song.has_drums:
            struck += [(end_s, 0.2, drum, 108, DRUM_CHANNEL)
                       for drum in (patterns.KICK, patterns.CRASH)]  # fmt: skip
        notes = np.concatenate([notes, np.array(struck)])
        to_s, kept = end_s + held_s + rng.uniform(0.5, 1.5), song.beats_s <= end_s + 0.01
    else:
        to_s, kept = end_s + rng.uniform(0, 0.3), song.beats_s < end_s - 0.01
        fade_s = float(rng.uniform(6, 12)) if drawn > 0.75 else 0.0
        kept &= song.beats_s < to_s - 0.2 * fade_s
    return replace(
        song, notes=notes, beats_s=song.beats_s[kept], is_down=song.is_down[kept], fade_s=fade_s,
        from_s=max(to_s - LENGTH_S, 0.0), to_s=to_s,
    )  # fmt: skip


def rock_song(song: dict[str, Any], rng: np.random.Generator) -> MadeSong | None:
    """A stretch of an analysed rock song in common time; None where there is none."""
    lines_s = np.array(song["bar_lines_s"]) * rng.uniform(0.93, 1.08)
    analysis = song["analyst_1"] if rng.random() < 0.5 else song["analyst_2"]
    bars_s = np.diff(lines_s)
    n_bars = min(len(analysis), len(bars_s))
    fits = [bool(analysis[n]["common_time"]) and 0.75 < bars_s[n] < 4.2 for n in range(n_bars)]
    wanted = int(DRAWN_S / float(np.median(bars_s))) + 1
    starts = [n for n in range(max(n_bars - wanted + 1, 1)) if all(fits[n : n + wanted])]
    if not starts or n_bars < 8:
        return None
    first = int(rng.choice([starts[0], starts[-1], int(rng.choice(starts))]))
    wanted = min(wanted, n_bars - first)
    within_s = lines_s[first : first + wanted + 1] - lines_s[first] + rng.uniform(0.05, 0.5)
    written_s = np.interp(np.arange(4 * wanted + 1) / 4, np.arange(wanted + 1), within_s)
    octaves = octaves_to_felt(written_s)
    beats_s, is_down = at_octave(written_s, np.arange(len(written_s)) % 4 == 0, octaves)
    turned = int(rng.integers(-5, 7))
    chords = _felt_bars(_written_chords(analysis[first : first + wanted], turned), octaves)
    players = drawn_players(rng, metre=4, by_three=bool(rng.random() < 0.15),
                            drums=bool(rng.random() < 0.55), soft=False)  # fmt: skip
    parts = played(replace(players, has_lead=False), chords, rng)
    parts += [
        (2.0**octaves * 4 * (bar - first + place), 0.45, 60 + (turned + above) % 24, 92.0, LEAD)
        for bar, place, above in song["melody"]
        if first <= bar < first + wanted
    ]
    made = MadeSong(
        notes=in_seconds(parts, np.arange(len(beats_s)), beats_s, swing=0.5, rng=rng),
        programs=drawn_programs(players, rng), volumes=drawn_volumes(rng), beats_s=beats_s,
        is_down=is_down, from_s=0.0, to_s=float(beats_s[-1]), group="rock",
        piece=f"rock{int(song['id'][-3:])}",
        metre=4,
    )  # fmt: skip
    return as_edge(made, rng)


def _written_chords(analysis: list[dict[str, Any]], turned: int) -> list[list[Chord]]:
    """Chords of each written bar in beats of four, each bar with one on its first beat."""
    bars: list[list[Chord]] = []
    sounding: Chord = (0.0, turned % 12, patterns.MAJ)
    for bar in analysis:
        chords: list[Chord] = [
            (round(24 * row[0]) / 6, (turned + bar["tonic"] + row[1]) % 12, tuple(row[2][:3]))
            for row in bar["chords"]
            if row[1] is not None
        ]
        if not chords or chords[0][0] > 0:
            chords = [(0.0, *sounding[1:]), *chords]
        sounding = chords[-1]
        bars.append(chords)
    return bars


def _felt_bars(bars: list[list[Chord]], octaves: int) -> list[list[Chord]]:
    """The chords of written bars, in bars at the octave that is felt."""
    if octaves == 0:
        return bars
    ratio = 2.0**octaves
    placed = [(4 * ratio * number + ratio * at, root, intervals)
              for number, bar in enumerate(bars) for at, root, intervals in bar]  # fmt: skip
    felt: list[list[Chord]] = []
    for start in np.arange(0, 4 * ratio * len(bars), 4.0):
        before = [chord for chord in placed if chord[0] <= start + 1e-6][-1]
        inside = [(at - start, root, kind) for at, root, kind in placed if start < at < start + 4]
        felt.append([(0.0, *before[1:]), *inside])
    return felt


def pop_song(song: dict[str, Any], rng: np.random.Generator) -> MadeSong | None:
    """A stretch of a pop song as it was played; None where too little is.

    `song` has `notes` (rows as of a made song, the channel 0 for the melody, 1 for what answers
    it, 2 for the piano), `beats_s`, `is_down` by twos and `is_down_4` by fours, `metre`, `piece`.
    """
    slower = rng.uniform(0.9, 1.12)
    beats_s, last_s = song["beats_s"] * slower, float(song["beats_s"][-1]) * slower
    latest_s = max(last_s - DRAWN_S, 0.0)
    start_s = float(rng.choice([0.0, latest_s, rng.uniform(0, latest_s + 0.1)]))
    inside = (beats_s >= start_s - 0.05) & (beats_s <= start_s + DRAWN_S + 0.5)
    octaves = octaves_to_felt(beats_s) if song["metre"] == 4 else 0
    is_down = song["is_down" if octaves > 0 or song["metre"] == 3 else "is_down_4"][inside]
    if inside.sum() < 10 or not is_down.any():
        return None
    lead_s = 0.2 - start_s if start_s > 0 else 0.0
    within_s = beats_s[inside] + lead_s
    if song["metre"] == 4:
        within_s, is_down = at_octave(within_s, is_down, octaves)
    notes = song["notes"].copy()
    notes[:, :2] *= slower
    notes = notes[(notes[:, 0] >= start_s - 0.06) & (notes[:, 0] < start_s + DRAWN_S)]
    notes[:, 0] = np.maximum(notes[:, 0] + lead_s, 0.01)
    notes[:, 2] = np.clip(notes[:, 2] + rng.integers(-6, 7), 21, 108)
    if len(notes) < 15 or is_down.sum() < 3:
        return None
    keys = (0, 0, 0, 0, 1, 4, 5, 24, 25, 46, 48)
    rows = (SOFT, SOFT, SOFT) if rng.random() < 0.15 else ((*LEADS, 0, 0, 0), STRUCK, keys)
    made = MadeSong(
        notes=notes, programs={channel: int(rng.choice(row)) for channel, row in enumerate(rows)},
        volumes={channel: int(rng.integers(60, 112)) for channel in range(3)}, beats_s=within_s,
        is_down=is_down, from_s=0.0, to_s=float(within_s[-1]), group="pop", piece=song["piece"],
        metre=song["metre"],
    )  # fmt: skip
    if song["metre"] == 4 and rng.random() < 0.28:
        made = _with_drums(made, rng)
    return as_edge(made, rng)


def _with_drums(song: MadeSong, rng: np.random.Generator) -> MadeSong:
    """The song with a drummer who counts its beats."""
    players = replace(
        drawn_players(rng, metre=4, by_three=False, drums=True, soft=False), style="back beat",
        has_bass=False, has_chords=False, has_more_chords=False, has_pad=False, has_lead=False,
    )  # fmt: skip
    first = int(np.flatnonzero(song.is_down)[0])
    n_bars = (len(song.beats_s) - 1 - first) // 4
    parts = [(first + at, *rest) for at, *rest in played(players, [[]] * n_bars, rng)]
    hits = in_seconds(parts, np.arange(len(song.beats_s)), song.beats_s, swing=0.5, rng=rng)
    notes = np.concatenate([song.notes, hits])
    return replace(
        song, notes=notes[np.argsort(notes[:, 0], kind="stable")],
        programs=song.programs | {DRUM_CHANNEL: 0},
        volumes=song.volumes | {DRUM_CHANNEL: int(rng.integers(70, 122))},
    )  # fmt: skip


def free_song(seed: int, rng: np.random.Generator) -> MadeSong:
    """Chords held at will, with or without a wandering melody: nothing to count."""
    tonic, is_rolled = int(rng.integers(12)), rng.random() < 0.5
    loop = patterns.LOOPS[int(rng.integers(len(patterns.LOOPS)))]
    rows: list[tuple[float, float, float, float, int]] = []
    at_s, number = 0.3, 0
    while at_s < LENGTH_S + 1:
        root, intervals = loop.chords[number % len(loop.chords)]
        held_s = float(np.exp(rng.normal(0.6, 0.5)) if is_rolled else rng.uniform(2, 7))
        for voice, interval in enumerate(intervals):
            midi = 53 + (tonic + root + interval - 53) % 12
            rows.append((at_s + voice * rng.uniform(0, 0.15), held_s, midi, 70.0, CHORDS))
        if rng.random() < 0.6:
            rows.append((at_s, held_s, 36 + (tonic + root) % 12, 80.0, BASS))
        wander_s = np.cumsum(0.08 + rng.exponential(0.5, 40)) if is_rolled else np.empty(0)
        rows += [(at_s + float(s), rng.uniform(0.1, 1.2),
                  60 + tonic + int(rng.choice(loop.scale)), 75.0, LEAD)
                 for s in wander_s[wander_s < held_s]]  # fmt: skip
        at_s, number = at_s + held_s, number + 1
    soft = (SOFT, SOFT) if not is_rolled or rng.random() < 0.4 else (STRUCK, LEADS)
    return MadeSong(
        notes=np.array(sorted(rows)), metre=0, group="free", piece=f"free {seed}",
        programs={BASS: int(rng.choice((42, 89, 48, 32))), CHORDS: int(rng.choice(soft[0])),
                  LEAD: int(rng.choice(soft[1]))},
        volumes=dict.fromkeys((BASS, CHORDS, LEAD), 90), beats_s=np.empty(0),
        is_down=np.empty(0, dtype=bool), from_s=0.0, to_s=LENGTH_S,
    )  # fmt: skip
