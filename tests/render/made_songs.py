"""Short songs made on the spot, as files: where every hit lies is known to the frame."""

from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
import soundfile

from segue.analysis.facts import (
    EdgeFacts,
    Ending,
    EndingKind,
    FirstNote,
    KeyFact,
    LevelFact,
    Opening,
    OpeningKind,
    PulseFact,
)
from segue.audio.clip import Edge, SongEdge
from segue.audio.loudness import integrated_lufs
from segue.audio.read import read_song
from segue.audio.true_peak import true_peak_dbtp
from segue.music.key import parse_key

Sound = npt.NDArray[np.float64]
Part = Literal["drums", "bass", "keys", "lead"]
PARTS: Final[tuple[Part, ...]] = ("drums", "bass", "keys", "lead")
HIT_S: Final = 0.04
_BEFORE_S: Final = 1.0
"""Of the end of a song, this much comes before what is read."""
_FIRST_SOUND_S: Final = 0.3
_PARTIALS: Final = (1.0, 0.4)
_POINTERS: Final = 512


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """What a song is to be.

    Parameters
    ----------
    edge : {'end', 'start'}
    bpm, metre, n_bars
        Of the part that is read.
    kind : EndingKind or OpeningKind
    key : str
    n_channels : {1, 2}
    has_stems : bool
    parts : tuple of str
        What plays.
    kick_hz : float
        Pitch of the kick; 0 for none.
    seed : int
        Of the noise that the hits are made of.
    """

    edge: Edge
    bpm: float
    metre: int
    n_bars: int
    kind: EndingKind | OpeningKind
    key: str = "C major"
    n_channels: int = 2
    has_stems: bool = False
    parts: tuple[Part, ...] = PARTS
    kick_hz: float = 60.0
    seed: int = 1

    @property
    def beat_s(self) -> float:
        """Length of a beat."""
        return 60.0 / self.bpm

    @property
    def first_beat_s(self) -> float:
        """The first beat of the pulse, which is a bar line."""
        if self.edge == "end":
            return _BEFORE_S + 0.2
        before = {"on the beat": 0.0, "pick-up": 1.0, "free intro": 1.37}[self.kind]
        return _FIRST_SOUND_S + before * self.beat_s

    @property
    def beats_s(self) -> tuple[float, ...]:
        """All beats of the pulse, the last a bar line."""
        n_beats = self.n_bars * self.metre + 1
        return tuple(self.first_beat_s + n * self.beat_s for n in range(n_beats))

    @property
    def hits_s(self) -> tuple[float, ...]:
        """Where the band hits: on every beat, and on a pick-up before them."""
        early = (_FIRST_SOUND_S,) if self.kind == "pick-up" else ()
        late = -1 if self.kind == "keeps going" or self.edge == "start" else None
        return early + self.beats_s[:late]

    @property
    def length_s(self) -> float:
        """Of the file."""
        rest_beats = {"ring-out": 1.5 * self.metre, "cold stop": 1.0}.get(self.kind, 0.1)
        return max(self.beats_s[-1] + rest_beats * self.beat_s, 2.1 + _BEFORE_S)


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeSong:
    """A song as it was read from its files, and the truth about it."""

    score: Score
    edge: SongEdge
    facts: EdgeFacts


def made_song(score: Score, rate_hz: int, folder: Path) -> MadeSong:
    """Write a song's files and read them as any user's.

    Parameters
    ----------
    score : Score
    rate_hz : int
        Of the files and of what is read.
    folder : Path
        Gets the file or the stems.
    """
    parts = {part: _part(part, score, rate_hz) for part in score.parts}
    if score.has_stems:
        path = folder / f"{score.edge} stems"
        path.mkdir()
        for part, sound in parts.items():
            soundfile.write(path / f"{part}.wav", sound, rate_hz, subtype="FLOAT")
    else:
        path = folder / f"{score.edge}.wav"
        soundfile.write(path, sum(parts.values()), rate_hz, subtype="FLOAT")
    edge_s = score.length_s - (_BEFORE_S if score.edge == "end" else 0.0)
    edge = read_song(path, edge=score.edge, edge_s=edge_s, rate_hz=rate_hz)
    return MadeSong(score=score, edge=edge, facts=_facts(score, edge))


def hit_sound(score: Score, rate_hz: int) -> Sound:
    """The noise of one hit, as it stands on every beat, shape (n_frames,)."""
    n_frames = round(HIT_S * rate_hz)
    noise = np.random.default_rng(score.seed).standard_normal(n_frames)
    hit: Sound = 0.2 * noise * np.exp(-np.arange(n_frames) / (0.006 * rate_hz))
    return hit


def _part(part: Part, score: Score, rate_hz: int) -> Sound:
    """Sound of one part, shape (n_frames, n_channels)."""
    n_frames = round(score.length_s * rate_hz)
    time_s = np.arange(n_frames) / rate_hz
    tonic = parse_key(score.key).tonic
    third = 3 if "minor" in score.key else 4
    if part == "drums":
        mono = _drums(score, rate_hz, n_frames)
        sound = np.stack([mono] * score.n_channels, axis=1)
    elif part == "bass":
        mono = _tone(time_s, 36 + tonic, 0.1)
        sound = np.stack([mono] * score.n_channels, axis=1)
    else:
        tones = [57 + tonic + step for step in (0, third, 7)] if part == "keys" else [69 + tonic]
        loud = 0.03 if part == "keys" else 0.04
        sound = np.stack(
            [
                sum((_tone(time_s, midi, loud, phase=1.7 * side * midi) for midi in tones), 0.0)
                for side in range(score.n_channels)
            ],
            axis=1,
        )
    return sound * _envelope(score, part, time_s, rate_hz)[:, None]


