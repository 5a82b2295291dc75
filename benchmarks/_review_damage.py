"""Takes with one thing wrong, each at three strengths, and takes with nothing wrong.

The band plays the plan again from the demo songs' own stems, its beats wandering by some
milliseconds and its parts at levels of their own. What is wrong is made where it would come
from: in the tempo that is played, in a stem, in the sound of the band, or in what the recorder
does. The truth is kept beside the sound, in the seconds and bars of the plan.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from benchmarks._review_takes import moved_tempo, wandering
from segue.audio import read_song
from segue.audio.clip import Clip, SongEdge, Stem
from segue.plan.plan import Plan
from segue.render.render import render_candidate
from segue.runfolder import CandidateRecord, RunDocument

Audio = npt.NDArray[np.float32]
Floats = npt.NDArray[np.float64]

RATE_HZ: Final = 24_000
_EDGE_S: Final = 45.0
_WANDER_MS: Final = 3.0  # of a band that plays to a click
_FADE_S: Final = 0.004  # of a sound that is cut off
NO_STEMS: Final = "rest, no stems"
"""One part rests, and the review does not find the stems of the songs."""
STRENGTHS: Final = {
    "another option": (0.0, 1.0, 2.0),  # recorded by the desk, in a room, by a phone
    "no singer": (60.0, 30.0, 22.0),  # dB below the singer of the plan
    "dropouts": (0.1, 0.3, 0.8),  # seconds
    "one part rests": (1.0, 2.0, 3.0),  # bars
    NO_STEMS: (1.0, 2.0, 3.0),  # bars
    "second try late": (0.5, 1.0, 2.0),  # beats
    "slower": (0.7, 1.0, 2.0),  # per cent
    "late once": (45.0, 60.0, 90.0),  # ms
    "automatic gain": (2.0, 4.0, 10.0),  # to one
    "starts within": (3.0, 5.0, 8.0),  # seconds
    "singer late": (70.0, 120.0, 200.0),  # ms
    "singer flat": (40.0, 70.0, 100.0),  # cents
}
"""What is done to a take, and how much."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Damage:
    """What is wrong with a take; `kind` is empty where nothing is.

    `bar` is where it is first to be told; `size` is in the unit of its strength.
    """

    kind: str = ""
    strength: float = 0.0
    bar: int | None = None
    size: float | None = None
    places: tuple[tuple[float, float], ...] = ()
    expected_bpm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Playing:
    """How a plan is played: seconds late at each beat, and what is done to the stems."""

    late_s: Floats
    outgoing: SongEdge
    incoming: SongEdge


@dataclass(frozen=True, slots=True, kw_only=True)
class Sounding:
    """What the band played, before it is recorded."""

    samples: Audio
    damage: Damage
    rank: int


class Stage:
    """A run folder's songs, read once, and the takes that are played from them.

    Each option is played once by a band that does nothing wrong; `seed` says which evening.
    """

    def __init__(self, document: RunDocument, *, seed: int) -> None:
        self.document, self._seed = document, seed
        self._plain: dict[int, Audio] = {}
        self.outgoing = read_song(
            document.outgoing.file, edge="end", edge_s=_EDGE_S, rate_hz=RATE_HZ
        )
        self.incoming = read_song(
            document.incoming.file, edge="start", edge_s=_EDGE_S, rate_hz=RATE_HZ
        )

    def playing(self, record: CandidateRecord, rng: np.random.Generator) -> Playing:
        """A band that is well rehearsed."""
        n_beats = int(record.plan.end_beat) + 1
        return Playing(
            late_s=wandering(n_beats, record.plan, rng, wander_ms=_WANDER_MS, drift_ms=0.0),
            outgoing=_at_own_levels(self.outgoing, rng),
            incoming=_at_own_levels(self.incoming, rng),
        )

    def plain(self, record: CandidateRecord) -> Audio:
        """An option as a well rehearsed band plays it."""
        if record.rank not in self._plain:
            rng = np.random.default_rng([22, self._seed, record.rank])
            self._plain[record.rank] = sounding(record, self.playing(record, rng))
        return self._plain[record.rank]

    def damaged(self, rank: int, kind: str, strength: float, rng: np.random.Generator) -> Sounding:
        """A take with one thing wrong."""
        record = next(r for r in self.document.candidates if r.rank == rank)
        make = _MADE.get(kind, _plain)
        return make(self, record, strength, rng)


