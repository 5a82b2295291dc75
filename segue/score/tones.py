"""What each side of a candidate sounds like, and the pitch classes heard among the keys.

Level, low end and partials of the sides are compared with each other, so all are read on the same
hops.

References
----------
.. [B16] G. Bernardes, D. Cocharro, M. Caetano, C. Guedes and M. E. P. Davies,
   "A multi-level tonal interval space for modelling pitch relatedness and
   musical consonance", Journal of New Music Research 45(4), 2016, 281-294.
.. [KK82] C. L. Krumhansl and E. J. Kessler, "Tracing the dynamic changes in
   perceived tonal organization in a spatial representation of musical keys",
   Psychological Review 89(4), 1982, 334-368.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.analysis.chroma import chroma_of
from segue.analysis.envelope import mono_of
from segue.audio.clip import Clip
from segue.music.key import ALL_KEYS, N_PITCH_CLASSES, Key
from segue.music.profiles import KRUMHANSL_KESSLER, profile_matrix
from segue.music.tonal_space import INTERVAL_WEIGHTS, collection

if TYPE_CHECKING:
    from segue.arrays import Flags, Floats, Floats32
    from segue.plan.plan import Section
    from segue.render.candidate import Candidate


TARGET_RATE_HZ: Final = 12_000
"""About the rate at which sides are read: overtones that beat lie below 5 kHz."""
N_PARTIALS: Final = 20
"""Partials kept of each hop; 20 to 40 are usual for roughness of recordings."""
# Below lie kick and bass, which two bands at once make muddy; by judgement
LOW_END_HZ: Final = 150.0
SILENCE_DB: Final = -120.0  # what silence counts as, below the floor of 16-bit sound

_WINDOW_S: Final = 0.34  # seconds of a spectrum; by judgement
_HOP_S: Final = 0.17  # half a window
_LOWEST_PARTIAL_HZ: Final = 55.0  # A1: nothing lower is taken for a partial
_PARTIAL_FLOOR_DB: Final = 45.0
"""Partials this far below the strongest of their hop are left out."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SideSpectra:
    """Spectra of one side, hop by hop.

    Parameters
    ----------
    times_s : ndarray, shape (n_hops,)
        Middle of each hop.
    level_db, low_db : ndarray, shape (n_hops,)
        Power of the whole sound and of the sound below `LOW_END_HZ`.
    partial_hz, partial_amplitude : ndarray, shape (n_hops, N_PARTIALS)
        The strongest partials; amplitude 0 where there are fewer.
    """

    times_s: Floats
    level_db: Floats
    low_db: Floats
    partial_hz: Floats
    partial_amplitude: Floats


