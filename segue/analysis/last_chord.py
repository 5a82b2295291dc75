"""Where the last chord of an edge starts, how long it is held and rings, and a quieter last part.

A chord is told from the one before by its notes: levels of semitones, compressed and without
their mean, so that neither a decay nor a fader is a change. Notes may change without an attack,
as of a bowed, blown or organ chord (`soft_hits_s`): the levels of several semitones rise at once,
though no band of the sound rises as a whole. Neighbouring semitones before count as the
same note, so that vibrato is no change.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.envelope import HOP_S, mono_of, peaks_of, smoothed_db
from segue.audio.adapters import mono_at_rate
from segue.music.key import hertz_of

if TYPE_CHECKING:
    from segue.arrays import Floats, Floats32
    from segue.audio.clip import Clip


RING_FALL_DB: Final = 20.0
"""A chord that has fallen this far has rung out: half as loud and half again."""

# Set by judgement on the labelled endings of the edges benchmark, the half to tune on.
_HELD_DB: Final = 6.0  # what is held is less than this below the loudest after the last hit
_HELD_SINKS_DB_S: Final = 0.3  # ...and by so much a second: who holds on plays softer; by judgement
_HELD_WINDOW_S: Final = 0.5  # seconds that the level is smoothed over to see what is held
_RATE_HZ: Final = 6000  # rate of the sound in which chords are heard
_FRAMES: Final = 1024  # frames of a spectrum at that rate, 0.17 s
_STEP_S: Final = 0.05  # seconds from spectrum to spectrum
_CHORD_MIDI: Final = (40, 90)  # MIDI notes from and up to which semitones are heard
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

    A struck chord falls at once. What stays loud, or sinks but slowly, is held by somebody, and may
    change without an attack that could be heard.

    Parameters
    ----------
    levels_db : ndarray, shape (n_hops,)
        Level hop by hop.
    """
    slow_db = smoothed_db(levels_db, round(_HELD_WINDOW_S / HOP_S))[int(last_hit_s / HOP_S) :]
    if len(slow_db) == 0:
        return last_hit_s
    since_top_s = (np.arange(len(slow_db)) - slow_db.argmax()) * HOP_S
    least_db = slow_db.max() - _HELD_DB - _HELD_SINKS_DB_S * np.maximum(since_top_s, 0.0)
    held = np.flatnonzero(slow_db > least_db)
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


def semitones(
    sound: Floats32, rate_hz: int, *, window: int, hop: int, midi: tuple[int, int]
) -> Floats32:
    """Magnitude of each semitone, hop by hop.

    Parameters
    ----------
    sound : ndarray, shape (n_frames,)
        At least one window.
    window, hop : int
        Frames of a spectrum, and from one to the next.
    midi : (int, int)
        The lowest note, and the one after the highest.

    Returns
    -------
    ndarray, shape (n_hops, n_semitones)
        Low ones that no bin parts are one.
    """
    from scipy import fft

    windows = np.lib.stride_tricks.sliding_window_view(sound, window)[::hop]
    spectra = np.abs(fft.rfft(windows * np.hanning(window).astype(np.float32), axis=1))
    borders_hz = hertz_of(np.arange(*midi) - 0.5)
    bins = np.unique(np.ceil(borders_hz * window / rate_hz).astype(int))
    return np.asarray(np.add.reduceat(spectra[:, : bins[-1]], bins[:-1], axis=1))