def sounding(record: CandidateRecord, playing: Playing) -> Audio:
    """The plan's music as it is played."""
    plan = replace(record.plan, tempo=moved_tempo(record.plan.tempo, playing.late_s))
    music = render_candidate(plan, playing.outgoing, playing.incoming).music
    return np.asarray(music.samples, dtype=np.float32)


def _at_own_levels(edge: SongEdge, rng: np.random.Generator) -> SongEdge:
    stems = tuple(
        _with(stem, np.asarray(stem.clip.samples) * 10 ** (rng.uniform(-1.5, 1.5) / 20))
        for stem in edge.stems
    )
    return replace(edge, stems=stems)


def _with(stem: Stem, samples: npt.NDArray[np.floating]) -> Stem:
    clip = replace(stem.clip, samples=np.asarray(samples, dtype=np.float32))
    return replace(stem, clip=clip)


def _changed(edge: SongEdge, name: str, change: Callable[[Clip], Floats]) -> SongEdge:
    """An edge with one stem changed."""
    return replace(
        edge,
        stems=tuple(
            _with(stem, change(stem.clip)) if stem.file.rpartition(".")[0] == name else stem
            for stem in edge.stems
        ),
    )


def _plain(
    stage: Stage, record: CandidateRecord, _strength: float, _rng: np.random.Generator
) -> Sounding:
    return Sounding(samples=stage.plain(record), damage=Damage(), rank=record.rank)


def _another_option(
    stage: Stage, record: CandidateRecord, strength: float, rng: np.random.Generator
) -> Sounding:
    others = [r for r in stage.document.candidates if r.rank != record.rank]
    other = others[int(rng.integers(len(others)))]
    made = _plain(stage, other, strength, rng)
    return replace(
        made,
        damage=Damage(kind="another option", strength=strength, size=other.rank),
        rank=record.rank,
    )


def _no_singer(
    stage: Stage, record: CandidateRecord, strength: float, rng: np.random.Generator
) -> Sounding:
    playing = stage.playing(record, rng)
    soft = 10 ** (-strength / 20)
    incoming = _changed(playing.incoming, "lead", lambda clip: clip.samples * np.float64(soft))
    bar = bar_at(record.plan, record.singer_s or 0.0)
    return Sounding(
        samples=sounding(record, replace(playing, incoming=incoming)),
        damage=Damage(kind="no singer", strength=strength, bar=bar),
        rank=record.rank,
    )


def _singer_late(
    stage: Stage, record: CandidateRecord, strength: float, rng: np.random.Generator
) -> Sounding:
    n_late = round(strength / 1000 * RATE_HZ)

    def later(clip: Clip) -> Floats:
        sound = np.zeros(clip.samples.shape)
        sound[n_late:] = clip.samples[: len(sound) - n_late]
        return sound

    damage = Damage(kind="singer late", strength=strength, size=strength)
    return _sung(record, stage.playing(record, rng), later, damage)


def _singer_flat(
    stage: Stage, record: CandidateRecord, strength: float, rng: np.random.Generator
) -> Sounding:
    from pedalboard import time_stretch

    def flat(clip: Clip) -> Floats:
        moved = time_stretch(
            np.ascontiguousarray(clip.samples.T), clip.rate_hz, 1.0, -strength / 100
        ).T
        sound = np.zeros(clip.samples.shape)
        n_frames = min(len(moved), len(sound))
        sound[:n_frames] = moved[:n_frames]
        return sound

    damage = Damage(kind="singer flat", strength=strength, size=-strength)
    return _sung(record, stage.playing(record, rng), flat, damage)


