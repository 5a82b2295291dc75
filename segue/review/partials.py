"""Magnitudes at the partials of a pitch in a recording of many instruments, and who sings there.

Whether the singer is heard at all is told over the whole of what is sung: at the partials that the
voice has to itself in the plan, its sound stands out of what is beside
them. How far it does so in the take is told between how far it does in the plan and how far the
band alone does there: 1 is all of it, 0 a band without a singer.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.adapters import resampled
from segue.audio.clip import Clip

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.arrays import Floats
    from segue.review.voice import SungPart


FINE_S: Final = 0.004
"""From one reading to the next (by judgement)."""
_SHORT_FRAMES: Final = 800
"""Chosen on takes of `benchmarks/_review_damage.py`, as what is taken out between is."""
_SCOOP_CENTS: Final = 150.0
"""A note may come up from so far below: a scoop belongs to it, and differs from take to
take (by judgement)."""
_N_ACROSS: Final = 9  # pitches tried from the scoop below to the guess above; by judgement
_BETWEEN: Final = np.array([-0.6, -0.5, -0.4, 0.4, 0.5, 0.6])
"""Places between partials, in distances of partials (by judgement)."""
RATE_HZ: Final = 16_000  # at which takes are read: partials are followed up to 5 kHz; by judgement
N_PARTIALS: Final = 10  # of a note, from the fundamental up; by judgement
HIGHEST_HZ: Final = 5_000.0  # partials above are not read; by judgement
_LONG_FRAMES: Final = 2048  # of a window for pitch: 128 ms; by judgement
_PADDED_FRAMES: Final = 8192  # and of its spectrum, padded to be read between bins; by judgement
_PEAK_STEPS: Final = 31  # places at which a peak is looked for around a partial; by judgement
# Beside a partial, where its own peak is over; by judgement
_AROUND_HZ: Final = np.concatenate([np.arange(-90.0, -29.0, 6.0), np.arange(30.0, 91.0, 6.0)])
HIGHEST_RATIO: Final = 8.0  # a partial that stands out by more counts no more; by judgement
_TINY: Final = 1e-9  # keeps the logarithm of silence finite
_A4_HZ, _A4_MIDI = 440.0, 69.0  # ISO 16 tuning, and its MIDI note number
LEAST_READINGS: Final = 20  # fewer tell nothing: 0.6 s of singing; by judgement
_CENTS: Final = np.arange(-160.0, 161.0, 10.0)
"""A singer may be off by so much, and is heard nevertheless (by judgement)."""
# And late or early by so much; by judgement
_LATE_S: Final = (-0.3, -0.2, -0.1, 0.0, 0.1, 0.2, 0.3)
# Steps of the lateness of a phrase, and how many to each side, as far as an entry is looked
# for; by judgement
_PHRASE_STEP_S, _PHRASE_REACH = 0.04, 8
_REACH_S: Final = 0.4  # from an end of the recording nothing is read; by judgement
_LEAST_OVER_DB: Final = 1.0  # by which the plan's voice must stand out to be missed; by judgement
# Beside a partial, where its own peak is over; by judgement
_BESIDE_HZ: Final = np.concatenate([np.arange(-80.0, -34.0, 9.0), np.arange(35.0, 81.0, 9.0)])
_MOST_DB: Final = 18.0  # a partial that stands out by more counts no more; by judgement
ABSENT_BELOW: Final = 0.5
"""Of the voice's presence: less is no singer. On odd seeds of `benchmarks/review.py` singers had
.63 and more, also late and flat and through a phone; bands without one .36 at most."""


def note_levels(
    clip: Clip, at_s: Floats, midi: float, *, near_cents: float
) -> tuple[Floats, Floats]:
    """Magnitudes at the partials of a note, and between them.

    Parameters
    ----------
    at_s : ndarray, shape (n_times,)
        Ascending, in seconds of the clip.
    near_cents : float
        How far above the note its pitch may be.

    Returns
    -------
    levels : ndarray, shape (n_times, N_PARTIALS)
        The strongest from a scoop below each partial up to `near_cents` above it.
    between : ndarray, shape (n_times, N_PARTIALS)
        The strongest between each partial and its neighbours: strokes are at all frequencies.
    """
    magnitudes = spectra(clip, at_s, window_frames=_SHORT_FRAMES)
    around = np.linspace(-_SCOOP_CENTS, near_cents, _N_ACROSS) / 100
    places_hz = partial_hz(midi + around)
    note_hz = partial_hz(np.array(midi))
    between_hz = note_hz + _BETWEEN[:, None] * note_hz[0]
    levels, between = (
        read_at(magnitudes, np.broadcast_to(hz, (len(at_s), *hz.shape))).max(axis=1)
        for hz in (places_hz, between_hz)
    )
    return levels, between


def excerpt(clip: Clip, start_s: float, end_s: float) -> Floats:
    """Mono sound at `RATE_HZ`, silent outside the clip, shape (n_frames,)."""
    first, last = round(start_s * clip.rate_hz), round(end_s * clip.rate_hz)
    low, high = min(max(first, 0), clip.n_frames), max(min(last, clip.n_frames), 0)
    part = np.zeros((last - first, 1), dtype=np.float32)
    if low < high:
        part[low - first : high - first, 0] = clip.samples[low:high].mean(axis=1)
    sound = resampled(Clip(samples=part, rate_hz=clip.rate_hz), RATE_HZ)
    return sound.samples[:, 0].astype(np.float64)


def spectra(clip: Clip, at_s: Floats, *, window_frames: int = _LONG_FRAMES) -> Floats:
    """Magnitude spectra centred on times, shape (n_times, n_bins) of `bin_hz`."""
    reach_s = window_frames / RATE_HZ
    start_s = float(at_s[0]) - reach_s
    mono = excerpt(clip, start_s, float(at_s[-1]) + reach_s)
    first = np.rint((at_s - start_s) * RATE_HZ).astype(int) - window_frames // 2
    windows = mono[first[:, None] + np.arange(window_frames)]
    magnitudes: Floats = np.abs(np.fft.rfft(windows * _hann(window_frames), _PADDED_FRAMES, axis=1))
    return magnitudes


def partial_hz(midi: Floats) -> Floats:
    """Frequencies of the partials of pitches, shape (..., N_PARTIALS)."""
    hz: Floats = _A4_HZ * 2 ** ((midi - _A4_MIDI) / 12)
    return hz[..., None] * np.arange(1, N_PARTIALS + 1)


def read_at(magnitudes: Floats, hz: Floats) -> Floats:
    """Magnitudes at frequencies, row by row; 0 above `HIGHEST_HZ`."""
    place = np.clip(hz * _PADDED_FRAMES / RATE_HZ, 0, magnitudes.shape[1] - 2)
    low = place.astype(int)
    rows = np.arange(len(magnitudes)).reshape(-1, *([1] * (hz.ndim - 1)))
    between = place - low
    value = (1 - between) * magnitudes[rows, low] + between * magnitudes[rows, low + 1]
    return np.where(hz < HIGHEST_HZ, value, 0.0)


def partial_levels(clip: Clip, at_s: Floats, midi: Floats) -> Floats:
    """Magnitudes at the partials of a pitch that moves, shape (n_times, N_PARTIALS)."""
    return read_at(spectra(clip, at_s), partial_hz(midi))


def peaks(magnitudes: Floats, midi: Floats, *, reach_cents: float) -> tuple[Floats, Floats]:
    """The strongest peak near each partial.

    Parameters
    ----------
    magnitudes : ndarray, shape (n_times, n_bins)
    midi : ndarray, shape (n_times,)

    Returns
    -------
    cents : ndarray, shape (n_times, N_PARTIALS)
        How far it is above the partial's place; not a number where there is none in reach.
    above : ndarray, shape (n_times, N_PARTIALS)
        How many times it is above what is around it, less one; 0 to `HIGHEST_RATIO`.
    """
    hz = partial_hz(midi)
    step = np.linspace(-reach_cents, reach_cents, _PEAK_STEPS)
    levels = np.log(read_at(magnitudes, hz[..., None] * 2 ** (step / 1200)) + _TINY)
    best = levels.argmax(axis=-1)
    inside = (best > 0) & (best < _PEAK_STEPS - 1) & (hz < HIGHEST_HZ)
    best = np.clip(best, 1, _PEAK_STEPS - 2)[..., None]
    a, b, c = (np.take_along_axis(levels, best + k, axis=-1)[..., 0] for k in (-1, 0, 1))
    bend = np.minimum(a - 2 * b + c, -_TINY)
    fine = np.clip(0.5 * (a - c) / bend, -0.5, 0.5)
    cents = np.where(inside, step[best[..., 0]] + (step[1] - step[0]) * fine, np.nan)
    around = read_at(magnitudes, hz[..., None] + _AROUND_HZ)
    above = np.exp(b) / (np.median(around, axis=-1) + _TINY) - 1
    return cents, np.where(inside, np.clip(above, 0.0, HIGHEST_RATIO), 0.0)


@lru_cache(maxsize=4)
def _hann(n_frames: int) -> Floats:
    window: Floats = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(n_frames) + 0.5) / n_frames)
    return window


def presence(
    part: SungPart, take: Clip, take_s_at: Callable[[float], float], tuning_cents: float
) -> float | None:
    """How much of the singer is heard in a recording.

    Parameters
    ----------
    take_s_at : callable
        Seconds of the recording of a time of the render.
    tuning_cents : float
        How far the recording is above the render.

    Returns
    -------
    float or None
        0 for a band without a singer, 1 for the singer of the plan, as they stand out; None
        where less than `LEAST_READINGS` of it is in the recording, or the plan's voice hardly
        stands out.
    """
    read = _in_take(part, take, take_s_at, tuning_cents)
    over_db = part.sung_db - part.band_db
    if read is None or over_db < _LEAST_OVER_DB:
        return None
    return (outstanding_db(take, *read) - part.band_db) / over_db


def phrase_late_s(
    part: SungPart, take: Clip, take_s_at: Callable[[float], float], tuning_cents: float
) -> float | None:
    """How late the whole of what is sung is: where its partials stand out most.

    Nearer than `_PHRASE_STEP_S` it cannot tell; but it is never another note.

    Returns
    -------
    float or None
        None where too little of it is in the recording.
    """
    read = _in_take(part, take, take_s_at, tuning_cents)
    if read is None:
        return None
    at_s, *pitch = read
    shifts_s = np.arange(-_PHRASE_REACH, _PHRASE_REACH + 1) * _PHRASE_STEP_S
    over = [_over_db(take, at_s + shift, *pitch) for shift in shifts_s]
    return float(shifts_s[int(np.argmax(over))])


def _in_take(
    part: SungPart, take: Clip, take_s_at: Callable[[float], float], tuning_cents: float
) -> tuple[Floats, Floats, Floats] | None:
    """Times in the recording, pitches and weights of what of it is there; None where too little."""
    at_s = np.array([take_s_at(float(s)) for s in part.at_s])
    inside = (at_s > _REACH_S) & (at_s < take.duration_s - _REACH_S)
    if inside.sum() < LEAST_READINGS:
        return None
    return at_s[inside], part.midi[inside] + tuning_cents / 100, part.weights[inside]


def outstanding_db(clip: Clip, at_s: Floats, midi: Floats, weights: Floats) -> float:
    """How far partials stand out of what is beside them, at the best pitch and lateness."""
    return max(_over_db(clip, at_s + late_s, midi, weights) for late_s in _LATE_S)


def _over_db(clip: Clip, at_s: Floats, midi: Floats, weights: Floats) -> float:
    """How far partials stand out of what is beside them, at the best pitch."""
    magnitudes = spectra(clip, at_s)
    hz = partial_hz(midi[:, None] + _CENTS / 100)
    levels = 20 * np.log10(read_at(magnitudes, hz) + _TINY)
    beside_hz = partial_hz(midi)[..., None] + _BESIDE_HZ
    beside = 20 * np.log10(np.median(read_at(magnitudes, beside_hz), axis=-1) + _TINY)
    over = np.clip(levels - beside[:, None, :], -_MOST_DB, _MOST_DB)
    return float((np.einsum("hcp,hp->c", over, weights) / weights.sum()).max())
