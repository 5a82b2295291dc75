"""Level over time, and the hits of a band in it.

Level is mean square over all channels in decibels re full scale, one value a
hop. A hit is an attack that raises many bands at once; its time is where the
energy of a few milliseconds rises most, so it is finer than a hop.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib import resources
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.arrays import Floats, Floats32, Ints


HOP_S: Final = 0.01  # seconds from level to level; by judgement
SILENCE_DB: Final = -160.0
"""Level given to digital silence."""

_LEAST_SOUND: Final = 1e-4
"""-80 dB re full scale: the floor of a recording is louder."""
_N_BANDS: Final = 24  # bands, about a third of an octave each; by judgement
_LOWEST_BAND_HZ: Final = 60.0  # where the bands begin; by judgement
_HIGHEST_BAND_HZ: Final = 12_000.0  # where the bands end, or at 0.45 of the rate; by judgement
# a band's levels stop so far below its loudest, for noise; by judgement
_BAND_RANGE_DB: Final = 50.0
_MAX_RISE_DB: Final = 24.0  # a band counts with no more, so that none decides alone; by judgement
_RISE_HOPS: Final = 3  # hops that a rise is taken over; by judgement
_PEAK_REACH_HOPS: Final = 5  # a hit is the largest rise within so many hops; by judgement
# what falls by this right after a rise is a cut's click, no hit; by judgement
_CUT_FALL_DB: Final = 8.0
_LEAST_RISE_DB: Final = 3.0  # least mean rise over the bands of a hit; by judgement
_FINE_S: Final = 0.001  # seconds of a step of the fine time; by judgement
# seconds around a rise in which its fine time is looked for; by judgement
_FINE_REACH_S: Final = 0.045
_FINE_BEFORE_STEPS: Final = 12  # milliseconds before a time whose energy is compared; by judgement
_FINE_AFTER_STEPS: Final = 8  # milliseconds after a time whose energy is compared; by judgement


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hits:
    """Attacks of the band.

    Parameters
    ----------
    times_s : ndarray, shape (n,)
        Seconds from the start of the sound given, ascending.
    rises_db : ndarray, shape (n,)
        Mean rise over all bands: how strong each attack is.
    """

    times_s: Floats
    rises_db: Floats


def stored_tables(name: str) -> dict[str, npt.NDArray[Any]]:
    """The tables of a model that lies beside this module, in an ``.npz``."""
    place = resources.files("segue.analysis").joinpath(name)
    with place.open("rb") as file, np.load(file, allow_pickle=False) as packed:
        return {table: packed[table] for table in packed.files}


def mono_of(samples: Floats32) -> Floats32:
    """Mean of all channels, as one product: five times as fast as a mean along the rows.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, n_channels)

    Returns
    -------
    ndarray, shape (n_frames,)

    Examples
    --------
    >>> mono_of(np.array([[0.5, 0.25], [-1.0, 1.0]], dtype=np.float32)).tolist()
    [0.375, 0.0]
    """
    n_channels = samples.shape[1]
    return np.asarray(samples @ np.full(n_channels, 1.0 / n_channels, dtype=np.float32))


def level_db(samples: Floats32, rate_hz: int, *, hop_s: float = HOP_S) -> Floats:
    """Level hop by hop.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, n_channels)
        Sound, full scale ±1.
    hop_s : float
        Length of a hop. An incomplete hop at the end is left out.

    Returns
    -------
    ndarray, shape (n_hops,)
        Decibels re full scale; `SILENCE_DB` for digital silence.

    Examples
    --------
    >>> level_db(np.full((960, 2), 0.1, dtype=np.float32), 48_000).round(3).tolist()
    [-20.0, -20.0]
    """
    edges = _hop_edges(len(samples), rate_hz, hop_s)
    if len(edges) <= 1:
        return np.empty(0)
    used = samples[: edges[-1]]
    energy = np.einsum("ij,ij->i", used, used)
    sums = np.add.reduceat(energy, edges[:-1], dtype=np.float64)
    power = sums / (np.diff(edges) * samples.shape[1])
    return np.asarray(10.0 * np.log10(np.maximum(power, 10.0 ** (SILENCE_DB / 10.0))))


def body_level_db(levels_db: Floats) -> float:
    """Level of the body of some sound: of its loud quarter, gaps and silence left out.

    Parameters
    ----------
    levels_db : ndarray, shape (n_hops,)
        At least one.
    """
    return float(np.percentile(levels_db[levels_db > levels_db.max() - _OF_BODY_DB], 75))


_OF_BODY_DB: Final = 30.0  # what lies further below the loudest is not of its body


def smoothed_db(levels_db: Floats, n_hops: int) -> Floats:
    """Level averaged in power over a centred window of `n_hops` hops.

    Parameters
    ----------
    levels_db : ndarray, shape (n,)
        Level hop by hop.
    n_hops : int
        Window; 1 changes nothing.

    Returns
    -------
    ndarray, shape (n,)
        Smoothed level; at the ends the window shrinks.
    """
    if n_hops <= 1 or len(levels_db) == 0:
        return levels_db
    sums = np.concatenate([[0.0], np.cumsum(10.0 ** (levels_db / 10.0))])
    first = np.maximum(np.arange(len(levels_db)) - (n_hops - 1) // 2, 0)
    last = np.minimum(np.arange(len(levels_db)) + n_hops // 2 + 1, len(levels_db))
    power = (sums[last] - sums[first]) / (last - first)
    return np.asarray(10.0 * np.log10(np.maximum(power, 10.0 ** (SILENCE_DB / 10.0))))


def hits(mono: Floats32, rate_hz: int) -> Hits:
    """Attacks in a stretch of sound.

    Parameters
    ----------
    mono : ndarray, shape (n_frames,)
        Sound of all channels together. Before it there is taken to be silence,
        so sound at its very start is a hit.

    Returns
    -------
    Hits
        Attacks that raise the bands by 3 dB or more in the mean.
    """
    bands = _band_levels_db(mono, rate_hz)
    if len(bands) <= _RISE_HOPS:
        return Hits(times_s=np.empty(0), rises_db=np.empty(0))
    silence = np.repeat(bands.min(axis=0, keepdims=True), _RISE_HOPS, axis=0)
    earlier = np.concatenate([silence, bands])
    before = np.maximum(earlier[:-_RISE_HOPS], earlier[1 : 1 - _RISE_HOPS])
    rises = np.clip(bands - before, 0.0, _MAX_RISE_DB).mean(axis=1)
    whole = np.logaddexp.reduce(earlier * (np.log(10.0) / 10.0), axis=1) * (10.0 / np.log(10.0))
    after = np.concatenate([whole[2 * _RISE_HOPS :], np.repeat(whole[-1:], _RISE_HOPS)])
    is_cut = after < whole[: len(after)] - _CUT_FALL_DB
    risen = np.where(is_cut, 0.0, rises)
    peaks = peaks_of(risen, reach=_PEAK_REACH_HOPS, least=_LEAST_RISE_DB)
    times_s = np.array([_fine_time_s(mono, rate_hz, near_s=(hop - 0.5) * HOP_S) for hop in peaks])
    return Hits(times_s=times_s, rises_db=rises[peaks])


def sounds(samples: Floats32) -> bool:
    """Whether there is anything to hear: more than dither, at some time."""
    highest, lowest = samples.max(initial=0.0), samples.min(initial=0.0)
    return bool(max(highest, -lowest) > _LEAST_SOUND)


def _hop_edges(n_frames: int, rate_hz: int, hop_s: float) -> Ints:
    n_hops = int(n_frames / rate_hz / hop_s + 1e-9)
    return np.round(np.arange(n_hops + 1) * hop_s * rate_hz).astype(np.int64)


def _band_levels_db(mono: Floats32, rate_hz: int) -> Floats:
    """Level in bands a third of an octave wide, hop by hop, centred on the hop's start.

    Levels stop `_BAND_RANGE_DB` below the loudest of their band, so that noise
    far below the music makes no hits.
    """
    from scipy import fft

    hop = round(HOP_S * rate_hz)
    n_fft = 2 * hop
    padded = np.concatenate([np.zeros(hop, np.float32), mono])  # a cut end is no attack
    if len(padded) < n_fft:
        return np.empty((0, 1))
    windows = np.lib.stride_tricks.sliding_window_view(padded, n_fft)[::hop]
    spectra = fft.rfft(windows * np.hanning(n_fft + 1)[:-1].astype(np.float32), axis=1)
    power = spectra.real**2 + spectra.imag**2
    top_hz = min(_HIGHEST_BAND_HZ, 0.45 * rate_hz)
    edges_hz = np.geomspace(_LOWEST_BAND_HZ, top_hz, _N_BANDS + 1)
    edges = np.unique(np.round(edges_hz / rate_hz * n_fft).astype(int))
    bands = np.add.reduceat(power[:, : edges[-1]], edges[:-1], axis=1).astype(np.float64)
    loudest = bands.max()
    floor = np.maximum(bands.max(axis=0), 1e-4 * loudest) * 10.0 ** (-_BAND_RANGE_DB / 10.0)
    return np.asarray(10.0 * np.log10(np.maximum(bands, np.maximum(floor, 1e-30))))


def peaks_of(values: Floats, *, reach: int, least: float) -> Ints:
    """Where values, which are not negative, are the largest within a reach, and at least so large.

    Parameters
    ----------
    values : ndarray, shape (n,)
    reach : int
        To either side.

    Examples
    --------
    >>> peaks_of(np.array([0.0, 3.0, 1.0, 5.0, 0.0, 1.0]), reach=1, least=2.0).tolist()
    [1, 3]
    """
    from scipy.ndimage import maximum_filter1d

    highest = maximum_filter1d(values, 2 * reach + 1, mode="constant")
    return np.flatnonzero((values >= highest) & (values >= least))


def _fine_time_s(mono: Floats32, rate_hz: int, *, near_s: float) -> float:
    """Where the energy of the few milliseconds after exceeds that before by most.

    The first difference of the sound is used: it tilts the spectrum towards
    the bright start of an attack and is deaf to a bass that sounds on.
    """
    step = round(_FINE_S * rate_hz)
    first = max(int((near_s - _FINE_REACH_S) * rate_hz), 0)
    piece = mono[first : int((near_s + _FINE_REACH_S) * rate_hz)].astype(np.float64)
    lead = np.zeros(_FINE_BEFORE_STEPS * step)  # the start of a file counts as a rise
    change = np.diff(np.concatenate([lead, piece]) if first == 0 else piece)
    n_steps = len(change) // step
    if n_steps < _FINE_BEFORE_STEPS + _FINE_AFTER_STEPS:
        return near_s
    energy = (change[: n_steps * step] ** 2).reshape(n_steps, step).sum(axis=1)
    sums = np.concatenate([[0.0], np.cumsum(energy)])
    at = np.arange(_FINE_BEFORE_STEPS, n_steps - _FINE_AFTER_STEPS + 1)
    after = (sums[at + _FINE_AFTER_STEPS] - sums[at]) / _FINE_AFTER_STEPS
    before = (sums[at] - sums[at - _FINE_BEFORE_STEPS]) / _FINE_BEFORE_STEPS
    floor = 1e-4 * after.max() + 1e-20
    best = int(at[np.argmax((after + floor) / (before + floor))])
    start = first - (len(lead) if first == 0 else 0)
    return (start + best * step) / rate_hz
