"""Takes of a rehearsal with known truth: the band plays a plan again, a phone records it.

`performed` plays a candidate's plan with another band's stems, whose beats wander and
drift and whose singer comes in early or late, sharp or flat; `recorded` is the room, the
noise, the recorder's clock and level, and the file it leaves.
"""

import json
import subprocess
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
import soundfile
import soxr

from benchmarks._review_band import RATE_HZ, band_stems, sung_line
from benchmarks._review_singer import attack_s, sharp_cents, sung_late_ms, uncut_s
from segue.audio import read_song
from segue.audio.clip import Clip, SongEdge, Stem
from segue.music.tempo import TempoCurve, TempoSpan
from segue.plan.plan import Plan
from segue.render.render import render_candidate
from segue.runfolder import CandidateRecord, RunDocument

Audio = npt.NDArray[np.float32]
Floats = npt.NDArray[np.float64]

EDGE_S: Final = 45.0
PHONE_RATE_HZ: Final = 24_000
"""A performance is made and recorded at this rate: the plan's own is twice that."""
_MADE: Final = "entry uncut"
"""In the names of kept performances: how their truth was measured, so that no other is read."""
_WANDER_MS: Final = 9.0
_WANDER_BEATS: Final = 4.0
_DRIFT_MS_A_MINUTE: Final = 40.0
_LATE_MS: Final = 120.0
_CENTS: Final = 60.0
_RT60_S: Final = (0.25, 0.6)
_DIRECT_DB: Final = (3.0, 8.0)
_SNR_DB: Final = 10.0
_LARGEST_SPEED: Final = 0.005
_CLICK_DB: Final = (-24.0, -15.0)
"""Of a click that leaks into the take, its peak against the music's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Performance:
    """What was played: sound, and the truth in its own seconds.

    `late_s` is of each whole beat of the plan; the singer's numbers are against the render,
    the pitch against the band that plays.
    """

    samples: Audio
    rate_hz: int
    late_s: tuple[float, ...]
    singer_late_ms: float | None
    singer_cents: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeTruth:
    """What is true of a recording of a performance."""

    offset_s: float
    speed: float
    gain_db: float
    kind: Literal["wav", "mp3"]
    has_click: bool


def rendered(run: Path, record: CandidateRecord) -> Performance:
    """The candidate as it stands in the run folder, played to the letter."""
    samples, rate_hz = soundfile.read(run / record.music_file, dtype="float32", always_2d=True)
    n_beats = int(record.plan.end_beat) + 1
    return Performance(
        samples=samples,
        rate_hz=rate_hz,
        late_s=(0.0,) * n_beats,
        singer_late_ms=0.0 if record.singer_s is not None else None,
        singer_cents=0.0 if record.singer_s is not None else None,
    )


def performed(
    document: RunDocument, record: CandidateRecord, *, band: int, seed: int, store: Path
) -> Performance:
    """The plan played again by another band, kept in a folder once it has been."""
    name = (
        f"{document.outgoing.title} {document.incoming.title} {record.rank} {band} {seed} {_MADE}"
    )
    sound, truth = store / f"{name}.flac", store / f"{name}.json"
    if not truth.is_file():
        made = _played(document, record, band=band, seed=seed, store=store)
        soundfile.write(sound, made.samples, made.rate_hz, subtype="PCM_24")
        facts = {k: v for k, v in _as_dict(made).items() if k != "samples"}
        truth.write_text(json.dumps(facts), encoding="utf-8")
    samples, _ = soundfile.read(sound, dtype="float32", always_2d=True)
    facts = json.loads(truth.read_text(encoding="utf-8"))
    facts["late_s"] = tuple(facts["late_s"])
    return Performance(samples=samples, **facts)


def _as_dict(made: Performance) -> dict[str, object]:
    return asdict(replace(made, samples=np.zeros((0, 2), dtype=np.float32)))


def _played(
    document: RunDocument, record: CandidateRecord, *, band: int, seed: int, store: Path
) -> Performance:
    rng = np.random.default_rng([9, band, seed, record.rank])
    rate_hz = PHONE_RATE_HZ
    outgoing = read_song(document.outgoing.file, edge="end", edge_s=EDGE_S, rate_hz=rate_hz)
    incoming = read_song(document.incoming.file, edge="start", edge_s=EDGE_S, rate_hz=rate_hz)
    late_s = wandering(int(record.plan.end_beat) + 1, record.plan, rng)
    plan = replace(record.plan, tempo=moved_tempo(record.plan.tempo, late_s))
    first = _replaced(outgoing, band, store, rng, late_s=0.0, cents=0.0)
    asked_s, asked_cents = rng.uniform(-_LATE_MS, _LATE_MS) / 1000, rng.uniform(-_CENTS, _CENTS)
    if record.singer_s is not None:
        asked_s = uncut_s(asked_s, record.plan, record.singer_s)
    second = _replaced(incoming, band, store, rng, late_s=asked_s, cents=asked_cents)
    music = render_candidate(plan, first, second).music
    late_ms = cents = None
    if record.singer_s is not None:
        attacks_s = [attack_s(p, first, e) for p, e in ((record.plan, incoming), (plan, second))]
        late_ms = sung_late_ms(record.plan, plan, attacks_s)
        cents = sharp_cents(incoming, second)
    return Performance(
        samples=np.asarray(music.samples),
        rate_hz=rate_hz,
        late_s=tuple(float(x) for x in late_s),
        singer_late_ms=late_ms,
        singer_cents=cents,
    )


def wandering(
    n_beats: int,
    plan: Plan,
    rng: np.random.Generator,
    *,
    wander_ms: float = _WANDER_MS,
    drift_ms: float = _DRIFT_MS_A_MINUTE,
) -> Floats:
    """Seconds late at every beat: a slow wander and a drift."""
    share = np.exp(-1 / _WANDER_BEATS)
    steps = rng.normal(0, wander_ms / 1000 * np.sqrt(1 - share**2), n_beats)
    wander = np.zeros(n_beats)
    for beat in range(1, n_beats):
        wander[beat] = share * wander[beat - 1] + steps[beat]
    at_s = np.array([plan.seconds_at(beat) for beat in range(n_beats)])
    drift = rng.uniform(-drift_ms, drift_ms) / 1000 * at_s / 60
    late: Floats = wander + drift - drift[0]
    return late


def moved_tempo(tempo: TempoCurve, late_s: Floats) -> TempoCurve:
    """The tempo curve whose beats come that late."""
    spans = []
    for beat in range(len(late_s) - 1):
        plain_s = tempo.seconds_at(beat + 1) - tempo.seconds_at(beat)
        bpm = 60 / (plain_s + late_s[beat + 1] - late_s[beat])
        spans.append(TempoSpan(n_beats=1, start_bpm=bpm, end_bpm=bpm))
    return TempoCurve(spans=tuple(spans))


def _replaced(
    edge: SongEdge,
    band: int,
    store: Path,
    rng: np.random.Generator,
    *,
    late_s: float,
    cents: float,
) -> SongEdge:
    """The same edge from another band's stems."""
    number = int(edge.path.name[:2])
    parts = band_stems(number, band, store)
    line = sung_line(number, late_s=late_s, cents=cents, rng=rng)
    length = len(next(iter(parts.values())))
    parts["lead"] = np.pad(line, ((0, max(0, length - len(line))), (0, 0)))[:length]
    first = round(edge.start_s * RATE_HZ)
    stems = []
    for stem in edge.stems:
        audio = parts[Path(stem.file).stem] * 10 ** (rng.uniform(-2, 2) / 20)
        audio = audio[first : first + round(stem.clip.duration_s * RATE_HZ) + 1]
        audio = soxr.resample(audio, RATE_HZ, edge.rate_hz)[: stem.clip.n_frames]
        short = stem.clip.n_frames - len(audio)
        samples = np.pad(audio, ((0, short), (0, 0))).astype(np.float32)
        clip = Clip(samples=samples, rate_hz=edge.rate_hz, start_s=stem.clip.start_s)
        stems.append(Stem(role=stem.role, file=stem.file, clip=clip))
    return replace(edge, stems=tuple(stems))


