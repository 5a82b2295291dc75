"""Which engine is better for what: ours by parts, Rubber Band in process, or its program.

    python -m benchmarks.engines                    # voices
    python -m benchmarks.engines --songs FOLDER     # and dense material, long ratios: six mixes

Ramps are in `benchmarks/stretch.py`. Exits 1 where the engine that Segue takes by itself
(Rubber Band with our formants for voices, ours by parts for the rest) leaves a voice further
from its vowel, or an attack less steep at ratios of 0.9 to 1.1, than another.
"""

import argparse
import sys
import time
from collections.abc import Callable
from itertools import pairwise, product
from pathlib import Path

import numpy as np

from benchmarks.stretch import Audio
from segue.audio.clip import Clip
from segue.render.rubber import is_installed, program_pitch, program_stretch, rubber_band
from segue.render.split import split_stretch
from segue.render.stretch import Engine, sound_along, sound_at_speeds
from segue.render.time_map import TimeMap
from segue.render.transpose import formants_restored

RATE_HZ = 48_000
SEMITONES = (-5, -3, -2, -1, 1, 2, 3, 5)
VOWELS = ((300.0, 870.0, 2_240.0), (660.0, 1_720.0, 2_410.0), (730.0, 1_090.0, 2_440.0))
"""First three formants of 'boot', 'bat' and 'father', men (G. E. Peterson and H. L. Barney,
"Control methods used in a study of the vowels", JASA 24(2), 1952, table II)."""
LENGTH_S = 4.0
MEL_BANDS = 40
RATIOS = (0.5, 0.77, 0.94, 1.06, 1.3, 2.0)
EVERYDAY = 0.1
TAKEN_FOR_VOICES = "Rubber Band + own formants"
TAKEN_FOR_SONGS = "own, by parts"
SAME_DB = 0.1
HEARD_DB = 40.0
"""Partials further below the strongest are left out of the comparison."""

Mover = Callable[[Audio, float], Audio]


def vowel(formants: tuple[float, ...], pitch_hz: float) -> Audio:
    """A sung vowel with vibrato: partials under a curve of resonances."""
    at_s = np.arange(round(LENGTH_S * RATE_HZ)) / RATE_HZ
    phase = 2 * np.pi * pitch_hz * at_s + 0.12 * np.sin(2 * np.pi * 5.5 * at_s) * pitch_hz / 60
    sound = np.zeros(len(at_s))
    for number in range(1, int(6_000 / pitch_hz)):
        hertz = number * pitch_hz
        level = sum(1 / (1 + ((hertz - f) / 90) ** 2) / (1 + n) for n, f in enumerate(formants))
        sound += (level + 0.002) * np.sin(number * phase + number**2)
    sound *= 0.3 / np.abs(sound).max()
    return np.stack((sound, sound), axis=1).astype(np.float32)


