"""How well audio follows a tempo ramp: every engine, every reach, one table.

    python -m benchmarks.stretch            # the two ramps that count, all engines
    python -m benchmarks.stretch --all      # and eleven others

Clicks give the timing, a steady chord the fidelity, wide noise the stereo image.
Exits 1 where the default engine misses a reach.
"""

import argparse
import math
import sys
import time
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from segue.audio.clip import Clip
from segue.music.tempo import TempoCurve, TempoSpan
from segue.render.rubber import is_installed, program_stretch, rubber_band
from segue.render.split import split_stretch
from segue.render.stretch import Engine, sound_along
from segue.render.time_map import TimeMap

Audio = npt.NDArray[np.float32]
AROUND_BEATS = 4
CHORD_HZ = (110.0, 220.0, 277.2, 329.6, 440.0, 554.4, 659.3, 880.0)

MAIN = ((124.0, 96.0, 32), (96.0, 124.0, 32))
OTHERS = (
    (126.0, 128.0, 16),
    (120.0, 140.0, 16),
    (140.0, 120.0, 32),
    (100.0, 105.0, 16),
    (100.0, 92.0, 16),
    (85.0, 110.0, 32),
    (110.0, 85.0, 32),
    (128.0, 100.0, 64),
    (90.0, 140.0, 64),
    (140.0, 90.0, 64),
    (174.0, 87.0, 32),
)


@dataclass(frozen=True)
class Reach:
    """What a stretch has to reach, or did."""

    median_ms: float
    worst_ms: float
    chord_mean_db: float
    chord_worst_db: float
    level_db: float
    pitch_cents: float
    image: float


MAIN_REACH = Reach(0.3, 1.0, 24.0, 21.0, 0.1, 2.0, 0.02)
OTHER_REACH = Reach(2.0, 2.0, 24.0, 21.0, 0.1, 2.0, 0.02)


def ramp_map(
    start_bpm: float, end_bpm: float, n_beats: int, *, played_bpm: float | None = None
) -> TimeMap:
    """A ramp over a song at the first tempo, four steady beats before and after."""
    curve = TempoCurve(
        spans=(TempoSpan(n_beats=n_beats, start_bpm=start_bpm, end_bpm=end_bpm, law="linear"),)
    )
    beats = np.arange(-AROUND_BEATS, n_beats + AROUND_BEATS + 1)
    plan_s = np.array([curve.seconds_at(float(beat)) for beat in beats])
    source_s: npt.NDArray[np.float64] = (
        (beats + AROUND_BEATS + 1) * 60.0 / (played_bpm or start_bpm)
    )
    return TimeMap(plan_s=plan_s - plan_s[0], source_s=source_s)


def click_track(at_s: npt.NDArray[np.float64], length_s: float, rate_hz: int) -> Audio:
    """Clicks of a millisecond, mono."""
    n = round(rate_hz / 1000)
    click = np.exp(-np.arange(n) / (n / 6)) * np.sign(np.sin(np.arange(n) + 0.5))
    track = np.zeros((round(length_s * rate_hz), 1), dtype=np.float32)
    for second in at_s:
        first = round(second * rate_hz)
        if 0 <= first <= len(track) - n:
            track[first : first + n, 0] += click
    return track


def click_errors_ms(
    sound: Audio, at_s: npt.NDArray[np.float64], rate_hz: int
) -> npt.NDArray[np.float64]:
    """Late (+) or early (-) of each click; 25 where it is lost."""
    errors = []
    reach = round(0.025 * rate_hz)
    for second in at_s:
        first = max(round(second * rate_hz) - reach, 0)
        window = np.abs(sound[first : first + 2 * reach + 1]).max(axis=1)
        found = first + int(np.argmax(window)) if window.size and window.max() > 0.1 else np.inf
        errors.append(min(max(found / rate_hz - second, -0.025), 0.025) * 1000)
    return np.array(errors)


def chord(n_frames: int, rate_hz: int) -> Audio:
    """A steady chord, wide: each channel has its own phases."""
    time_s = np.arange(n_frames)[:, None] / rate_hz
    tones = [
        np.sin(2 * np.pi * hertz * time_s + np.array([[0.7 * k, 1.9 * k]]))
        for k, hertz in enumerate(CHORD_HZ)
    ]
    sound: Audio = (0.08 * np.sum(tones, axis=0)).astype(np.float32)
    return sound


def chord_fidelity_db(sound: Audio, rate_hz: int) -> npt.NDArray[np.float64]:
    """Signal to difference from the nearest steady chord, second by second."""
    time_s = np.arange(rate_hz)[:, None] / rate_hz
    angles = 2 * np.pi * np.array(CHORD_HZ) * time_s
    basis = np.concatenate((np.cos(angles), np.sin(angles)), axis=1)
    figures = []
    for first in range(0, len(sound) - rate_hz + 1, rate_hz):
        heard = sound[first : first + rate_hz].astype(np.float64)
        rest = heard - basis @ np.linalg.lstsq(basis, heard, rcond=None)[0]
        figures.append(10 * np.log10(np.sum(heard**2) / np.sum(rest**2)))
    return np.array(figures)


