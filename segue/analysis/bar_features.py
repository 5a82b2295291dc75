"""What phrases, loops and bars are told from: one spectrum of an edge, averaged over its beats.

Beats are the pulse's own; a bar is what lies between two downbeats. Levels are decibels re the
loudest moment, in bands of equal width on the mel scale; notes are the twelve pitch classes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.envelope import mono_of
from segue.audio.adapters import mono_at_rate

if TYPE_CHECKING:
    from segue.analysis.facts import PulseFact
    from segue.arrays import Floats, Floats32, Ints
    from segue.audio.clip import SongEdge


RATE_HZ: Final = 22_050  # rate of the sound that is analysed; by judgement
HOP_FRAMES: Final = 512  # frames from spectrum to spectrum, 23 ms; by judgement
HOP_S: Final = HOP_FRAMES / RATE_HZ
N_BANDS: Final = 40  # bands of equal width in mel; by judgement
FLOOR_DB: Final = -60.0  # re the loudest moment: all that is quieter counts as this; by judgement
LEAST_BARS: Final = 2  # with fewer bars nothing can be compared; by judgement
_WINDOW_FRAMES: Final = 2048  # frames of a spectrum, 93 ms; by judgement
_LOWEST_HZ, _HIGHEST_HZ = 40.0, 10_000.0  # where the mel bands begin and end; by judgement
_VOICE_FROM_HZ, _VOICE_TO_HZ = 300.0, 3000.0  # where speech has its formants, roughly; by judgement
# what is folded into pitch classes, A2 to about D#7; by judgement
_NOTES_FROM_HZ, _NOTES_TO_HZ = 110.0, 2500.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BarFeatures:
    """The spectrum of an edge and its bars.

    Parameters
    ----------
    bands_db : ndarray, shape (n_hops, 40)
        Level in each band, `FLOOR_DB` at least, 0 for the loudest.
    notes : ndarray, shape (n_hops, 12)
        Strength of each pitch class.
    middle : ndarray, shape (n_hops // 2, n_bins)
        Amplitude from 300 to 3000 Hz, where voices are, the louder of every two hops and bins.
    start_s : float
        Time of the first hop in the file, in seconds.
    lines_s : ndarray, shape (n_bars + 1,)
        Bar lines in seconds of the file: the downbeats, and where the last bar ends.
    """

    bands_db: Floats
    notes: Floats
    middle: Floats32
    start_s: float
    lines_s: Floats
    metre: int

    @property
    def n_bars(self) -> int:
        """How many bars there are."""
        return len(self.lines_s) - 1

    def hop_at(self, time_s: float | Floats) -> Ints:
        """The hop nearest a time of the file, inside what was heard."""
        hops = np.rint((np.asarray(time_s) - self.start_s) / HOP_S).astype(np.int64)
        return np.clip(hops, 0, len(self.bands_db))

    def by_parts(self, values: Floats, parts_a_bar: int) -> Floats:
        """Means of some values by hop over equal parts of every bar.

        Returns
        -------
        ndarray, shape (n_bars, parts_a_bar, n_values)
        """
        steps = np.arange(parts_a_bar) / parts_a_bar
        places_s = self.lines_s[:-1, None] + steps * np.diff(self.lines_s)[:, None]
        borders = self.hop_at(np.append(places_s.ravel(), self.lines_s[-1]))
        sums = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])
        last = np.maximum(borders[1:], borders[:-1] + 1)
        last = np.minimum(last, len(values))
        first = np.minimum(borders[:-1], last - 1)
        means = (sums[last] - sums[first]) / (last - first)[:, None]
        return np.asarray(means.reshape(self.n_bars, parts_a_bar, values.shape[1]))


def bar_features(edge: SongEdge, pulse: PulseFact) -> BarFeatures | None:
    """The spectrum of an edge by its bars; None where there are not two of them."""
    lines_s = _bar_lines_s(edge, pulse)
    if len(lines_s) <= LEAST_BARS:
        return None
    power = _power(edge)
    bands = power @ _mel_bands()
    loudest = max(float(bands.max()), 1e-12)
    bands_db = np.maximum(10.0 * np.log10(np.maximum(bands / loudest, 1e-12)), FLOOR_DB)
    notes = np.sqrt(power @ _pitch_classes())
    return BarFeatures(
        bands_db=bands_db,
        notes=notes,
        middle=_thinned(power[:, _middle_bins()]),
        start_s=edge.start_s,
        lines_s=lines_s,
        metre=pulse.metre,
    )


def _bar_lines_s(edge: SongEdge, pulse: PulseFact) -> Floats:
    """Downbeats, and the end of the last bar where most of it sounds."""
    lines_s = np.asarray(pulse.downbeats_s)
    if not pulse.is_known or len(lines_s) < LEAST_BARS:
        return np.empty(0)
    next_s = lines_s[-1] + float(np.median(np.diff(lines_s)))
    beats_after = sum(t > lines_s[-1] for t in pulse.beats_s)
    whole = beats_after >= pulse.metre - 1 and next_s <= edge.end_s + 0.5 * pulse.beat_s
    return np.append(lines_s, next_s) if whole else lines_s


def _power(edge: SongEdge) -> Floats:
    """Power spectrum by hop, each centred on its time."""
    from scipy import fft

    mono = mono_at_rate(
        mono_of(edge.mix.samples), from_hz=edge.rate_hz, to_hz=RATE_HZ, quality="LQ"
    )
    half = _WINDOW_FRAMES // 2
    padded = np.pad(mono, (half, half))
    windows = np.lib.stride_tricks.sliding_window_view(padded, _WINDOW_FRAMES)[::HOP_FRAMES]
    shape = np.hanning(_WINDOW_FRAMES + 1)[:-1].astype(np.float32)
    spectra = fft.rfft(windows * shape, axis=1)
    return np.asarray(spectra.real**2 + spectra.imag**2, dtype=np.float64)


@lru_cache(maxsize=1)
def _mel_bands() -> Floats:
    """Bands of equal width on the mel scale of O'Shaughnessy (1987), shape (n_bins, n_bands)."""
    hertz = np.fft.rfftfreq(_WINDOW_FRAMES, 1.0 / RATE_HZ)
    mel = 2595.0 * np.log10(1.0 + hertz / 700.0)
    ends = 2595.0 * np.log10(1.0 + np.array([_LOWEST_HZ, _HIGHEST_HZ]) / 700.0)
    band = np.floor((mel - ends[0]) / (ends[1] - ends[0]) * N_BANDS)
    return np.asarray(band[:, None] == np.arange(N_BANDS), dtype=np.float64)


def _thinned(power: Floats) -> Floats32:
    n_hops, n_bins = (size // 2 * 2 for size in power.shape)
    pairs = power[:n_hops, :n_bins].astype(np.float32).reshape(n_hops // 2, 2, n_bins // 2, 2)
    return np.asarray(np.sqrt(pairs.max(axis=(1, 3))))


def _middle_bins() -> slice:
    """Bins in which voices are."""
    bin_hz = RATE_HZ / _WINDOW_FRAMES
    return slice(round(_VOICE_FROM_HZ / bin_hz), round(_VOICE_TO_HZ / bin_hz))


@lru_cache(maxsize=1)
def _pitch_classes() -> Floats:
    """Which bins belong to which pitch class, shape (n_bins, 12)."""
    hertz = np.maximum(np.fft.rfftfreq(_WINDOW_FRAMES, 1.0 / RATE_HZ), 1.0)
    classes = np.rint(69.0 + 12.0 * np.log2(hertz / 440.0)).astype(int) % 12
    inside = (hertz >= _NOTES_FROM_HZ) & (hertz <= _NOTES_TO_HZ)
    return np.asarray((classes[:, None] == np.arange(12)) & inside[:, None], dtype=np.float64)