def _sung(
    record: CandidateRecord, playing: Playing, sing: Callable[[Clip], Floats], damage: Damage
) -> Sounding:
    """The new song's singer as damaged, told in the bar of the entry."""
    incoming = _changed(playing.incoming, "lead", sing)
    return Sounding(
        samples=sounding(record, replace(playing, incoming=incoming)),
        damage=replace(damage, bar=bar_at(record.plan, record.singer_s or 0.0)),
        rank=record.rank,
    )


def _dropouts(
    stage: Stage, record: CandidateRecord, strength: float, rng: np.random.Generator
) -> Sounding:
    """Three, where the plan is loud before and after: a gap in a pause is none."""
    made = _plain(stage, record, strength, rng)
    sound = np.asarray(made.samples, dtype=np.float64).copy()
    places = sorted(_loud_places(sound, strength, rng))
    fade = round(_FADE_S * RATE_HZ)
    for start_s, length_s in places:
        first, last = round(start_s * RATE_HZ), round((start_s + length_s) * RATE_HZ)
        gain = np.ones(len(sound))
        gain[first:last] = 0.0
        gain = np.convolve(gain, np.hanning(fade) / np.hanning(fade).sum(), mode="same")
        sound *= gain[:, None]
    return Sounding(
        samples=sound.astype(np.float32),
        damage=Damage(
            kind="dropouts",
            strength=strength,
            size=strength,
            places=tuple(places),
            bar=bar_at(record.plan, places[0][0]),
        ),
        rank=record.rank,
    )


