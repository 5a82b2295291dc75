"""Pitch of a single voice, hop by hop, and whether a sound is one voice alone.

The squared difference of a window with itself a lag later, divided by its mean
over shorter lags ([CK02]_, equations 6 and 8), computed through the Fourier
transform for many windows at once. The first deep dip gives the period.

To tell one voice a few windows a second are enough: where it is loud, one voice has a clear
pitch. So has a chord in tune, which repeats as a far lower note would; but of that note it
lacks the first partial, which a voice has.

References
----------
.. [CK02] A. de Cheveigne and H. Kawahara, "YIN, a fundamental frequency
   estimator for speech and music", J. Acoust. Soc. Am. 111(4), 2002, 1917-1930.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.envelope import level_db, mono_of, smoothed_db
from segue.audio.adapters import mono_at_rate
from segue.music.key import hertz_of

if TYPE_CHECKING:
    from segue.arrays import Floats, Floats32, Ints
    from segue.audio.clip import Clip


# All numbers below chosen on rendered voices, leads and bands: no band may pass for a voice.
_HOP_S: Final = 0.05  # seconds from one look to the next
_LEVEL_HOP_S: Final = 0.005  # seconds from level to level
_LEVEL_HOPS: Final = 5  # levels that are smoothed over, 25 ms
_SILENT_DB: Final = -70.0  # re full scale: what never gets louder is silence
_LOUD_PERCENTILE: Final = 97.0  # of the levels: what stands for a loud one
_LOUD_DB: Final = 13.0  # what is less than this below a loud level is asked
_CLEAR: Final = 0.92  # least clarity of one voice
_LOWEST_MIDI: Final = 38.0  # D2: a lower pitch is the far note of a chord
# under the strongest: a chord's far note has less of a first partial
_FIRST_PARTIAL_DB: Final = -30.0
_LEAST_SHARE: Final = 0.6  # of the loud hops that must sound like one voice
_MONOPHONY_N_FFT: Final = 1024  # frames of a spectrum at the tracking rate, 85 ms


def is_monophonic(clip: Clip) -> bool:
    """Whether one voice at a time sounds: most of what is loud has one clear pitch.

    Returns
    -------
    bool
        True for a voice or a single lead line, False for chords, drums, mixes.
    """
    mono = at_track_rate(clip)
    band = voice_band(mono)
    fine_db = smoothed_db(level_db(band[:, None], TRACK_RATE_HZ, hop_s=_LEVEL_HOP_S), _LEVEL_HOPS)
    levels_db = fine_db[:: round(_HOP_S / _LEVEL_HOP_S)]
    if len(levels_db) == 0 or levels_db.max() < _SILENT_DB:
        return False
    loud = levels_db > np.percentile(levels_db, _LOUD_PERCENTILE) - _LOUD_DB
    track = pitch_track(band, hop_s=_HOP_S)
    is_voice = (
        (track.clarity > _CLEAR)
        & (track.midi > _LOWEST_MIDI)
        & (_first_partial_db(mono, track.midi) > _FIRST_PARTIAL_DB)
    )
    return bool(np.mean(is_voice[: len(loud)][loud]) > _LEAST_SHARE)


def _first_partial_db(mono: Floats32, midi: Floats) -> Floats:
    """Level of a note's first partial under the strongest of the sound, hop by hop."""
    from scipy import fft

    padded = np.pad(mono, _MONOPHONY_N_FFT // 2)
    windows = np.lib.stride_tricks.sliding_window_view(padded, _MONOPHONY_N_FFT)
    windows = windows[:: round(_HOP_S * TRACK_RATE_HZ)][: len(midi)]
    levels = np.abs(fft.rfft(windows * np.hanning(_MONOPHONY_N_FFT).astype(np.float32), axis=1))
    bins = np.round(hertz_of(midi) / TRACK_RATE_HZ * _MONOPHONY_N_FFT).astype(int)[
        :, None
    ] + np.array([-1, 0, 1])
    first = np.take_along_axis(levels, bins, axis=1).max(axis=1)
    floor = 1e-9
    return np.asarray(20.0 * np.log10((first + floor) / (levels.max(axis=1) + floor)))


TRACK_RATE_HZ: Final = 12_000
"""Pitch is tracked at this rate: it carries five harmonics of the highest note."""
TRACK_HOP_S: Final = 0.005  # seconds from pitch to pitch; by judgement
LOWEST_HZ: Final = 60.0  # lowest pitch that is tracked, about B1; by judgement
HIGHEST_HZ: Final = 1300.0  # highest pitch that is tracked, about E6; by judgement

# frames that are compared with themselves a lag later, 33 ms; by judgement
_WINDOW_FRAMES: Final = 400
_LONGEST_LAG: Final = round(TRACK_RATE_HZ / LOWEST_HZ)
_SHORTEST_LAG: Final = int(TRACK_RATE_HZ / HIGHEST_HZ)
_N_FFT: Final = 640  # frames of the Fourier transform: holds window and longest lag; by judgement
_VOICE_BAND_HZ: Final = (200.0, 3500.0)  # band-pass over the formants of a voice; by judgement
_DEEP: Final = 0.12  # a dip of the normalised difference below this is deep; by judgement
_NEARLY_AS_DEEP: Final = 0.08  # or one within this of the deepest; by judgement


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PitchTrack:
    """Pitch hop by hop; hop n is centred on n hops from the start.

    Parameters
    ----------
    midi : ndarray, shape (n_hops,)
        MIDI note number with cents as decimals.
    clarity : ndarray, shape (n_hops,)
        1 for a perfectly periodic sound, 0 for noise.
    """

    midi: Floats
    clarity: Floats


def at_track_rate(clip: Clip) -> Floats32:
    """Mean of all channels at `TRACK_RATE_HZ`.

    Returns
    -------
    ndarray, shape (n_frames,)
    """
    if clip.n_frames == 0:
        return np.empty(0, dtype=np.float32)
    mono = mono_of(clip.samples)
    return mono_at_rate(mono, from_hz=clip.rate_hz, to_hz=TRACK_RATE_HZ, quality="LQ")


def voice_band(mono: Floats32) -> Floats32:
    """The formant range, where a bass, a kick and cymbals behind a voice say little.

    Parameters
    ----------
    mono : ndarray, shape (n_frames,)
        Sound at `TRACK_RATE_HZ`.

    Returns
    -------
    ndarray, shape (n_frames,)
    """
    from scipy import signal

    if len(mono) == 0:
        return mono
    sos = signal.butter(2, _VOICE_BAND_HZ, "bandpass", fs=TRACK_RATE_HZ, output="sos")
    return np.asarray(signal.sosfilt(sos, mono), dtype=np.float32)


def pitch_track(mono: Floats32, *, hop_s: float = TRACK_HOP_S) -> PitchTrack:
    """Pitch of a voice at `TRACK_RATE_HZ`.

    Parameters
    ----------
    mono : ndarray, shape (n_frames,)
        Sound at `TRACK_RATE_HZ`.
    hop_s : float, optional
        Step from one value to the next.
    """
    reach = (_WINDOW_FRAMES + _LONGEST_LAG) // 2
    padded = np.pad(mono, (reach, reach))
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach)
    windows = windows[:: round(hop_s * TRACK_RATE_HZ)]
    dips = _normalised_difference(np.ascontiguousarray(windows, dtype=np.float32))
    lag = _first_deep_dip(dips)
    rows = np.arange(len(dips))
    y0, y1, y2 = dips[rows, lag - 1], dips[rows, lag], dips[rows, lag + 1]
    bend = np.maximum(y0 - 2.0 * y1 + y2, 1e-9)
    shift = np.clip(0.5 * (y0 - y2) / bend, -0.5, 0.5)
    hz = TRACK_RATE_HZ / (lag + shift)
    return PitchTrack(
        midi=69.0 + 12.0 * np.log2(hz / 440.0), clarity=np.clip(1.0 - y1, 0.0, 1.0).astype(float)
    )