def _drums(score: Score, rate_hz: int, n_frames: int) -> Sound:
    sound = np.zeros(n_frames + rate_hz)
    hit = hit_sound(score, rate_hz)
    boom_s = np.arange(round(0.12 * rate_hz)) / rate_hz
    boom = 0.3 * np.sin(2 * np.pi * score.kick_hz * boom_s) * np.exp(-boom_s / 0.04)
    for second in score.hits_s:
        first = round(second * rate_hz)
        sound[first : first + len(hit)] += hit
        sound[first : first + len(boom)] += boom
    return sound[:n_frames]


def _tone(time_s: Sound, midi: float, level: float, *, phase: float = 0.0) -> Sound:
    """Steady partials, by turning pointers: far quicker than a sine for every frame."""
    n_frames, step_s = len(time_s), time_s[1]
    tone = np.zeros(n_frames)
    for n, share in enumerate(_PARTIALS, start=1):
        turn = 2j * np.pi * 440.0 * 2 ** ((midi - 69) / 12) * n * step_s
        fine = np.exp(turn * np.arange(_POINTERS) + 1j * phase * n)
        coarse = np.exp(turn * _POINTERS * np.arange(-(-n_frames // _POINTERS)))
        tone += level * share * np.outer(coarse, fine).imag.ravel()[:n_frames]
    return tone


def _envelope(score: Score, part: Part, time_s: Sound, rate_hz: int) -> Sound:
    """When a part sounds and how loud: drums by their hits alone but for a fade."""
    last_s = score.beats_s[-1]
    if score.edge == "start":
        start_s = _FIRST_SOUND_S if part != "lead" else score.first_beat_s
        return np.clip((time_s - start_s) * rate_hz / (0.002 * rate_hz), 0.0, 1.0)
    match score.kind:
        case "fade":
            fall = (time_s - _fade_start_s(score)) / (2 * score.metre * score.beat_s)
            return np.asarray(10 ** (-30 * np.clip(fall, 0, None) / 20))
        case "cold stop":
            return np.ones(len(time_s)) if part == "drums" else _decay(time_s, last_s, 0.03)
        case "ring-out":
            ring_s = score.metre * score.beat_s / 4
            return np.ones(len(time_s)) if part == "drums" else _decay(time_s, last_s, ring_s)
        case _:
            return np.ones(len(time_s))


def _fade_start_s(score: Score) -> float:
    return score.beats_s[-1] - 2 * score.metre * score.beat_s


def _decay(time_s: Sound, from_s: float, by_s: float) -> Sound:
    return np.asarray(np.exp(-np.clip(time_s - from_s, 0.0, None) / by_s))


def _facts(score: Score, edge: SongEdge) -> EdgeFacts:
    """What a perfect ear would hear."""
    beats_s = score.beats_s
    mix = edge.mix
    pulse = PulseFact(
        tempo_bpm=score.bpm,
        tempo_alternatives_bpm=(score.bpm / 2, score.bpm * 2),
        beats_s=beats_s,
        downbeats_s=beats_s[:: score.metre],
        metre=score.metre,
        confidence=0.95,
        downbeat_confidence=0.95,
        residual_ms=0.1,
    )
    return EdgeFacts(
        file=str(edge.path),
        title=f"Made {score.edge}",
        edge=score.edge,
        duration_s=edge.duration_s,
        edge_start_s=edge.start_s,
        edge_end_s=edge.end_s,
        key=KeyFact(key=parse_key(score.key), confidence=0.9),
        tuning_cents=0.0,
        pulse=pulse,
        level=LevelFact(loudness_lufs=integrated_lufs(mix), true_peak_dbtp=true_peak_dbtp(mix)),
        ending=_ending(score, edge) if score.edge == "end" else None,
        opening=_opening(score) if score.edge == "start" else None,
        first_note=FirstNote(midi=69.0, time_s=score.first_beat_s)
        if score.edge == "start" and "lead" in score.parts
        else None,
    )


def _ending(score: Score, edge: SongEdge) -> Ending:
    rings_s = {"cold stop": 7 * 0.03, "ring-out": 7 * score.metre * score.beat_s / 4}
    return Ending(
        kind=score.kind,
        confidence=0.9,
        last_hit_s=score.hits_s[-1],
        sound_end_s=min(edge.end_s, score.hits_s[-1] + rings_s.get(score.kind, np.inf)),
        fade_start_s=_fade_start_s(score) if score.kind == "fade" else None,
    )


def _opening(score: Score) -> Opening:
    return Opening(
        kind=score.kind,
        confidence=0.9,
        sound_start_s=_FIRST_SOUND_S,
        first_downbeat_s=score.first_beat_s,
        pickup_beats=1.0 if score.kind == "pick-up" else 0.0,
    )