def envelope_error_db(sound: Audio, wanted: Audio, pitch_hz: float) -> float:
    """Root mean square of the difference in level of the partials that are heard."""
    levels = []
    for samples in (sound, wanted):
        middle = samples[RATE_HZ // 2 : -RATE_HZ // 2, 0]
        power = np.abs(np.fft.rfft(middle * np.hanning(len(middle)))) ** 2
        hertz = np.fft.rfftfreq(len(middle), 1 / RATE_HZ)
        partials = pitch_hz * np.arange(1, int(4_000 / pitch_hz))
        near = [np.abs(hertz - f) < 0.4 * pitch_hz for f in partials]
        levels.append(10 * np.log10(np.array([power[n].sum() for n in near]) + 1e-9))
    heard = levels[1] > levels[1].max() - HEARD_DB
    difference = (levels[0] - levels[1])[heard]
    return float(np.sqrt(np.mean((difference - difference.mean()) ** 2)))


def own_pitch(samples: Audio, semitones: float, engine: Engine) -> Audio:
    """As `segue.render.transpose` moves voices."""
    clip = Clip(samples=samples, rate_hz=RATE_HZ)
    ends_s = np.array([0.0, clip.duration_s])
    ratio = 2.0 ** (semitones / 12)
    along = TimeMap(plan_s=ends_s, source_s=ends_s)
    speeds = np.full(clip.n_frames, ratio)
    moved = sound_at_speeds(clip, along, speeds, first_frame=0, engine=engine)
    return formants_restored(moved, ratio, RATE_HZ)


def movers() -> dict[str, Mover]:
    """What moves a voice."""
    found: dict[str, Mover] = {
        "own, by parts": lambda y, n: own_pitch(y, n, split_stretch),
        "Rubber Band + own formants": lambda y, n: own_pitch(y, n, rubber_band),
    }
    if is_installed():
        found["rubberband program"] = lambda y, n: program_pitch(y, RATE_HZ, n, keeps_formants=True)
    return found


def stretchers() -> dict[str, Engine]:
    """What stretches."""
    found: dict[str, Engine] = {"own, by parts": split_stretch, "Rubber Band": rubber_band}
    if is_installed():
        found["rubberband program"] = program_stretch
    return found


def spectral_error_db(sound: Audio, source: Audio, ratio: float) -> tuple[float, float]:
    """How far band levels of 20 ms stray from the source's at the same place; and of flux.

    The second figure is the correlation of the rises of level: 1 keeps every attack as steep.
    """
    levels, rises = [], []
    hop, window = round(0.01 * RATE_HZ), round(0.04 * RATE_HZ)
    n = min(len(sound), int(len(source) * ratio)) // hop - 8
    for samples, scale in ((sound, 1.0), (source, 1 / ratio)):
        centres = np.arange(4, n) * hop * scale  # the same places in both
        starts = np.round(centres - window / 2).astype(int)
        mono = samples.mean(axis=1)
        frames = np.stack([mono[s : s + window] for s in starts if s + window < len(mono)])
        power = np.abs(np.fft.rfft(frames * np.hanning(window), axis=1)) ** 2
        edges = np.unique(np.geomspace(2, power.shape[1] - 1, MEL_BANDS).astype(int))
        bands = np.stack([power[:, a:b].sum(axis=1) for a, b in pairwise(edges)])
        level = 10 * np.log10(bands + bands.max() * 1e-6)
        levels.append(level)
        rises.append(np.maximum(np.diff(level, axis=1), 0).sum(axis=0))
    n = min(x.shape[1] for x in levels)
    stray = float(np.sqrt(np.mean((levels[0][:, :n] - levels[1][:, :n]) ** 2)))
    n -= 1
    return stray, float(np.corrcoef(rises[0][:n], rises[1][:n])[0, 1])


def excerpts(folder: Path | None) -> list[Audio]:
    """Ten seconds from the middle of some mixes."""
    import soundfile
    import soxr

    if folder is None:
        return []
    found = []
    for path in sorted(folder.rglob("*.ogg"))[:: max(len(sorted(folder.rglob("*.ogg"))) // 6, 1)]:
        info = soundfile.info(path)
        if info.duration < 60:
            continue
        start = int(info.duration / 2 * info.samplerate)
        samples, rate = soundfile.read(
            path, start=start, frames=10 * info.samplerate, always_2d=True, dtype="float32"
        )
        found.append(np.asarray(soxr.resample(samples, rate, RATE_HZ), dtype=np.float32)[:, :2])
    return found[:6]


def voice_rows() -> bool:
    """Print how far voices are moved from the vowel sung there; whether ours is the nearest."""
    print("voices: partials against the vowel sung at the new pitch, dB rms; x real time")
    means = {}
    for name, mover in movers().items():
        row, took = [], 0.0
        for semitones in SEMITONES:
            errors = []
            for formants, pitch_hz in product(VOWELS, (130.0, 220.0)):
                began = time.perf_counter()
                made = mover(vowel(formants, pitch_hz), semitones)
                took += time.perf_counter() - began
                new_hz = pitch_hz * 2 ** (semitones / 12)
                errors.append(envelope_error_db(made, vowel(formants, new_hz), new_hz))
            row.append(float(np.mean(errors)))
        means[name] = float(np.mean(row))
        cells = " ".join(f"{s:+d}: {e:4.1f}" for s, e in zip(SEMITONES, row, strict=True))
        speed = len(SEMITONES) * len(VOWELS) * 2 * LENGTH_S / took
        print(f"  {name:<28}{cells}   x{speed:.0f}", flush=True)
    return means[TAKEN_FOR_VOICES] <= min(means.values()) + SAME_DB


def dense_rows(songs: list[Audio]) -> bool:
    """Print what is left of mixes; whether ours keeps attacks best at everyday ratios."""
    print("dense material: band levels strayed, dB; rises kept, correlation")
    best = True
    for ratio in RATIOS:
        kept_by = {}
        for name, engine in stretchers().items():
            figures = [stretched(samples, ratio, engine) for samples in songs]
            stray, kept = np.mean(figures, axis=0)
            kept_by[name] = float(kept)
            print(f"  x{ratio:<5}{name:<22}{stray:5.2f} dB  {kept:.2f}", flush=True)
        if abs(ratio - 1) < EVERYDAY:
            best &= kept_by[TAKEN_FOR_SONGS] >= max(kept_by.values())
    return best


def stretched(samples: Audio, ratio: float, engine: Engine) -> tuple[float, float]:
    """What an engine leaves of one mix."""
    clip = Clip(samples=samples, rate_hz=RATE_HZ)
    ends_s = np.array([0.0, clip.duration_s])
    along = TimeMap(plan_s=ends_s * ratio, source_s=ends_s)
    n_frames = int(clip.n_frames * ratio)
    made = sound_along(clip, along, first_frame=0, n_frames=n_frames, engine=engine)
    return spectral_error_db(made, samples, ratio)


def main() -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--songs", type=Path)
    options = parser.parse_args()
    good = voice_rows()
    songs = excerpts(options.songs)
    if songs:
        good &= dense_rows(songs)
    return int(not good)


if __name__ == "__main__":
    sys.exit(main())