def recorded(made: Performance, path: Path, *, seed: int, click: Path | None = None) -> TakeTruth:
    """A recording of a performance, as WAV or MP3 at 96 kbit/s, and its truth.

    Where a click is given it leaks in: it stays on the plan's grid while the band wanders.
    """
    rng = np.random.default_rng([4, seed])
    if click is not None:
        made = replace(made, samples=_with_click(made, click, np.random.default_rng([5, seed])))
    speed = 1 + rng.uniform(-_LARGEST_SPEED, _LARGEST_SPEED)
    before_s, after_s = rng.uniform(0.3, 20), rng.uniform(0, 8)
    rate_hz = made.rate_hz
    sound = np.asarray(soxr.resample(made.samples, rate_hz, rate_hz * speed), dtype=np.float64)
    pads = [round(s * rate_hz) for s in (before_s, after_s)]
    sound = np.pad(tilted(sound, rate_hz, rng), ((pads[0], pads[1]), (0, 0)))
    sound = in_a_room(sound, rate_hz, rng)
    power = np.square(sound[pads[0] : len(sound) - pads[1]]).mean()
    noise = pink(sound.shape, rng)
    sound += noise * np.sqrt(power / 10 ** (_SNR_DB / 10) / np.square(noise).mean())
    gain_db = float(rng.uniform(-30, -1))
    sound *= 10 ** (gain_db / 20) / np.abs(sound).max()
    kind: Literal["wav", "mp3"] = "mp3" if rng.random() < 0.5 else "wav"
    _write(path, sound, rate_hz, kind)
    return TakeTruth(
        offset_s=pads[0] / rate_hz,
        speed=speed,
        gain_db=gain_db,
        kind=kind,
        has_click=click is not None,
    )


