"""Whether a sound is one voice alone.

A few windows a second are enough: where it is loud, one voice has a clear pitch. So has
a chord in tune, which repeats as a far lower note would; but of that note it lacks the
first partial, which a voice has.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.envelope import level_db, smoothed_db
from segue.analysis.pitch_track import TRACK_RATE_HZ, at_track_rate, pitch_track, voice_band

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.audio.clip import Clip

    Floats = npt.NDArray[np.float64]

# All numbers below chosen on rendered voices, leads and bands: no band may pass for a voice.
_HOP_S: Final = 0.05
_LEVEL_HOP_S: Final = 0.005
_LEVEL_HOPS: Final = 5
_SILENT_DB: Final = -70.0
_LOUD_PERCENTILE: Final = 97.0
_LOUD_DB: Final = 13.0
_CLEAR: Final = 0.92
_LOWEST_MIDI: Final = 38.0
_FIRST_PARTIAL_DB: Final = -30.0
_LEAST_SHARE: Final = 0.6
_N_FFT: Final = 1024


def is_monophonic(clip: Clip) -> bool:
    """Whether one voice at a time sounds: most of what is loud has one clear pitch.

    Parameters
    ----------
    clip : Clip
        Any sound.

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


def _first_partial_db(mono: npt.NDArray[np.float32], midi: Floats) -> Floats:
    """Level of a note's first partial under the strongest of the sound, hop by hop."""
    from scipy import fft

    padded = np.pad(mono, _N_FFT // 2)
    windows = np.lib.stride_tricks.sliding_window_view(padded, _N_FFT)
    windows = windows[:: round(_HOP_S * TRACK_RATE_HZ)][: len(midi)]
    levels = np.abs(fft.rfft(windows * np.hanning(_N_FFT).astype(np.float32), axis=1))
    hz = 440.0 * 2.0 ** ((midi - 69.0) / 12.0)
    bins = np.round(hz / TRACK_RATE_HZ * _N_FFT).astype(int)[:, None] + np.array([-1, 0, 1])
    first = np.take_along_axis(levels, bins, axis=1).max(axis=1)
    floor = 1e-9
    return np.asarray(20.0 * np.log10((first + floor) / (levels.max(axis=1) + floor)))