def _loud_places(
    sound: Floats, length_s: float, rng: np.random.Generator
) -> list[tuple[float, float]]:
    block = round(0.1 * RATE_HZ)
    level = np.square(sound[: len(sound) // block * block]).mean(axis=1).reshape(-1, block).mean(1)
    loud = level > 0.35 * np.median(level)
    n_needed = int(np.ceil(length_s / 0.1)) + 4
    fits = np.array(
        [loud[n : n + n_needed].all() for n in range(max(len(loud) - n_needed, 0))], dtype=bool
    )
    starts = [n for n in np.flatnonzero(fits) if 10 < n < len(loud) - n_needed - 10]
    places: list[tuple[float, float]] = []
    for _ in range(500):
        start_s = (float(rng.choice(starts)) + 2 + rng.random()) * 0.1
        if all(abs(start_s - other) > 3.0 + length_s for other, _ in places):
            places.append((start_s, length_s))
        if len(places) == 3:
            break
    return places


def _one_part_rests(
    stage: Stage, record: CandidateRecord, strength: float, rng: np.random.Generator
) -> Sounding:
    """The drums, or the bass, leave out some bars of the old song."""
    playing = stage.playing(record, rng)
    name = ("drums", "bass")[int(rng.integers(2))]
    bars = [b for b in record.plan.bar_lines if b.section == "outgoing"]
    first = bars[max(len(bars) - 2 - int(strength), 0)]
    span = [record.plan.seconds_at(first.beat + n) for n in (0, strength * first.metre)]
    whole = sounding(record, playing)
    without = sounding(
        record,
        replace(
            playing, outgoing=_changed(playing.outgoing, name, lambda clip: 0.0 * clip.samples)
        ),
    )
    at_s = np.arange(len(whole)) / RATE_HZ
    fade = np.clip((at_s - span[0] + 0.02) / 0.02, 0, 1) * np.clip((span[1] - at_s) / 0.02, 0, 1)
    mixed = whole * (1 - fade[:, None]) + without * fade[:, None]
    return Sounding(
        samples=mixed.astype(np.float32),
        damage=Damage(kind="one part rests", strength=strength, bar=first.number, size=strength),
        rank=record.rank,
    )


def _slower(
    stage: Stage, record: CandidateRecord, strength: float, rng: np.random.Generator
) -> Sounding:
    """From the new song's bar one on, by some per cent."""
    playing = stage.playing(record, rng)
    plan = record.plan
    at_s = np.array([plan.seconds_at(beat) for beat in range(len(playing.late_s))])
    share = strength / 100 / (1 - strength / 100)
    late_s = playing.late_s + share * np.maximum(at_s - record.entry_s, 0.0)
    return Sounding(
        samples=sounding(record, replace(playing, late_s=late_s)),
        damage=Damage(
            kind="slower",
            strength=strength,
            bar=bar_at(plan, record.entry_s),
            expected_bpm=plan.tempo.bpm_at(plan.entry_beat + 4) * (1 - strength / 100),
        ),
        rank=record.rank,
    )


def _late_once(
    stage: Stage, record: CandidateRecord, strength: float, rng: np.random.Generator
) -> Sounding:
    """One bar, of any section, between bars in time."""
    playing = stage.playing(record, rng)
    lines = record.plan.bar_lines[2:-2]
    line = lines[int(rng.integers(len(lines)))]
    late_s = playing.late_s.copy()
    first = round(line.beat)
    late_s[first : first + line.metre] += strength / 1000
    return Sounding(
        samples=sounding(record, replace(playing, late_s=late_s)),
        damage=Damage(kind="late once", strength=strength, bar=line.number, size=strength),
        rank=record.rank,
    )


def _late_from(
    stage: Stage, record: CandidateRecord, strength: float, rng: np.random.Generator
) -> Sounding:
    """Two tries with talk between; in the second all comes some beats late from a bar on."""
    good = _plain(stage, record, strength, rng).samples
    playing = stage.playing(record, rng)
    lines = list(record.plan.bar_lines[3:-4])
    line = lines[int(rng.integers(len(lines)))]
    first = round(line.beat)
    beat_s = record.plan.seconds_at(first) - record.plan.seconds_at(first - 1)
    late_s = playing.late_s.copy()
    late_s[first:] += strength * beat_s
    bad = sounding(record, replace(playing, late_s=late_s))
    gap = np.zeros((round(rng.uniform(6, 12) * RATE_HZ), good.shape[1]), dtype=np.float32)
    return Sounding(
        samples=np.concatenate([good, gap, bad]),
        damage=Damage(
            kind="second try late",
            strength=strength,
            bar=line.number,
            size=1000 * strength * beat_s,
            places=((0.0, len(good) / RATE_HZ), ((len(good) + len(gap)) / RATE_HZ, 0.0)),
        ),
        rank=record.rank,
    )


def _of_the_recorder(kind: str) -> Callable[..., Sounding]:
    def made(
        stage: Stage, record: CandidateRecord, strength: float, rng: np.random.Generator
    ) -> Sounding:
        plain = _plain(stage, record, strength, rng)
        bar = None
        if kind == "starts within":
            starts = [
                b.number for b in record.plan.bar_lines if record.plan.seconds_at(b.beat) < strength
            ]
            bar = starts[-1]
        return replace(plain, damage=Damage(kind=kind, strength=strength, bar=bar))

    return made


_MADE: Final = {
    "another option": _another_option,
    "no singer": _no_singer,
    "dropouts": _dropouts,
    "one part rests": _one_part_rests,
    NO_STEMS: _one_part_rests,
    "second try late": _late_from,
    "slower": _slower,
    "late once": _late_once,
    "automatic gain": _of_the_recorder("automatic gain"),
    "starts within": _of_the_recorder("starts within"),
    "singer late": _singer_late,
    "singer flat": _singer_flat,
}


def bar_at(plan: Plan, at_s: float) -> int:
    """Number of the bar that a time of the plan is in."""
    return max(b.number for b in plan.bar_lines if plan.seconds_at(b.beat) <= at_s + 1e-3)
