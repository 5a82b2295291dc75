"""Songs and plans built by hand, with known truth."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from segue.audio.clip import Clip, Role, SongEdge, Stem
from segue.music.key import Key
from segue.music.tempo import TempoCurve, TempoSpan
from segue.plan.layer import Curve, CurvePoint, MapPoint, PadLayer, SongLayer, Voicing
from segue.plan.plan import ClickHit, CueNote, Plan

RATE_HZ = 48_000
OLD_BPM, NEW_BPM = 120.0, 100.0


def curve(*points: tuple[float, float]) -> Curve:
    return tuple(CurvePoint(beat=beat, value=value) for beat, value in points)


def song(
    samples: np.ndarray, *, rate_hz: int = RATE_HZ, start_s: float = 0.0, role: Role = "mix"
) -> SongEdge:
    clip = Clip(samples=samples.astype(np.float32), rate_hz=rate_hz, start_s=start_s)
    stem = Stem(role=role, file="song.wav", clip=clip)
    return SongEdge(
        path=Path("song.wav"), title="Song", edge="end", stems=(stem,), duration_s=clip.end_s
    )


def music(length_s: float, bpm: float, *, rate_hz: int = RATE_HZ, seed: int = 1) -> np.ndarray:
    """Noise hits on every beat over a wide chord: something with attacks and tones."""
    generator = np.random.default_rng(seed)
    n_frames = round(length_s * rate_hz)
    time_s = np.arange(n_frames)[:, None] / rate_hz
    sound = np.zeros((n_frames, 2))
    for number, hertz in enumerate((110.0, 220.0, 277.2, 329.6, 440.0)):
        sound += 0.05 * np.sin(2 * np.pi * hertz * time_s + np.array([[0.0, 0.5 + number]]))
    hit = np.exp(-np.arange(round(0.1 * rate_hz)) / (0.02 * rate_hz))
    for beat in np.arange(0, length_s - 0.2, 60 / bpm):
        first = round(beat * rate_hz)
        noise = generator.standard_normal((len(hit), 2))
        sound[first : first + len(hit)] += 0.2 * hit[:, None] * noise
    return sound


def key_frames(
    first: int, last: int, bpm: float, *, at_first_s: float = 1.0
) -> tuple[MapPoint, ...]:
    return tuple(
        MapPoint(beat=float(beat), source_s=at_first_s + (beat - first) * 60 / bpm)
        for beat in range(first, last + 1)
    )


@pytest.fixture(scope="session")
def outgoing() -> SongEdge:
    return song(music(14.0, OLD_BPM))


@pytest.fixture(scope="session")
def incoming() -> SongEdge:
    return song(music(14.0, NEW_BPM, seed=2))


def plan_by_hand() -> Plan:
    """Four beats of the old song, eight down to the new tempo with a pad, eight of the new one."""
    tempo = TempoCurve(
        spans=(
            TempoSpan(n_beats=4, start_bpm=OLD_BPM, end_bpm=OLD_BPM),
            TempoSpan(n_beats=8, start_bpm=OLD_BPM, end_bpm=NEW_BPM, law="linear"),
            TempoSpan(n_beats=8, start_bpm=NEW_BPM, end_bpm=NEW_BPM),
        )
    )
    pad = PadLayer(
        name="pad",
        voicings=(
            Voicing(start_beat=4, end_beat=8, notes_midi=(45, 57, 60, 64), symbol="Am"),
            Voicing(start_beat=8, end_beat=14, notes_midi=(43, 57, 59, 62), symbol="G"),
        ),
        gain_db=curve((4, -12), (12, -12), (14, -60)),
    )
    return Plan(
        recipe="by hand",
        family="test",
        why="It suits the test.",
        tempo=tempo,
        lead_in_s=0.1,
        exit_beat=4,
        entry_beat=12,
        end_beat=20,
        singer_beat=None,
        key_from=Key(tonic=9, mode="minor"),
        key_to=Key(tonic=7, mode="major"),
        tempo_octave=1,
        bar_lines=(),
        layers=(
            SongLayer(
                name="old",
                song="outgoing",
                start_beat=0,
                end_beat=12,
                time_map=key_frames(0, 12, OLD_BPM),
                gain_db=curve((4, 0), (11, -20), (12, -60)),
            ),
            pad,
            SongLayer(
                name="new",
                song="incoming",
                start_beat=12,
                end_beat=20,
                time_map=key_frames(12, 20, NEW_BPM, at_first_s=0.6),
            ),
        ),
        click=tuple(
            ClickHit(beat=float(beat), kind="beat" if beat % 4 else "bar") for beat in range(20)
        ),
        cue=(CueNote(start_beat=8, end_beat=10, midi=67.0),),
        target_lufs=-16.0,
        outgoing_gain_db=0.0,
        incoming_gain_db=0.0,
        key_from_tuning_cents=0.0,
        key_to_tuning_cents=0.0,
        seed=7,
    )


@pytest.fixture(scope="session")
def plan() -> Plan:
    """A plan with a pad between two songs."""
    return plan_by_hand()


@pytest.fixture(scope="session")
def with_layers(plan: Plan) -> Callable[..., Plan]:
    """The plan with other layers."""

    def replaced(*layers: SongLayer | PadLayer, **changes: object) -> Plan:
        return replace(plan, layers=layers, **changes)

    return replaced