def pitch_error_cents(sound: Audio, rate_hz: int) -> float:
    """Largest error of the chord's tones, by interpolated peaks of one long spectrum."""
    n = len(sound)
    spectrum = np.abs(np.fft.rfft(sound[:, 0] * np.blackman(n), 4 * n))
    worst = 0.0
    for hertz in CHORD_HZ:
        low, high = (round(hertz * ratio * 4 * n / rate_hz) for ratio in (0.985, 1.015))
        peak = low + int(np.argmax(spectrum[low:high]))
        a, b, c = np.log(spectrum[peak - 1 : peak + 2])
        found = (peak + 0.5 * (a - c) / (a - 2 * b + c)) * rate_hz / (4 * n)
        worst = max(worst, abs(1200 * np.log2(found / hertz)))
    return worst


def rms_db(sound: Audio) -> float:
    """Level of a sound."""
    return 10 * math.log10(np.mean(sound.astype(np.float64) ** 2))


def measure(engine: Engine, ramp: tuple[float, float, int], rate_hz: int) -> tuple[Reach, float]:
    """What an engine makes of one ramp, and how many times real time it runs."""
    time_map = ramp_map(*ramp)
    length_s = float(time_map.source_s[-1]) + 1.0
    n_frames = round(float(time_map.plan_s[-1]) * rate_hz)

    def made(samples: Audio) -> Audio:
        clip = Clip(samples=samples, rate_hz=rate_hz)
        return sound_along(clip, time_map, first_frame=0, n_frames=n_frames, engine=engine)

    half_s = np.arange(time_map.source_s[0], time_map.source_s[-1] - 0.1, 30.0 / ramp[0])
    clicks = made(click_track(half_s, length_s, rate_hz))
    errors = np.abs(click_errors_ms(clicks, time_map.plan_at(half_s), rate_hz))
    began = time.process_time()
    steady = made(chord(round(length_s * rate_hz), rate_hz))
    speed = n_frames / rate_hz / (time.process_time() - began)
    inner = steady[rate_hz // 2 : -rate_hz // 2]
    fidelity = chord_fidelity_db(inner, rate_hz)

    generator = np.random.default_rng(1)
    noise = (0.1 * generator.standard_normal((round(length_s * rate_hz), 2))).astype(np.float32)
    noise[:, 1] = 0.5 * noise[:, 0] + 0.5 * noise[:, 1]
    before, after = (np.corrcoef(sound.T)[0, 1] for sound in (noise, made(noise)))
    reached = Reach(
        median_ms=float(np.median(errors)),
        worst_ms=float(errors.max()),
        chord_mean_db=float(fidelity.mean()),
        chord_worst_db=float(fidelity.min()),
        level_db=abs(rms_db(inner) - rms_db(chord(len(inner), rate_hz))),
        pitch_cents=pitch_error_cents(inner, rate_hz),
        image=abs(float(after - before)),
    )
    return reached, speed


def missed(reached: Reach, reach: Reach) -> list[str]:
    """Names of the figures that fall short."""
    short = []
    for field in fields(Reach):
        got, wanted = getattr(reached, field.name), getattr(reach, field.name)
        if got < wanted if field.name.startswith("chord") else got > wanted:
            short.append(field.name)
    return short


def main() -> int:
    """Print the table; 1 where the default engine misses something."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--all", action="store_true", help="eleven more ramps")
    parser.add_argument("--rate-hz", type=int, default=48_000)
    parser.add_argument("--engine", help="only this one")
    options = parser.parse_args()
    engines: dict[str, Engine] = {"split": split_stretch, "Rubber Band": rubber_band}
    if is_installed():
        engines["rubberband program"] = program_stretch
    if options.engine:
        engines = {options.engine: engines[options.engine]}
    default = next(iter(engines))
    fell_short = False
    names = [field.name for field in fields(Reach)]
    print(f"{'ramp':<18}{'engine':<17}" + "".join(f"{n:>15}" for n in names) + f"{'x':>7}")
    for ramp in (*MAIN, *(OTHERS if options.all else ())):
        for name, engine in engines.items():
            reached, speed = measure(engine, ramp, options.rate_hz)
            short = missed(reached, MAIN_REACH if ramp in MAIN else OTHER_REACH)
            figures = "".join(
                f"{getattr(reached, n):>14.3f}" + ("!" if n in short else " ") for n in names
            )
            label = f"{ramp[0]:.0f}->{ramp[1]:.0f} / {ramp[2]}"
            print(f"{label:<18}{name:<17}{figures}{speed:>7.1f}", flush=True)
            fell_short |= name == default and bool(short)
    print("! = short of the reach")
    return int(fell_short)


if __name__ == "__main__":
    sys.exit(main())