def _normalised_difference(windows: Floats32) -> Floats32:
    """Equation 8 for lags 0 to the longest, one row a window."""
    from scipy import fft

    lags = np.arange(_LONGEST_LAG + 1)
    head = np.zeros_like(windows)
    head[:, :_WINDOW_FRAMES] = windows[:, :_WINDOW_FRAMES]
    spectrum = fft.rfft(head, _N_FFT, axis=1).conj() * fft.rfft(windows, _N_FFT, axis=1)
    product = fft.irfft(spectrum, _N_FFT, axis=1)[:, : _LONGEST_LAG + 1]
    sums = np.zeros((len(windows), windows.shape[1] + 1))
    np.cumsum(windows.astype(np.float64) ** 2, axis=1, out=sums[:, 1:])
    energy = sums[:, _WINDOW_FRAMES : _WINDOW_FRAMES + _LONGEST_LAG + 1] - sums[:, lags]
    difference = np.maximum(energy[:, :1] + energy - 2.0 * product, 0.0)
    mean = np.cumsum(difference[:, 1:], axis=1) / lags[1:]
    out = np.ones(difference.shape, dtype=np.float32)
    floor = 1e-9 * energy[:, :1] + 1e-12
    out[:, 1:] = difference[:, 1:] / (mean + floor)
    return out


def _first_deep_dip(dips: Floats32) -> Ints:
    """Lag of the first dip that is deep, or nearly as deep as the deepest."""
    inner = dips[:, _SHORTEST_LAG:_LONGEST_LAG]
    before = dips[:, _SHORTEST_LAG - 1 : _LONGEST_LAG - 1]
    after = dips[:, _SHORTEST_LAG + 1 : _LONGEST_LAG + 1]
    is_dip = (inner <= before) & (inner < after)
    bend = np.maximum(before - 2.0 * inner + after, 1e-6)
    lowest = np.maximum(inner - (before - after) ** 2 / (8.0 * bend), 0.0)  # between two lags
    depth = np.where(is_dip, lowest, 2.0)
    good = depth < np.maximum(_DEEP, depth.min(axis=1, keepdims=True) + _NEARLY_AS_DEEP)
    first = np.where(good.any(axis=1), np.argmax(good, axis=1), np.argmin(inner, axis=1))
    return np.asarray(np.clip(first + _SHORTEST_LAG, 1, _LONGEST_LAG - 1), dtype=np.int64)
