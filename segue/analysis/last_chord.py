"""Where the last chord of an edge starts, how long it is held and rings, and a quieter last part.

A chord is told from the one before by its notes: levels of semitones, compressed and without
their mean, so that neither a decay nor a fader is a change.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.envelope import HOP_S, mono_of, smoothed_db

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.audio.clip import Clip

    Floats = npt.NDArray[np.float64]

RING_FALL_DB: Final = 20.0
"""A chord that has fallen this far has rung out: half as loud and half again."""

# Set by judgement on the labelled endings of the edges benchmark, the half to tune on.
_HELD_DB: Final = 6.0  # what is held is less than this below the loudest after the last hit
_HELD_WINDOW_S: Final = 0.5  # seconds that the level is smoothed over to see what is held
_RATE_HZ: Final = 6000  # rate of the sound in which chords are heard
_FRAMES: Final = 1024  # frames of a spectrum at that rate, 0.17 s
_STEP_S: Final = 0.05  # seconds from spectrum to spectrum
_LOWEST_MIDI, _HIGHEST_MIDI = 40, 90  # MIDI notes from and up to which semitones are heard
_LONGEST_CHORD_S: Final = 12.0  # seconds before the last hit in which its chord is followed back
_OF_LAST_S: Final = 0.8  # seconds from the last hit on that tell its chord
_SAME_CHORD: Final = 0.72  # least likeness (cosine) of spectra of one chord
_NEAR_HIT_S: Final = 0.25  # seconds: a hit this near to the change is the chord's start
_OUTRO_LEAST_S: Final = 4.0  # seconds that a quieter last part lasts at least
_OUTRO_LONGEST_S: Final = 30.0  # seconds that it lasts at most
_OUTRO_BELOW_DB: Final = 4.0  # it stays at least so far below the body
_OUTRO_WINDOW_S: Final = 3.0  # seconds that the level is smoothed over for it
_OUTRO_STEP_S: Final = 2.0  # seconds before and after its start in which the level must drop
_OUTRO_STEP_DB: Final = 3.0  # what it must drop by at least
_OUTRO_SINKS_DB: Final = 6.0  # from its first half to its second: what sinks by more only rings


def last_chord_s(clip: Clip, last_hit_s: float, sound_end_s: float, hits_s: Floats) -> float:
    """Where the chord that sounds at the last hit starts.

    Parameters
    ----------
    clip : Clip
        The sound of the edge.
    last_hit_s, sound_end_s : float
        In seconds from the start of the clip.
    hits_s : ndarray, shape (n,)
        Hits, to which the start of the chord is moved where one is near.

    Returns
    -------
    float
        Seconds from the start of the clip, at most `last_hit_s`.
    """
    first_s = max(last_hit_s - _LONGEST_CHORD_S, 0.0)
    shapes = _chord_shapes(clip, first_s, sound_end_s)
    at = min(int((last_hit_s - first_s) / _STEP_S), len(shapes))
    last = shapes[at : at + round(_OF_LAST_S / _STEP_S)]
    if len(last) == 0 or at == 0:
        return last_hit_s
    model = last.mean(axis=0)
    model /= max(float(np.linalg.norm(model)), 1e-9)
    is_other = np.flatnonzero(_slowly(shapes[:at] @ model) < _SAME_CHORD)
    starts_s = first_s + (float(is_other[-1]) + 1.0) * _STEP_S if len(is_other) else first_s
    near = hits_s[np.abs(hits_s - starts_s) < _NEAR_HIT_S]
    if len(near):
        starts_s = float(near[np.argmin(np.abs(near - starts_s))])
    return min(starts_s, last_hit_s)


def held_until_s(levels_db: Floats, last_hit_s: float) -> float:
    """Where what sounds after the last hit is let go: it is last nearly as loud as at its loudest.

    A struck chord falls at once. What stays loud is held by somebody, and may change without an
    attack that could be heard.

    Parameters
    ----------
    levels_db : ndarray, shape (n_hops,)
        Level hop by hop.
    """
    slow_db = smoothed_db(levels_db, round(_HELD_WINDOW_S / HOP_S))[int(last_hit_s / HOP_S) :]
    if len(slow_db) == 0:
        return last_hit_s
    held = np.flatnonzero(slow_db > slow_db.max() - _HELD_DB)
    return last_hit_s + float(held[-1]) * HOP_S


def rung_out_s(low_db: Floats, last_hit_s: float, sound_end_s: float) -> float:
    """Where what rings after the last hit has fallen by `RING_FALL_DB` for good.

    Parameters
    ----------
    low_db : ndarray, shape (n_hops,)
        Level hop by hop.
    """
    first, last = int(last_hit_s / HOP_S), max(int(sound_end_s / HOP_S), 1)
    levels = low_db[min(first, len(low_db) - 1) : last]
    if len(levels) == 0:
        return sound_end_s
    top_db = float(levels[: max(round(0.3 / HOP_S), 1)].max())
    above = np.flatnonzero(levels > top_db - RING_FALL_DB)
    return min(last_hit_s + (float(above[-1]) + 1.0) * HOP_S, sound_end_s)


def outro_of(levels_db: Floats, body_db: float, last_hit_s: float) -> tuple[float, float] | None:
    """Where a last part begins that is clearly quieter, and its level against the body.

    Parameters
    ----------
    levels_db : ndarray, shape (n_hops,)
        Level hop by hop.
    body_db : float
        Level of the body of the edge.
    last_hit_s : float
        Until where the part may last; what comes after is ring.

    Returns
    -------
    tuple of float or None
        Seconds from the start of the edge, and decibels below zero. None where there is none.
    """
    slow_db = smoothed_db(levels_db, round(_OUTRO_WINDOW_S / HOP_S)) - body_db
    end = min(int(last_hit_s / HOP_S), len(slow_db))
    loud = np.flatnonzero(slow_db[:end] > -_OUTRO_BELOW_DB)
    first = int(loud[-1]) + 1 if len(loud) else 0
    length_s = (end - first) * HOP_S
    if not len(loud) or not _OUTRO_LEAST_S <= length_s <= _OUTRO_LONGEST_S:
        return None
    half = (first + end) // 2
    if slow_db[first:half].mean() - slow_db[half:end].mean() > _OUTRO_SINKS_DB:
        return None  # it only rings
    fast_db = smoothed_db(levels_db, round(1.0 / HOP_S)) - body_db
    reach = round(_OUTRO_STEP_S / HOP_S)
    window = fast_db[max(first - reach, 0) : first + reach]
    third = max(len(window) // 3, 1)
    if window[:third].mean() - window[-third:].mean() < _OUTRO_STEP_DB:
        return None
    level_db = 10.0 * np.log10(np.mean(10.0 ** (slow_db[first:end] / 10.0)))
    return first * HOP_S, float(level_db)


def _slowly(values: Floats) -> Floats:
    """Median of five steps: one odd step is a drum, no chord."""
    padded = np.pad(values, 2, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1))


def _chord_shapes(clip: Clip, start_s: float, end_s: float) -> Floats:
    """Which semitones sound, shape (n_steps, n_semitones), each step of length one."""
    import soxr
    from scipy import fft

    reach = _FRAMES // 2
    piece = mono_of(clip.samples[int(start_s * clip.rate_hz) : int(end_s * clip.rate_hz)])
    sound = soxr.resample(piece, clip.rate_hz, _RATE_HZ, quality="LQ")
    padded = np.pad(sound, (reach, reach))
    windows = np.lib.stride_tricks.sliding_window_view(padded, _FRAMES)[
        :: round(_STEP_S * _RATE_HZ)
    ]
    spectra = np.abs(fft.rfft(windows * np.hanning(_FRAMES).astype(np.float32), axis=1))
    borders_hz = 440.0 * 2.0 ** ((np.arange(_LOWEST_MIDI, _HIGHEST_MIDI) - 69.5) / 12.0)
    bins = np.unique(np.ceil(borders_hz * _FRAMES / _RATE_HZ).astype(int))
    shapes = np.sqrt(np.add.reduceat(spectra[:, : bins[-1]], bins[:-1], axis=1)).astype(np.float64)
    shapes -= shapes.mean(axis=1, keepdims=True)
    return np.asarray(shapes / np.maximum(np.linalg.norm(shapes, axis=1, keepdims=True), 1e-9))
