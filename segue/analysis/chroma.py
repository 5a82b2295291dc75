"""Which notes sound when: a tuned pitch spectrum, note strengths and chroma.

One spectrum with 36 bins an octave is read from three short-time Fourier
transforms, longer windows for lower notes. Over each segment the median of its
hops leaves out what is short (drums, consonants); what is left is whitened
against its neighbourhood and explained as a sum of notes with overtones, after
[MD10]_. Chroma is the sum of those note strengths over octaves.

References
----------
.. [MD10] M. Mauch and S. Dixon, "Approximate note transcription for the
   improved identification of difficult chords", ISMIR 2010, 135-140.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.analysis.envelope import mono_of
from segue.audio.adapters import mono_at_rate
from segue.music.key import N_PITCH_CLASSES

if TYPE_CHECKING:
    from segue.arrays import Floats, Floats32
    from segue.audio.clip import Clip


ANALYSIS_RATE_HZ: Final = 12_000
"""Rate of the sound that is analysed; notes and their first overtones end below 5 kHz."""
# frames from spectrum to spectrum at the analysis rate, 85 ms; by judgement
HOP_FRAMES: Final = 1024
BINS_PER_SEMITONE: Final = 3  # 36 bins an octave, as in [MD10]_
LOWEST_MIDI: Final = 28
"""E1, the lowest string of a bass."""
N_NOTES: Final = 69
"""E1 to C7."""
_N_BINS: Final = BINS_PER_SEMITONE * 80
"""E1 up to B7, 3.95 kHz."""
_BANDS: Final = ((8192, 0.0, 56.0), (4096, 56.0, 76.0), (2048, 76.0, 200.0))
"""Window length in frames, and the MIDI pitches from and below which it is read."""
_HOPS_AT_ONCE: Final = 64
"""Spectra are worked out in blocks of this many, to hold little memory."""
_N_OVERTONES: Final = 12  # partials of a note in the dictionary, the first among them; by judgement
_OVERTONE_RATIO: Final = 0.7
"""Each overtone against the one before; [MD10]_ use 0.6 to 0.9."""
_N_DESCENTS: Final = 60  # steps of the projected gradient; by judgement
_MAIN_LOBE_BINS: Final = 2.0
"""Half width of the main lobe of a Hann window."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PitchSpectrum:
    """Magnitudes at third-of-semitone pitches.

    Parameters
    ----------
    times_s : ndarray, shape (n_hops,)
        Centre of each hop, seconds from the start of the file.
    bins : ndarray, shape (n_hops, n_bins)
        Linear magnitudes; bin 0 is `LOWEST_MIDI`, three bins a semitone.
    """

    times_s: Floats
    bins: Floats


