"""New notes without an attack: a bowed, blown or organ chord that simply changes.

Where the levels of several semitones rise at once a note has changed, though no
band of the sound rises as a whole. Neighbouring semitones before count as the
same note, so that vibrato is no change.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.adapters import mono_at_rate

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

_RATE_HZ: Final = 12_000  # rate of the sound that is analysed; by judgement
_HOP_FRAMES: Final = 240  # frames from spectrum to spectrum, 20 ms; by judgement
_WINDOW_FRAMES: Final = 2048  # frames of a spectrum, 0.17 s; by judgement
_LOWEST_MIDI: Final = 45  # A2, the lowest semitone; by judgement
_HIGHEST_MIDI: Final = 108  # C8: semitones below it are heard; by judgement
_REACH_HOPS: Final = 5  # hops before and after between which levels rise, 0.1 s; by judgement
_HEARD_BELOW_TOP_DB: Final = 25.0  # what is further below the loudest is no note; by judgement
# what was further below the loudest counts as this; by judgement
_BEFORE_BELOW_TOP_DB: Final = 30.0
_MOST_RISE_DB: Final = 15.0  # a semitone counts with no more; by judgement
_PEAK_HOPS: Final = 5  # a change is the largest within so many hops; by judgement
_LEAST_SUM_DB: Final = 75.0  # chosen on rendered strings, organs and choirs

UNHEARD_S: Final = (_WINDOW_FRAMES / 2 + _REACH_HOPS * _HOP_FRAMES) / _RATE_HZ
"""What is needed of the sound before and after a change."""


def soft_hits_s(mono: npt.NDArray[np.float32], rate_hz: int) -> Floats:
    """Times of note changes, to about 0.1 s: a window is 0.17 s long.

    Parameters
    ----------
    mono : ndarray, shape (n_frames,)
        Sound of all channels together. No change is heard within `UNHEARD_S` of
        either end, for a cut would pass for one.
    rate_hz : int
        Frames per second.

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
    padded = np.pad(change, _PEAK_HOPS)
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * _PEAK_HOPS + 1).max(axis=1)
    peaks = np.flatnonzero((change >= around) & (change > _LEAST_SUM_DB))
    return np.asarray(peaks * _HOP_FRAMES / _RATE_HZ + UNHEARD_S)


def _semitone_levels_db(mono: npt.NDArray[np.float32], rate_hz: int) -> Floats:
    from scipy import fft

    sound = mono_at_rate(mono, from_hz=rate_hz, to_hz=_RATE_HZ, quality="LQ")
    if len(sound) < _WINDOW_FRAMES:
        return np.empty((0, 1))
    windows = np.lib.stride_tricks.sliding_window_view(sound, _WINDOW_FRAMES)[::_HOP_FRAMES]
    spectra = np.abs(fft.rfft(windows * np.hanning(_WINDOW_FRAMES).astype(np.float32), axis=1))
    borders_midi = np.arange(_LOWEST_MIDI, _HIGHEST_MIDI) - 0.5
    borders_hz = 440.0 * 2.0 ** ((borders_midi - 69.0) / 12.0)
    bins = np.unique(np.ceil(borders_hz * _WINDOW_FRAMES / _RATE_HZ).astype(int))
    semitones = np.add.reduceat(spectra[:, : bins[-1]], bins[:-1], axis=1)
    return np.asarray(20.0 * np.log10(np.maximum(semitones, 1e-6)), dtype=np.float64)


def _widened(levels_db: Floats) -> Floats:
    """The loudest of each semitone and its two neighbours."""
    sides = np.pad(levels_db, ((0, 0), (1, 1)), mode="edge")
    return np.maximum(np.maximum(sides[:, :-2], sides[:, 2:]), levels_db)
