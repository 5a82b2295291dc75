"""A sound's overlapping spectra, a block of them at a time, and its level band by band.

All of them at once would take ten times the memory of the sound. Inside,
channels come first, so that every transform runs over neighbours in memory.

Stretched sound is brought to the level of the sound it was made of. Where pieces of
noise overlap that were not neighbours in the song, they add up
in power and not in amplitude, which costs up to 3 dB, and a mask that shares
noise between two parts costs as much again. Steady tones and copied passages
lose nothing. So the power of each band is compared with the song's and the
difference taken back by a gain that moves slowly. Middle and sides count on
their own: what they lose differs, and the stereo image would narrow.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numba
import numpy as np

from segue.audio.clip import excerpt

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    import numpy.typing as npt

    from segue.arrays import Floats, Floats32, Ints

WINDOW_S: Final = 0.085
"""Length of a spectrum in which partials lie apart: 4,096 frames at 48 kHz, see `window_frames`."""
_LOWEST_HZ: Final = 60.0  # all below is one band; by judgement
_BANDS_AN_OCTAVE: Final = 3  # thirds of an octave
_SMOOTH_S: Final = 0.35
"""The gains move over this time; set by judgement."""
_GAIN_MAX: Final = 1.6
"""No more than white noise needs that was shared and overlapped: 4 dB."""
_SILENT: Final = 1e-7
"""Power, as a share of the band's mean, that counts for nothing."""