def pitch_spectrum(clip: Clip, *, tuning_cents: float) -> PitchSpectrum:
    """The spectrum of a clip on a pitch scale that follows its tuning.

    Parameters
    ----------
    clip : Clip
        Any rate and number of channels.
    tuning_cents : float
        How far the music is above A4 = 440 Hz.

    Returns
    -------
    PitchSpectrum
        One row every `HOP_FRAMES` at `ANALYSIS_RATE_HZ`.
    """
    from scipy import fft

    sound = analysis_sound(clip)
    n_hops = max(1, 1 + len(sound) // HOP_FRAMES)
    bins = np.zeros((n_hops, _N_BINS))
    for length, from_midi, below_midi in _BANDS:
        mapping, rows = _pitch_map(length, from_midi, below_midi, round(tuning_cents, 1))
        padded = np.pad(sound, (length // 2, length // 2 + HOP_FRAMES))
        framed = np.lib.stride_tricks.sliding_window_view(padded, length)[::HOP_FRAMES][:n_hops]
        for first in range(0, n_hops, _HOPS_AT_ONCE):
            hops = slice(first, first + _HOPS_AT_ONCE)
            magnitude = np.abs(fft.rfft(framed[hops] * _window(length), axis=1))
            bins[hops, rows] = magnitude[:, : mapping.shape[0]] @ mapping
    times_s = clip.start_s + np.arange(n_hops) * HOP_FRAMES / ANALYSIS_RATE_HZ
    return PitchSpectrum(times_s=times_s, bins=bins)


def analysis_sound(clip: Clip) -> Floats32:
    """The clip in mono at `ANALYSIS_RATE_HZ`, shape (n_frames,)."""
    mono = mono_of(clip.samples)
    return mono_at_rate(mono, from_hz=clip.rate_hz, to_hz=ANALYSIS_RATE_HZ, quality="MQ")


def segment_spectra(spectrum: PitchSpectrum, edges_s: Floats) -> Floats:
    """Median spectrum between each edge and the next.

    Parameters
    ----------
    edges_s : ndarray, shape (n_segments + 1,)
        Ascending, seconds from the start of the file.

    Returns
    -------
    ndarray, shape (n_segments, n_bins)
        A segment shorter than a hop takes the hop nearest to its middle.
    """
    first = np.searchsorted(spectrum.times_s, edges_s)
    last_hop = len(spectrum.times_s) - 1
    medians = np.empty((len(edges_s) - 1, spectrum.bins.shape[1]))
    for segment, (start, stop) in enumerate(pairwise(first)):
        low = min(start, last_hop)
        medians[segment] = np.median(spectrum.bins[low : max(stop, low + 1)], axis=0)
    return medians


def note_strengths(spectra: Floats) -> Floats:
    """How strongly each note sounds, overtones credited to their notes.

    Parameters
    ----------
    spectra : ndarray, shape (n_segments, n_bins)
        Pitch spectra.

    Returns
    -------
    ndarray, shape (n_segments, N_NOTES)
        Not negative; note 0 is `LOWEST_MIDI`. Zero where there is silence.
    """
    white = whitened(spectra)
    dictionary, gram, step = _note_dictionary()
    target = white @ dictionary.T
    strengths = np.zeros(target.shape)
    ahead, momentum = strengths, 1.0
    for _ in range(_N_DESCENTS):  # accelerated projected gradient
        new = np.maximum(ahead + step * (target - ahead @ gram), 0.0)
        faster = 0.5 * (1.0 + np.sqrt(1.0 + 4.0 * momentum**2))
        ahead = new + (momentum - 1.0) / faster * (new - strengths)
        strengths, momentum = new, faster
    return strengths


def whitened(spectra: Floats) -> Floats:
    """Spectra with the level of each octave taken out: peaks in units of local deviation.

    Parameters
    ----------
    spectra : ndarray, shape (n_segments, n_bins)

    Returns
    -------
    ndarray, shape (n_segments, n_bins)
        Not negative.
    """
    from scipy.ndimage import uniform_filter1d

    octave = BINS_PER_SEMITONE * N_PITCH_CLASSES
    mean = uniform_filter1d(spectra, octave, axis=1, mode="nearest")
    above = spectra - mean
    power = uniform_filter1d(above**2, octave, axis=1, mode="nearest")
    deviation = np.sqrt(np.maximum(power, 0.0))  # running sums round to just below zero
    loudest = deviation.max(initial=0.0)
    floor = 1e-3 * loudest + np.finfo(np.float64).tiny
    return np.asarray(np.maximum(above, 0.0) / (deviation + floor))


def chroma_of(clip: Clip, *, tuning_cents: float, hop_s: float = 0.25) -> tuple[Floats, Floats]:
    """Chroma of a clip in equal steps: tuned, harmonic, whitened.

    Parameters
    ----------
    tuning_cents : float
        How far the music is above A4 = 440 Hz.
    hop_s : float
        Length of a step.

    Returns
    -------
    times_s : ndarray, shape (n_hops,)
        Middle of each step, seconds from the start of the file.
    chroma : ndarray, shape (n_hops, 12)
        Strength of each pitch class from C, not negative, all notes above `LOWEST_MIDI`.
    """
    times_s, strengths = _strengths_of(clip, tuning_cents, hop_s)
    return times_s, folded(strengths)


def _strengths_of(clip: Clip, tuning_cents: float, hop_s: float) -> tuple[Floats, Floats]:
    n_steps = max(1, int(np.ceil(clip.duration_s / hop_s)))
    edges_s = clip.start_s + hop_s * np.arange(n_steps + 1, dtype=np.float64)
    spectra = segment_spectra(pitch_spectrum(clip, tuning_cents=tuning_cents), edges_s)
    return edges_s[:-1] + hop_s / 2, note_strengths(spectra)


def plain_strengths(spectra: Floats) -> Floats:
    """How strongly the whitened spectrum sounds at each note, overtones left where they are.

    Parameters
    ----------
    spectra : ndarray, shape (n_segments, n_bins)
        Pitch spectra.

    Returns
    -------
    ndarray, shape (n_segments, N_NOTES)
        A note is its own bin and half of each neighbour.
    """
    white = whitened(spectra)
    own, above = white[:, 0::BINS_PER_SEMITONE], white[:, 1::BINS_PER_SEMITONE]
    below = np.pad(white[:, 2::BINS_PER_SEMITONE], ((0, 0), (1, 0)))[:, :-1]
    return np.asarray((own + 0.5 * (above + below))[:, :N_NOTES])


def folded(strengths: Floats) -> Floats:
    """Sums over octaves, shape (n_segments, 12), of the strengths of notes."""
    padded = np.pad(strengths, ((0, 0), (LOWEST_MIDI % N_PITCH_CLASSES, 0)))
    missing = -padded.shape[1] % N_PITCH_CLASSES
    octaves = np.pad(padded, ((0, 0), (0, missing)))
    return np.asarray(octaves.reshape(len(strengths), -1, N_PITCH_CLASSES).sum(axis=1))


@lru_cache(maxsize=8)
def _window(length: int) -> Floats32:
    """Hann window whose full-scale sine has magnitude 1 at its peak."""
    ramp = np.hanning(length + 1)[:-1]
    return np.asarray(2.0 * ramp / ramp.sum(), dtype=np.float32)


@lru_cache(maxsize=64)
def _pitch_map(
    length: int, from_midi: float, below_midi: float, tuning_cents: float
) -> tuple[Floats32, npt.NDArray[np.intp]]:
    """Weights from Fourier bins (up to the highest needed) to pitch bins of one band."""
    midi = LOWEST_MIDI + np.arange(_N_BINS) / BINS_PER_SEMITONE
    rows = np.flatnonzero((midi >= from_midi) & (midi < below_midi))
    centre = _hz(midi[rows], tuning_cents) * length / ANALYSIS_RATE_HZ
    half_width = np.maximum(1.0, centre * (2 ** (1 / (12 * BINS_PER_SEMITONE)) - 1))
    fourier = np.arange(int(centre[-1] + half_width[-1]) + 2)
    mapping = np.maximum(0.0, 1.0 - np.abs(fourier[:, None] - centre) / half_width)
    return (mapping / mapping.sum(axis=0)).astype(np.float32), rows


@lru_cache(maxsize=1)
def _note_dictionary() -> tuple[Floats, Floats, float]:
    """Pitch spectra of all notes, each of length 1; their products; the longest safe step."""
    notes = np.zeros((N_NOTES, _N_BINS))
    for length, from_midi, below_midi in _BANDS:
        mapping, rows = _pitch_map(length, from_midi, below_midi, 0.0)
        fourier = np.arange(mapping.shape[0])
        for note in range(N_NOTES):
            partials = np.arange(1, _N_OVERTONES + 1)
            position = _hz(LOWEST_MIDI + note, 0.0) * partials * length / ANALYSIS_RATE_HZ
            lobes = _hann_lobe(fourier[None, :] - position[:, None])
            notes[note, rows] = (_OVERTONE_RATIO ** (partials - 1.0)) @ lobes @ mapping
    dictionary = notes / np.linalg.norm(notes, axis=1, keepdims=True)
    gram = dictionary @ dictionary.T
    return dictionary, gram, float(1.0 / np.linalg.eigvalsh(gram)[-1])


def _hann_lobe(offset_bins: Floats) -> Floats:
    """Main lobe of a Hann window's transform, 1 in the middle: sinc x / (1 - x^2)."""
    side = 0.5 * (np.sinc(offset_bins - 1.0) + np.sinc(offset_bins + 1.0))
    return np.where(np.abs(offset_bins) < _MAIN_LOBE_BINS, np.sinc(offset_bins) + side, 0.0)


def _hz(midi: npt.ArrayLike, tuning_cents: float) -> Floats:
    return 440.0 * 2.0 ** ((np.asarray(midi, dtype=np.float64) - 69.0 + tuning_cents / 100) / 12)
