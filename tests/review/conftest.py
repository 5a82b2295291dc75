"""A small run folder whose band is synthesised on its plan, and takes of it with known truth."""

from dataclasses import dataclass, field

import numpy as np
import pytest
import soxr

from segue.audio.clip import Clip
from segue.audio.write import write_wav24
from segue.plan import plan_segue
from segue.review import ReviewRequest, review_take
from segue.runfolder import RunDocument, document_text
from segue.runfolder.run_document import DOCUMENT_NAME
from tests.plan.song_facts import end_facts, start_facts
from tests.runfolder.records import card_of, record_of

RATE_HZ = 24_000
FIRST_NOTE_MIDI = 65.0
CHORDS = ((57, 60, 64), (53, 57, 60), (48, 52, 55), (55, 59, 62), (50, 53, 57), (52, 56, 59))


@dataclass(frozen=True, kw_only=True)
class Played:
    """How the synthesised band plays its plan."""

    late_s: dict = field(default_factory=dict)
    singer_late_s: float = 0.0
    singer_cents: float = 0.0
    silent_bars: tuple = ()
    chords: tuple = CHORDS
    seed: int = 0


def parts(plan, played=None):
    """The plan as a kit, chords of a bar each and a singer, each of shape (n_frames, 2)."""
    played = played or Played()
    rng = np.random.default_rng(played.seed)
    shape = (round(plan.duration_s * RATE_HZ) + RATE_HZ, 2)
    drums, keys, voice = (np.zeros(shape) for _ in range(3))
    for index, line in enumerate(plan.bar_lines):
        if line.number in played.silent_bars:
            continue
        for beat in range(line.metre):
            if line.beat + beat < plan.end_beat:
                at_s = plan.seconds_at(line.beat + beat) + played.late_s.get(line.number, 0.0)
                _add(drums, at_s, _hit(rng, beat), (0.5, 0.3))
        at_s = plan.seconds_at(line.beat) + played.late_s.get(line.number, 0.0)
        length_s = plan.seconds_at(line.beat + line.metre) - plan.seconds_at(line.beat)
        for place, midi in enumerate(played.chords[index % len(played.chords)]):
            _add(keys, at_s, _tone(midi, length_s), ((0.05, 0.1), (0.1, 0.05), (0.1, 0.1))[place])
    midi = FIRST_NOTE_MIDI + played.singer_cents / 100
    at_s = plan.seconds_at(plan.singer_beat) + played.singer_late_s
    if not played.silent_bars:
        _add(voice, at_s, _tone(midi, 1.0, overtones=8), (0.25, 0.25))
    n_frames = round(plan.duration_s * RATE_HZ)
    return {
        name: sound[:n_frames]
        for name, sound in (("drums", drums), ("keys", keys), ("voice", voice))
    }


def band(plan, played=None):
    """All parts of the plan together, shape (n_frames, 2)."""
    return sum(parts(plan, played).values()).astype(np.float32)


def _hit(rng, beat):
    at_s = np.arange(round(0.15 * RATE_HZ)) / RATE_HZ
    kick = np.sin(2 * np.pi * 60 * at_s) * np.exp(-at_s / 0.05)
    snare = rng.normal(size=len(at_s)) * np.exp(-at_s / 0.02)
    return kick + 0.5 * snare if beat % 2 == 0 else snare


def _tone(midi, length_s, overtones=4):
    at_s = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    hz = 440 * 2 ** ((midi - 69) / 12)
    wave = sum(np.sin(2 * np.pi * n * hz * at_s) / n for n in range(1, overtones + 1))
    return wave * np.minimum(1, np.minimum(at_s, length_s - at_s) / 0.01)


def _add(sound, at_s, piece, sides):
    first = max(round(at_s * RATE_HZ), 0)
    room = len(sound) - first
    sound[first : first + len(piece)] += piece[:room, None] * np.array(sides)


def taped(sound, path, *, offset_s=0.0, speed=1.0, gain=0.5, noise=0.003, seed=1):
    """A recording of a sound as a WAV file."""
    slow = soxr.resample(sound, RATE_HZ, RATE_HZ * speed) if speed != 1.0 else sound
    before = max(round(offset_s * RATE_HZ), 0)
    whole = np.pad(slow, ((before, RATE_HZ), (0, 0)))
    whole = whole[max(round(-offset_s * RATE_HZ), 0) :]
    whole = whole + noise * np.random.default_rng(seed).normal(size=whole.shape)
    samples = (gain * whole / np.abs(whole).max()).astype(np.float32)
    write_wav24(path, Clip(samples=samples, rate_hz=RATE_HZ))
    return path


def record_at(plan, rank):
    """The plan as an option with a score of its own."""
    return record_of(
        plan,
        rank,
        scorecard=card_of(),
        singer_s=plan.seconds_at(plan.singer_beat),
        music_file=f"{rank} music.wav",
    )


@pytest.fixture(scope="session", name="plan")
def _plan(shelf):
    return plan_segue(shelf["stop and count-in"], *_songs())


def _songs():
    return end_facts(), start_facts(first_note_s=5.0)


@pytest.fixture(scope="session", name="run")
def _run(plan, tmp_path_factory):
    folder = tmp_path_factory.mktemp("run")
    taped(band(plan), folder / "1 music.wav", noise=0.0)
    document = RunDocument(
        schema_version=1,
        segue_version="0",
        rate_hz=RATE_HZ,
        outgoing=_songs()[0],
        incoming=_songs()[1],
        candidates=(record_at(plan, 1),),
    )
    (folder / DOCUMENT_NAME).write_text(document_text(document), encoding="utf-8")
    return folder


@pytest.fixture(scope="session", name="review_of")
def _review_of(run, plan, tmp_path_factory):
    """Review a take that is played and taped as told."""

    def review_of(played=None, **taping):
        path = tmp_path_factory.mktemp("take") / "take.wav"
        taped(band(plan, played), path, **taping)
        return review_take(ReviewRequest(run=run, take=path)).best_try

    return review_of


@pytest.fixture(scope="session", name="rehearsal")
def _rehearsal(run, plan, tmp_path_factory):
    """All that is told of a take that is played to the letter."""
    path = tmp_path_factory.mktemp("take") / "take.wav"
    taped(band(plan), path, offset_s=2.0)
    return review_take(ReviewRequest(run=run, take=path))


@pytest.fixture(scope="session", name="jumped")
def _jumped(review_of):
    """The review of a take whose last bars jump by 80 ms."""
    return review_of(Played(late_s=dict.fromkeys(range(10, 13), 0.08)))


@pytest.fixture(scope="session", name="plain")
def _plain(rehearsal):
    """The review of a take that is played to the letter."""
    return rehearsal.best_try