def at_level_of(powers: Floats, made: Floats32, window: int, rate_hz: int) -> Floats32:
    """Sound whose bands have the powers wanted.

    Parameters
    ----------
    powers : ndarray, shape (n_channels, n_hops, n_bands)
        What every hop of `Frames` of the sound should have, by `band_powers`.
    made : ndarray, shape (n_frames, n_channels), float32
        The sound.
    window : int
        Frames to a spectrum.

    Returns
    -------
    ndarray, shape (n_frames, n_channels), float32
    """
    frames = Frames(made, window)
    places = band_places(window, rate_hz)
    found = np.concatenate([band_powers(s, places) for _, s in frames.blocks()], axis=1)
    # windows that reach over an end of the sound hold less of it than those they are compared with
    whole = slice(OVERLAP - 1, (len(made) - window) // frames.hop + OVERLAP)
    if whole.stop <= whole.start:
        return made
    width = odd(_SMOOTH_S * rate_hz / frames.hop)
    wanted, found = _smoothed(powers[:, whole], width), _smoothed(found[:, whole], width)
    silent = _SILENT * (wanted + found).mean(axis=1, keepdims=True) + np.finfo(float).tiny
    gains = np.clip(np.sqrt((wanted + silent) / (found + silent)), 1 / _GAIN_MAX, _GAIN_MAX)
    beyond = (whole.start, frames.n_hops - whole.stop)
    gains = np.pad(gains, ((0, 0), beyond, (0, 0)), mode="edge")
    added = Added(made.shape[1], frames.n_hops, window)
    for hops, spectra in frames.blocks():
        _amplify(spectra, gains[:, hops].astype(np.float32), places)
        added.add(hops.start, spectra)
    return added.sound((OVERLAP - 1) * frames.hop, len(made))


def band_places(window: int, rate_hz: int) -> Floats32:
    """Where every bin lies between bands a third of an octave apart: 2.25 is near band 2."""
    hertz = np.maximum(np.arange(window // 2 + 1) * (rate_hz / window), _LOWEST_HZ)
    places: Floats = _BANDS_AN_OCTAVE * np.log2(hertz / _LOWEST_HZ)
    return places.astype(np.float32)


@numba.njit(cache=True, nogil=True)
def band_powers(spectra, places):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN201
    """Power in each band; a bin counts in the two bands that it lies between.

    Parameters
    ----------
    spectra : ndarray, shape (n_channels, n_hops, n_bins)
    places : ndarray, shape (n_bins,)
        From `band_places`.

    Returns
    -------
    ndarray, shape (n_channels, n_hops, n_bands), float64
    """
    n_channels, n_hops, n_bins = spectra.shape
    powers = np.zeros((n_channels, n_hops, int(places[-1]) + 2))
    for channel in range(n_channels):
        for hop in range(n_hops):
            for b in range(n_bins):
                value = spectra[channel, hop, b]
                power = value.real * value.real + value.imag * value.imag
                band = int(places[b])
                share = places[b] - band
                powers[channel, hop, band] += (1.0 - share) * power
                powers[channel, hop, band + 1] += share * power
    return powers


@numba.njit(cache=True, nogil=True)
def _amplify(spectra, gains, places):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Every bin at a gain between those of its two bands, in place."""
    n_channels, n_hops, n_bins = spectra.shape
    for channel in range(n_channels):
        for hop in range(n_hops):
            for b in range(n_bins):
                band = int(places[b])
                low, high = gains[channel, hop, band], gains[channel, hop, band + 1]
                spectra[channel, hop, b] *= low + (places[b] - band) * (high - low)


def mid_side(samples: Floats32) -> Floats32:
    """Two channels as their middle and sides, or back again; a single one as it is."""
    if samples.shape[1] == 1:
        return samples
    half = np.float32(np.sqrt(0.5))
    left, right = samples[:, 0], samples[:, 1]
    turned = np.stack((left + right, left - right), axis=1)
    turned *= half
    return turned


def _smoothed(values: Floats, width: int) -> Floats:
    """Values along time under a running raised cosine, their ends repeated."""
    kernel = np.hanning(width + 2)[1:-1]
    kernel /= kernel.sum()
    padded = np.pad(values, ((0, 0), (width // 2, width // 2), (0, 0)), mode="edge")
    smooth = np.zeros_like(values)
    for place, share in enumerate(kernel):
        smooth += share * padded[:, place : place + values.shape[1]]
    return smooth


def window_frames(length_s: float, rate_hz: int) -> int:
    """A length in frames, to the next power of two.

    Examples
    --------
    >>> window_frames(WINDOW_S, 44_100), window_frames(WINDOW_S, 48_000)
    (4096, 4096)
    """
    return 1 << int(np.ceil(np.log2(0.9 * length_s * rate_hz)))


def odd(width: float) -> int:
    """The odd number next to a width, so that it has a middle.

    Examples
    --------
    >>> odd(4.2), odd(6.5)
    (5, 7)
    """
    return 2 * round(width / 2) + 1


OVERLAP: Final = 4  # windows over each frame
SQUARES: Final = 1.5
"""What the squares of that many overlapping Hann windows add up to; of more, as much more."""
BLOCK_HOPS: Final = 64  # windows at once, to hold little memory; changes no sample
_FULL_WINDOW: Final = 1024  # frames; of shorter windows as many more are made at once


class Frames:
    """The windowed spectra of a sound, some windows over every frame of it.

    Hop 0 ends with the first hop of the sound.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, n_channels), float32
        Silence is taken before and after it.
    window : int
        Frames to a spectrum.
    overlap : int
        Windows over each frame.
    """

    def __init__(self, samples: Floats32, window: int, *, overlap: int = OVERLAP) -> None:
        self.samples, self.window, self.overlap = samples, window, overlap
        self.hop = window // overlap
        self.n_hops = -(-len(samples) // self.hop) + overlap - 1
        self.n_bins = window // 2 + 1
        self.block_hops = BLOCK_HOPS * max(_FULL_WINDOW // window, 1)

    def blocks(
        self, begin: int = 0, end: int | None = None
    ) -> Iterator[tuple[slice, npt.NDArray[np.complex64]]]:
        """Some hops at a time, of all or of a stretch, and their spectra.

        Yields
        ------
        slice, ndarray of shape (n_channels, n_hops, n_bins)
        """
        end = self.n_hops if end is None else end
        for first in range(begin, end, self.block_hops):
            last = min(first + self.block_hops, end)
            from_frame = (first - self.overlap + 1) * self.hop
            part = excerpt(self.samples, from_frame, (last - first - 1) * self.hop + self.window)
            starts = np.arange(last - first) * self.hop
            yield slice(first, last), spectra_at(np.ascontiguousarray(part.T), starts, self.window)

    def times(self, gains: Floats32) -> Floats32:
        """The sound with a gain on every bin of every hop.

        Parameters
        ----------
        gains : ndarray, shape (n_channels or 1, n_hops, n_bins), float32

        Returns
        -------
        ndarray, shape (n_frames, n_channels), float32
        """
        return self.times_each([(0, gains)])

    def times_each(self, stretches: Iterable[tuple[int, Floats32]]) -> Floats32:
        """The same with the gains of one stretch after the other, and their first hops."""
        added = Added(self.samples.shape[1], self.n_hops, self.window, overlap=self.overlap)
        for begin, gains in stretches:
            for hops, spectra in self.blocks(begin, begin + gains.shape[1]):
                own = slice(hops.start - begin, hops.stop - begin)
                added.add(hops.start, spectra * gains[:, own])
        return added.sound((self.overlap - 1) * self.hop, len(self.samples))


class Added:
    """The sound that spectra one hop apart add up to.

    Parameters
    ----------
    window : int
        Frames to a spectrum.
    overlap : int
        Windows over each frame.
    """

    def __init__(
        self, n_channels: int, n_hops: int, window: int, *, overlap: int = OVERLAP
    ) -> None:
        self._shape = hann(window) / np.float32(SQUARES * overlap / OVERLAP)
        self._rows = np.zeros((n_channels, n_hops + overlap - 1, window // overlap), np.float32)
        self._overlap = overlap

    def add(self, first: int, spectra: npt.NDArray[np.complex64]) -> None:
        """Add spectra, (n_channels, n_hops, n_bins), from a hop on."""
        from scipy.fft import irfft

        pieces = irfft(spectra, overwrite_x=True)
        pieces *= self._shape
        n_channels, n_hops, _ = pieces.shape
        parts = pieces.reshape(n_channels, n_hops, self._overlap, -1)
        for part in range(self._overlap):
            rows = self._rows[:, first + part : first + part + n_hops]
            rows += parts[:, :, part]

    def sound(self, first_frame: int, n_frames: int) -> Floats32:
        """Part of the sum, (n_frames, n_channels), counted from the start of hop 0's window."""
        planar = self._rows.reshape(len(self._rows), -1)
        return np.ascontiguousarray(planar[:, first_frame : first_frame + n_frames].T)


def spectra_at(planar: Floats32, starts: Ints, window: int) -> npt.NDArray[np.complex64]:
    """Windowed spectra from some frames on.

    Parameters
    ----------
    planar : ndarray, shape (n_channels, n_frames), float32
    starts : ndarray, shape (n_hops,)
        First frame of each window.

    Returns
    -------
    ndarray, shape (n_channels, n_hops, window // 2 + 1)
    """
    from scipy.fft import rfft

    runs = np.lib.stride_tricks.sliding_window_view(planar, window, axis=1)[:, starts]
    spectra: npt.NDArray[np.complex64] = rfft(runs * hann(window), overwrite_x=True)
    return spectra


def hann(window: int) -> Floats32:
    """A periodic Hann window."""
    return np.hanning(window + 1)[:-1].astype(np.float32)
