"""The partials that sound at a moment, and the air between them.

A long window's spectrum is taken apart into peaks, each a partial of steady
frequency, level and phase in both channels, and what remains when they are
taken out. Frequencies are read off by a parabola through the logarithm of the
peak's three bins [SS87]_; the window is Gaussian, for which that is exact.

References
----------
.. [SS87] J. O. Smith and X. Serra, "PARSHL: an analysis/synthesis program for
   non-harmonic sounds based on a sinusoidal representation", ICMC 1987.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.render.spectra import odd

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.arrays import Floats, Floats32, Ints

MOMENT_S: Final = 0.36
"""Length of the window; half of it, around the middle, is what is heard."""
_GAUSS_WIDTHS: Final = 3.3
"""Half the window in standard deviations: side lobes below -80 dB."""
_PADDING: Final = 4  # the spectrum is this many times as fine as its window, by zeros
_LEAST_DB: Final = -70.0  # a partial is no further below the loudest; by judgement
_ABOVE_AIR_DB: Final = 9.0  # a partial stands this far out of the noise around it; by judgement
_AIR_WIDTH_HZ: Final = 120.0  # the noise is the median over this width; by judgement
_MOST_PARTIALS: Final = 240  # the loudest only, which bounds the work; by judgement
_LOWEST_HZ: Final = 30.0  # nothing musical is looked for below; by judgement
_RAYLEIGH_MEAN: Final = 0.886
"""Mean size of a noise bin against its root mean square, sqrt(pi) / 2."""
_MAIN_LOBE_BINS: Final = 4.5
"""Half width of a peak, in bins of the unpadded window."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Partials:
    """Steady tones of a moment.

    Parameters
    ----------
    hertz : ndarray, shape (n_partials,)
    amplitudes : ndarray, shape (n_partials, 2), complex128
        Of each channel: size and phase at the moment.
    air : ndarray, shape (n_bins, 2)
        Colour of the rest: at each frequency, root mean square of the white noise that
        would be as strong there. Bins of `air_window` frames.
    """

    hertz: Floats
    amplitudes: npt.NDArray[np.complex128]
    air: Floats
    air_window: int


def partials_of(moment: Floats32, rate_hz: int) -> Partials:
    """The partials of a moment, the middle frame of the sound given.

    Parameters
    ----------
    moment : ndarray, shape (n_frames, 2), float32
        An even number of frames.
    """
    n_frames = len(moment)
    offsets = np.arange(n_frames) - n_frames // 2
    window = np.exp(-0.5 * (offsets / (n_frames / 2) * _GAUSS_WIDTHS) ** 2)
    size = _PADDING * n_frames
    padded = np.zeros((size, 2))
    padded[offsets % size] = moment * window[:, None]  # phases count from the middle frame
    spectrum = np.fft.rfft(padded, axis=0) * (2 / window.sum())
    power = (np.abs(spectrum) ** 2).sum(axis=1)
    bins = _peaks(power, size, rate_hz)
    places = bins + _parabola_tops(np.log(power + 1e-30), bins)
    amplitudes = _at_places(spectrum, bins, places, _log_curvature(window, size))
    air = _air(power, spectrum, bins, size, rate_hz)
    noise_scale = 2 * np.sqrt(np.square(window).sum()) / window.sum() * _RAYLEIGH_MEAN
    return Partials(
        hertz=places * rate_hz / size,
        amplitudes=amplitudes,
        air=air[::_PADDING] / noise_scale,
        air_window=n_frames,
    )


def _peaks(power: Floats, size: int, rate_hz: int) -> Ints:
    """Bins of the partials, in order of frequency: what stands out of its surroundings."""
    from scipy.ndimage import median_filter
    from scipy.signal import find_peaks

    level_db = 10 * np.log10(power + 1e-30)
    floor_db = median_filter(level_db, size=odd(_AIR_WIDTH_HZ * size / rate_hz))
    heights = np.maximum(floor_db + _ABOVE_AIR_DB, level_db.max() + _LEAST_DB)
    found, _ = find_peaks(level_db, height=heights, distance=round(1.5 * _PADDING))
    found = found[(found > _LOWEST_HZ * size / rate_hz) & (found < len(power) - 2)]
    loudest = found[np.argsort(level_db[found])[::-1][:_MOST_PARTIALS]]
    peaks: Ints = np.sort(loudest)
    return peaks


def _parabola_tops(level: Floats, bins: Ints) -> Floats:
    """Where the tops lie between bins, -0.5 to 0.5."""
    below, at, above = level[bins - 1], level[bins], level[bins + 1]
    bend = below - 2 * at + above
    tops: Floats = np.clip(0.5 * (below - above) / np.minimum(bend, -1e-9), -1, 1)
    return tops


def _log_curvature(window: Floats, size: int) -> float:
    """How fast the logarithm of a peak's size falls, per bin squared."""
    offsets = np.arange(len(window)) - len(window) // 2
    at_bin = abs(np.sum(window * np.exp(-2j * np.pi * offsets / size))) / window.sum()
    return float(-np.log(at_bin))


def _at_places(
    spectrum: npt.NDArray[np.complex128], bins: Ints, places: Floats, curvature: float
) -> npt.NDArray[np.complex128]:
    """Complex size of each peak at its top; phase does not move with a window centred on 0."""
    off = (places - bins)[:, None]
    tops: npt.NDArray[np.complex128] = spectrum[bins] * np.exp(curvature * off**2)
    return tops


def _air(
    power: Floats, spectrum: npt.NDArray[np.complex128], bins: Ints, size: int, rate_hz: int
) -> Floats:
    """Smooth level of what is left between the partials, channel by channel."""
    from scipy.ndimage import median_filter, uniform_filter1d

    reach = round(_MAIN_LOBE_BINS * _PADDING)
    is_partial = np.zeros(len(power), dtype=bool)
    for peak in bins:
        is_partial[max(peak - reach, 0) : peak + reach + 1] = True
    width = odd(_AIR_WIDTH_HZ * size / rate_hz)
    air = np.empty(spectrum.shape)
    for channel in range(spectrum.shape[1]):
        size_of = np.abs(spectrum[:, channel])
        floor = median_filter(size_of, size=width)
        rest = np.where(is_partial, np.minimum(size_of, floor), size_of)
        air[:, channel] = uniform_filter1d(np.minimum(rest, 4 * floor), width)
    air[: round(_LOWEST_HZ * size / rate_hz)] = 0.0
    return air