def side_spectra(clip: Clip) -> SideSpectra:
    """The spectra of a side of the music."""
    from scipy import fft

    sound, rate_hz = reduced(clip)
    n_window = 2 * fft.next_fast_len(round(_WINDOW_S * rate_hz / 2))
    n_hop = round(_HOP_S * rate_hz)
    padded = np.pad(sound, (n_window // 2, n_window // 2))
    windows = np.lib.stride_tricks.sliding_window_view(padded, n_window)[::n_hop]
    shape = np.hanning(n_window + 1)[:-1].astype(np.float32)
    magnitude = np.abs(fft.rfft(windows * shape, axis=1)) * (2.0 / shape.sum())
    hz = fft.rfftfreq(n_window, 1.0 / rate_hz)
    power = magnitude.astype(np.float64) ** 2
    partial_hz, partial_amplitude = _partials(magnitude, hz)
    return SideSpectra(
        times_s=np.arange(len(windows)) * n_hop / rate_hz,
        level_db=power_to_db(power.sum(axis=1)),
        low_db=power_to_db(power[:, (hz > 0) & (hz <= LOW_END_HZ)].sum(axis=1)),
        partial_hz=partial_hz,
        partial_amplitude=partial_amplitude,
    )


def reduced(clip: Clip) -> tuple[Floats32, float]:
    """The clip in mono, every k-th frame after a low-pass, and its new rate."""
    from scipy import signal

    mono = mono_of(clip.samples)
    step = max(1, round(clip.rate_hz / TARGET_RATE_HZ))
    if step == 1:
        return mono, float(clip.rate_hz)
    taps = signal.firwin(16 * step + 1, 0.85 / step).astype(np.float32)
    thinned = signal.upfirdn(taps, mono, up=1, down=step)
    delay = 8  # half the filter, in frames of the new rate
    n_frames = -(-len(mono) // step)
    kept: Floats32 = thinned[delay : delay + n_frames].astype(np.float32)
    return kept, clip.rate_hz / step


def power_to_db(power: npt.ArrayLike) -> Floats:
    """Level of a power, not below `SILENCE_DB`."""
    floor = 10.0 ** (SILENCE_DB / 10.0)
    return np.asarray(10.0 * np.log10(np.maximum(np.asarray(power, dtype=np.float64), floor)))


def _partials(magnitude: Floats32, hz: Floats) -> tuple[Floats, Floats]:
    """Strongest local maxima, placed between bins by a parabola through the log spectrum."""
    middle = magnitude[:, 1:-1]
    is_peak = (middle > magnitude[:, :-2]) & (middle >= magnitude[:, 2:])
    is_peak &= hz[1:-1] >= _LOWEST_PARTIAL_HZ
    loudest = magnitude.max(axis=1, keepdims=True)
    is_peak &= middle > np.maximum(loudest * 10.0 ** (-_PARTIAL_FLOOR_DB / 20.0), 1e-6)
    bins, strength = _close_together(is_peak, middle)
    best = np.argpartition(strength, -N_PARTIALS, axis=1)[:, -N_PARTIALS:]
    chosen = np.take_along_axis(bins, best, axis=1)
    amplitude = np.take_along_axis(strength, best, axis=1).astype(np.float64)
    left, here, right = (
        np.log(np.maximum(np.take_along_axis(magnitude, chosen + k, axis=1), 1e-12)).astype(float)
        for k in range(3)
    )
    bend = left - 2.0 * here + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, 1.0), 0.0)
    return (chosen + 1 + np.clip(shift, -0.5, 0.5)) * (hz[1] - hz[0]), amplitude


def _close_together(is_peak: Flags, values: Floats32) -> tuple[npt.NDArray[np.intp], Floats32]:
    """Columns and values of the few peaks of each row, side by side, with noughts behind them."""
    row, column = np.nonzero(is_peak)
    counts = is_peak.sum(axis=1)
    place = np.arange(len(row)) - (np.cumsum(counts) - counts)[row]
    shape = (len(is_peak), max(int(counts.max(initial=0)), N_PARTIALS))
    columns, found = np.zeros(shape, dtype=np.intp), np.zeros(shape, dtype=values.dtype)
    columns[row, place] = column
    found[row, place] = values[row, column]
    return columns, found


HOP_S: Final = 0.25  # seconds a step of the chroma
_QUIET_DB: Final = 40.0
"""Steps this far below the loud ones hold no notes worth counting."""
CLEAR_SHARE: Final = 0.12
"""Least length of a tonal interval vector, 1 for a single note, that still has a place:
0.32 for a whole diatonic scale, 0 for all twelve notes alike [B16]_. Set by judgement."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tones:
    """Chroma of the music.

    Parameters
    ----------
    times_s : ndarray, shape (n_steps,)
        Middle of each step of `HOP_S`.
    chroma : ndarray, shape (n_steps, 12)
        Share of each pitch class; rows add up to 1, or 0 where it is too quiet.
    """

    times_s: Floats
    chroma: Floats

    def mean_chroma(self, start_s: float, end_s: float) -> Floats:
        """Mean share of each pitch class between two times; zeros where nothing sounds."""
        chosen = self.chroma[(self.times_s >= start_s) & (self.times_s < end_s)]
        chosen = chosen[chosen.sum(axis=1) > 0]
        return chosen.mean(axis=0) if len(chosen) else np.zeros(N_PITCH_CLASSES)

    def remembered(self, memory_s: float) -> Floats:
        """Chroma as a listener carries it: each step fades with a time constant.

        Steps without notes add nothing, so the memory of a silence is what came before, fainter.
        """
        keep = float(np.exp(-HOP_S / memory_s))
        carried = np.zeros_like(self.chroma)
        state = np.zeros(N_PITCH_CLASSES)
        for step, row in enumerate(self.chroma):
            state = keep * state + (1.0 - keep) * row
            carried[step] = state
        return carried


def heard_tones(candidate: Candidate, side: Section | None = None) -> Tones:
    """Chroma of the music of a candidate or of a side, each half read at its song's tuning."""
    plan = candidate.plan
    clip: Clip = candidate.music if side is None else getattr(candidate, side)
    sound, rate_hz = reduced(clip)
    thin = Clip(samples=sound[:, np.newaxis], rate_hz=round(rate_hz))
    cents = plan.key_to_tuning_cents
    times_s, raw = chroma_of(thin, tuning_cents=cents, hop_s=HOP_S)
    if abs(plan.key_from_tuning_cents - cents) > 10.0:  # noqa: PLR2004 - cents that blur a chroma
        _, raw_from = chroma_of(thin, tuning_cents=plan.key_from_tuning_cents, hop_s=HOP_S)
        is_before = times_s < plan.seconds_at(plan.exit_beat)
        raw = np.where(is_before[:, np.newaxis], raw_from, raw)
    level_db = _step_levels(sound, rate_hz, len(times_s))
    is_heard = level_db > max(float(np.quantile(level_db, 0.9)) - _QUIET_DB, -100.0)
    total = raw.sum(axis=1, keepdims=True)
    shares = np.where((total > 0) & is_heard[:, np.newaxis], raw / np.where(total > 0, total, 1), 0)
    return Tones(times_s=times_s, chroma=np.asarray(shares, dtype=np.float64))


def interval_vector(chroma: Floats) -> Floats:
    """Places in the Tonal Interval Space [B16]_, audio weights, as real numbers.

    Parameters
    ----------
    chroma : ndarray, shape (..., 12)
        Rows add up to 1 or 0.

    Returns
    -------
    ndarray, shape (..., 12)
        Real and imaginary parts of the six circles, so that lengths of
        differences are the distances of the space.
    """
    weights = np.array(INTERVAL_WEIGHTS["audio"])
    circles = np.fft.fft(chroma, axis=-1)[..., 1:7] * weights
    return np.concatenate([circles.real, circles.imag], axis=-1)


def clarity(vector: Floats) -> float:
    """Length of a place in the space against that of a single note, 0..1."""
    return float(np.linalg.norm(vector) / np.linalg.norm(INTERVAL_WEIGHTS["audio"]))


def key_fit(chroma: Floats, key: Key) -> Floats:
    """Correlation of each chroma row with the probe-tone profile of a key; 0 for a flat row."""
    profile = profile_matrix(KRUMHANSL_KESSLER)[ALL_KEYS.index(key)]
    return np.asarray(_unit(chroma) @ _unit(profile))


def key_place(chroma: Floats) -> Floats:
    """Where chroma lies among the keys: how strongly it states each of the 24.

    Parameters
    ----------
    chroma : ndarray, shape (..., 12)

    Returns
    -------
    ndarray, shape (..., 24)
        Correlations with the profiles of all keys [KK82]_, less their mean and of length 1: two
        places are sqrt(2 (1 - r)) apart, where r is the correlation of the key strengths by which
        Krumhansl and Kessler place keys. Zeros for a flat row.
    """
    return _unit(_unit(chroma) @ _unit(profile_matrix(KRUMHANSL_KESSLER)).T)


def _unit(rows: Floats) -> Floats:
    """Rows less their mean, of length 1; zeros for a flat row."""
    centred = rows - rows.mean(axis=-1, keepdims=True)
    length = np.linalg.norm(centred, axis=-1, keepdims=True)
    is_flat = length < 1e-12  # noqa: PLR2004 - rounding of an even row
    return np.asarray(np.where(is_flat, 0.0, centred / np.where(is_flat, 1.0, length)))


def scale_share(chroma: Floats, key: Key) -> Floats:
    """Share of each chroma row that lies in the scale of a key; 1 for a silent row.

    Minor keys have both sevenths, as their dominants do.
    """
    classes = sorted(collection(key) | ({(key.tonic + 11) % 12} if key.mode == "minor" else set()))
    total = chroma.sum(axis=-1)
    is_silent = total < 1e-9  # noqa: PLR2004 - rounding
    inside = chroma[..., classes].sum(axis=-1)
    return np.asarray(np.where(is_silent, 1.0, inside / np.where(is_silent, 1.0, total)))


def _step_levels(sound: Floats32, rate_hz: float, n_steps: int) -> Floats:
    n_hop = round(HOP_S * rate_hz)
    padded = np.pad(sound, (0, max(0, n_steps * n_hop - len(sound))))[: n_steps * n_hop]
    return power_to_db(np.square(padded.reshape(n_steps, n_hop), dtype=np.float64).mean(axis=1))