def _with_click(made: Performance, click: Path, rng: np.random.Generator) -> Audio:
    """The music with the click heard softly in the middle."""
    sound, rate_hz = soundfile.read(click, dtype="float64", always_2d=True)
    mono = soxr.resample(sound.mean(axis=1), rate_hz, made.rate_hz)[: len(made.samples)]
    mono = np.pad(mono, (0, len(made.samples) - len(mono)))
    peak = np.abs(made.samples).max() * 10 ** (rng.uniform(*_CLICK_DB) / 20)
    mixed: Audio = (made.samples + (peak / np.abs(mono).max() * mono)[:, None]).astype(np.float32)
    return mixed


def _write(path: Path, sound: Floats, rate_hz: int, kind: str) -> None:
    soundfile.write(path, sound, rate_hz, subtype="PCM_16", format="WAV")
    if kind == "mp3":
        coded = path.with_name("coded.mp3")
        command = ["ffmpeg", "-y", "-loglevel", "error", "-i", path, "-b:a", "96k", coded]
        subprocess.run(command, check=True)
        coded.replace(path)


def tilted(sound: Floats, rate_hz: int, rng: np.random.Generator) -> Floats:
    """A loudspeaker's and a phone's tone: both ends bent by some decibels."""
    spectrum = np.fft.rfft(sound, axis=0)
    hz = np.fft.rfftfreq(len(sound), 1 / rate_hz)
    octaves = np.log2(np.maximum(hz, 20) / 1000)
    db = np.clip(rng.uniform(-1, 1) * octaves, -6, 6) + rng.uniform(-3, 3) * np.sin(octaves)
    bent: Floats = np.fft.irfft(spectrum * 10 ** (db / 20)[:, None], len(sound), axis=0)
    return bent


def in_a_room(sound: Floats, rate_hz: int, rng: np.random.Generator) -> Floats:
    """The direct sound, and a decaying tail some decibels below it."""
    from scipy.signal import fftconvolve

    rt60_s = rng.uniform(*_RT60_S)
    at_s = np.arange(round(rt60_s * rate_hz)) / rate_hz
    tail = rng.normal(size=(len(at_s), 2)) * 10 ** (-3 * at_s / rt60_s)[:, None]
    tail[: round(0.004 * rate_hz)] = 0
    tail *= 10 ** (-rng.uniform(*_DIRECT_DB) / 20) / np.sqrt(np.square(tail).sum(axis=0))
    wet: Floats = sound + fftconvolve(sound, tail, axes=0)[: len(sound)]
    return wet


def pink(shape: tuple[int, ...], rng: np.random.Generator) -> Floats:
    """Noise of equal power an octave, as air and audience are (common practice, no source)."""
    spectrum = np.fft.rfft(rng.normal(size=shape), axis=0)
    n = np.maximum(np.arange(len(spectrum)), 20)
    noise: Floats = np.fft.irfft(spectrum / np.sqrt(n)[:, None], shape[0], axis=0)
    return noise