def _chord_shapes(clip: Clip, start_s: float, end_s: float) -> Floats:
    """Which semitones sound, shape (n_steps, n_semitones), each step of length one."""
    piece = mono_of(clip.samples[int(start_s * clip.rate_hz) : int(end_s * clip.rate_hz)])
    sound = mono_at_rate(piece, from_hz=clip.rate_hz, to_hz=_RATE_HZ, quality="LQ")
    padded = np.pad(sound, _FRAMES // 2)
    hop = round(_STEP_S * _RATE_HZ)
    heard = semitones(padded, _RATE_HZ, window=_FRAMES, hop=hop, midi=_CHORD_MIDI)
    shapes = np.sqrt(heard).astype(np.float64)
    shapes -= shapes.mean(axis=1, keepdims=True)
    return np.asarray(shapes / np.maximum(np.linalg.norm(shapes, axis=1, keepdims=True), 1e-9))


_SOFT_RATE_HZ: Final = 12_000  # rate of the sound that is analysed; by judgement
_SOFT_HOP_FRAMES: Final = 240  # frames from spectrum to spectrum, 20 ms; by judgement
_SOFT_WINDOW_FRAMES: Final = 2048  # frames of a spectrum, 0.17 s; by judgement
_SOFT_MIDI: Final = (45, 108)  # A2, the lowest semitone, and C8, below which they end; by judgement
_REACH_HOPS: Final = 5  # hops before and after between which levels rise, 0.1 s; by judgement
_HEARD_BELOW_TOP_DB: Final = 25.0  # what is further below the loudest is no note; by judgement
# what was further below the loudest counts as this; by judgement
_BEFORE_BELOW_TOP_DB: Final = 30.0
_MOST_RISE_DB: Final = 15.0  # a semitone counts with no more; by judgement
_PEAK_HOPS: Final = 5  # a change is the largest within so many hops; by judgement
_LEAST_SUM_DB: Final = 75.0  # chosen on rendered strings, organs and choirs

UNHEARD_S: Final = (_SOFT_WINDOW_FRAMES / 2 + _REACH_HOPS * _SOFT_HOP_FRAMES) / _SOFT_RATE_HZ
"""What is needed of the sound before and after a change."""


def soft_hits_s(mono: Floats32, rate_hz: int) -> Floats:
    """Times of note changes, to about 0.1 s: a window is 0.17 s long.

    Parameters
    ----------
    mono : ndarray, shape (n_frames,)
        Sound of all channels together. No change is heard within `UNHEARD_S` of
        either end, for a cut would pass for one.

    Returns
    -------
    ndarray, shape (n,)
        Seconds from the start of the sound given, ascending.
    """
    levels = _semitone_levels_db(mono, rate_hz)
    reach = _REACH_HOPS
    if len(levels) <= 2 * reach:
        return np.empty(0)
    after, before = levels[2 * reach :], _widened(levels[: -2 * reach])
    top = after.max(axis=1, keepdims=True)
    rise = np.clip(after - np.maximum(before, top - _BEFORE_BELOW_TOP_DB), 0.0, _MOST_RISE_DB)
    change = (rise * (after > top - _HEARD_BELOW_TOP_DB)).sum(axis=1)
    peaks = peaks_of(change, reach=_PEAK_HOPS, least=_LEAST_SUM_DB)
    return np.asarray(peaks * _SOFT_HOP_FRAMES / _SOFT_RATE_HZ + UNHEARD_S)


def _semitone_levels_db(mono: Floats32, rate_hz: int) -> Floats:
    sound = mono_at_rate(mono, from_hz=rate_hz, to_hz=_SOFT_RATE_HZ, quality="LQ")
    if len(sound) < _SOFT_WINDOW_FRAMES:
        return np.empty((0, 1))
    heard = semitones(
        sound, _SOFT_RATE_HZ, window=_SOFT_WINDOW_FRAMES, hop=_SOFT_HOP_FRAMES, midi=_SOFT_MIDI
    )
    return np.asarray(20.0 * np.log10(np.maximum(heard, 1e-6)), dtype=np.float64)


def _widened(levels_db: Floats) -> Floats:
    """The loudest of each semitone and its two neighbours."""
    sides = np.pad(levels_db, ((0, 0), (1, 1)), mode="edge")
    return np.maximum(np.maximum(sides[:, :-2], sides[:, 2:]), levels_db)
