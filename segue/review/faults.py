"""Faults of a recording that have nothing to do with the playing.

Each function answers None where all is well, or a `Fault` with the number that
says how bad it is. Thresholds are far from what undamaged recordings show
(`benchmarks/review_bands.py`), so that nobody is sent looking for nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

if TYPE_CHECKING:
    from segue.arrays import Floats
    from segue.audio.clip import Clip


FaultKind = Literal[
    "clipping", "hum", "dead channel", "swapped channels", "phase cancellation", "sibilance"
]

_FLAT_FRAMES: Final = 3
"""Frames in a row at the highest value: converters and full-scale files cut off like
this (by judgement)."""
_CLIPPED_RUNS_A_MINUTE: Final = 10.0  # fewer flat tops are let pass; by judgement
_DEAD_BELOW_DB: Final = 40.0  # a channel so far below the other is dead; by judgement
_CANCELS_DB: Final = 6.0
"""Loss of the sum of the sides against what uncorrelated sides would give (by judgement)."""
_HUM_ABOVE_DB: Final = 12.0
"""Of a mains line and its partials above what is around them, in the quiet of the
recording (by judgement)."""
_N_HUM_PARTIALS: Final = 4  # of the mains' frequency, looked at one by one; by judgement
_SIBILANCE_HZ: Final = (6_000.0, 10_000.0)
"""Around 8 kHz (common practice, no source)."""
_VOICE_HZ: Final = (500.0, 4_000.0)  # what the sibilants' band is compared with; by judgement
_SIBILANCE_OVER_DB: Final = 9.0  # so much more of them than the render has; by judgement
_SWAPPED_CORRELATION: Final = -0.4  # of left against right, render against take; by judgement
_WIDE_DB: Final = 1.0  # less movement from side to side tells nothing; by judgement
_BLOCK_S: Final = 0.4  # seconds that one level is taken over; by judgement
_TINY: Final = 1e-12  # keeps silence from a division by zero


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """Something wrong with the recording.

    Parameters
    ----------
    value : float
        How bad, in `unit`.
    sentence : str
        What is wrong and what to do.
    """

    kind: FaultKind
    value: float
    unit: str
    sentence: str


def faults_of(take: Clip, reference: Clip) -> tuple[Fault, ...]:
    """All faults of a recording of the transition.

    Parameters
    ----------
    reference : Clip
        The candidate's music, for what the sides and the highs should be like.
    """
    found = (
        clipping(take),
        dead_channel(take),
        swapped_channels(take, reference),
        phase_cancellation(take),
        hum(take),
        sibilance(take, reference),
    )
    return tuple(fault for fault in found if fault is not None)


def clipping(take: Clip) -> Fault | None:
    """Runs of frames that stand still at the highest value."""
    runs = 0
    for channel in take.samples.T:
        top = float(np.abs(channel).max(initial=0.0))
        flat = np.abs(channel) >= top * (1 - 1e-4) if top > _TINY else np.zeros(0, dtype=bool)
        edges = np.flatnonzero(np.diff(np.concatenate(([0], flat.astype(np.int8), [0]))))
        runs += int(np.sum(edges[1::2] - edges[::2] >= _FLAT_FRAMES))
    a_minute = runs / max(take.duration_s / 60, 1 / 60)
    if a_minute < _CLIPPED_RUNS_A_MINUTE:
        return None
    return Fault(
        kind="clipping",
        value=a_minute,
        unit="times a minute",
        sentence=f"The recording is cut off {a_minute:.0f} times a minute: turn the input down.",
    )


def dead_channel(take: Clip) -> Fault | None:
    """One side silent against the other."""
    if take.samples.shape[1] < 2:  # noqa: PLR2004 - mono has no sides
        return None
    power = np.square(take.samples.astype(np.float64)).mean(axis=0)
    low, high = float(power.min()), float(power.max())
    if high <= _TINY:
        return None
    apart_db = 10 * float(np.log10(high / max(low, _TINY * high)))
    if apart_db < _DEAD_BELOW_DB:
        return None
    side = "left" if power[0] < power[1] else "right"
    return Fault(
        kind="dead channel",
        value=apart_db,
        unit="dB",
        sentence=f"The {side} channel is dead ({apart_db:.0f} dB down): look at its cable.",
    )


def swapped_channels(take: Clip, reference: Clip) -> Fault | None:
    """Left and right the other way round than in the plan."""
    if min(take.samples.shape[1], reference.samples.shape[1]) < 2:  # noqa: PLR2004 - mono
        return None
    ours, theirs = _balance_db(take), _balance_db(reference)
    n = min(len(ours), len(theirs))
    if n == 0 or min(ours[:n].std(), theirs[:n].std()) < _WIDE_DB:
        return None
    correlation = _correlation(ours[:n], theirs[:n])
    # where one side is softer, hiss draws the bands apart: so what moves in each must agree
    moves = (each[:n] - each[:n].mean(axis=0) for each in (ours, theirs))
    if max(correlation, _correlation(*moves)) > _SWAPPED_CORRELATION:
        return None
    return Fault(
        kind="swapped channels",
        value=correlation,
        unit="correlation",
        sentence="Left and right are the other way round than in the plan: swap the cables.",
    )


def phase_cancellation(take: Clip) -> Fault | None:
    """Sides that take each other away when added."""
    if take.samples.shape[1] < 2:  # noqa: PLR2004 - mono has no sides
        return None
    sides = take.samples[:, :2].astype(np.float64)
    apart = float(np.square(sides).sum())
    together = float(np.square(sides.sum(axis=1)).sum())
    if apart <= _TINY or dead_channel(take) is not None:
        return None
    loss_db = -10 * float(np.log10(max(together, _TINY * apart) / apart))
    if loss_db < _CANCELS_DB:
        return None
    return Fault(
        kind="phase cancellation",
        value=loss_db,
        unit="dB",
        sentence=f"Added to mono the sides lose {loss_db:.0f} dB: one of them is inverted.",
    )


def hum(take: Clip) -> Fault | None:
    """A mains line at 50 or 60 Hz with its harmonics, in the quietest parts."""
    spectrum, hz = _quiet_spectrum(take)
    if not spectrum.any():
        return None
    worst = max((50.0, 60.0), key=lambda mains: _lines_db(spectrum, hz, mains))
    above_db = _lines_db(spectrum, hz, worst)
    if above_db < _HUM_ABOVE_DB:
        return None
    return Fault(
        kind="hum",
        value=above_db,
        unit="dB",
        sentence=(
            f"Hum at {worst:.0f} Hz and its harmonics stands {above_db:.0f} dB above "
            "what is around it: look for a ground loop."
        ),
    )


def sibilance(take: Clip, reference: Clip) -> Fault | None:
    """More around 8 kHz against the voice's range than the plan's own sound has.

    A take has no voice of its own to listen to: cymbals count as well, and the sentence says so.
    """
    over_db = _hiss_db(take) - _hiss_db(reference)
    if over_db < _SIBILANCE_OVER_DB:
        return None
    return Fault(
        kind="sibilance",
        value=over_db,
        unit="dB",
        sentence=(
            f"The loudest moments near 8 kHz stand {over_db:.0f} dB higher than planned, in the "
            "whole sound and not the voice alone: if it is the singer ease the S sounds, else "
            "the cymbals or the microphone's treble."
        ),
    )


def _correlation(one: Floats, other: Floats) -> float:
    return float(np.corrcoef(one.ravel(), other.ravel())[0, 1])


def _balance_db(clip: Clip) -> Floats:
    """Left minus right in a few bands over time, (n_blocks, n_bands)."""
    from scipy.signal import butter, sosfilt

    block = max(round(_BLOCK_S * clip.rate_hz), 1)
    n_blocks = clip.n_frames // block
    bands = []
    for low, high in ((150, 600), (600, 2_400), (2_400, 8_000)):
        sos = butter(2, (low, high), "bandpass", fs=clip.rate_hz, output="sos")
        sound = sosfilt(sos, clip.samples[: n_blocks * block, :2].astype(np.float64), axis=0)
        power = np.square(sound).reshape(n_blocks, block, 2).mean(axis=1) + 1e-9
        bands.append(10 * np.log10(power[:, 0] / power[:, 1]))
    return np.stack(bands, axis=1)


def _quiet_spectrum(clip: Clip) -> tuple[Floats, Floats]:
    """Power spectrum of the quietest quarter, in steps of half a hertz or so."""
    mono = clip.samples.mean(axis=1, dtype=np.float64)
    length = 1 << int(np.ceil(np.log2(clip.rate_hz * 1.5)))
    n_windows = max((len(mono) - length) // (length // 2) + 1, 1)
    mono = np.pad(mono, (0, max(length - len(mono), 0)))
    windows = np.stack([mono[n * length // 2 :][:length] for n in range(n_windows)])
    power = np.square(windows).mean(axis=1)
    quiet = windows[np.argsort(power)[: max(n_windows // 4, 1)]]
    spectra = np.abs(np.fft.rfft(quiet * np.hanning(length), axis=1)) ** 2
    hz: Floats = np.arange(length // 2 + 1.0) * (clip.rate_hz / length)
    return spectra.min(axis=0), hz


def _lines_db(spectrum: Floats, hz: Floats, mains_hz: float) -> float:
    """How far the mains line and its harmonics stand out, the middle one of them."""
    out = []
    for n in range(1, _N_HUM_PARTIALS + 1):
        at = np.abs(hz - n * mains_hz) < 1.0
        around = (np.abs(hz - n * mains_hz) > 2.0) & (np.abs(hz - n * mains_hz) < 8.0)  # noqa: PLR2004 - the neighbourhood of a line
        out.append(
            10 * np.log10((spectrum[at].max() + _TINY) / (np.median(spectrum[around]) + _TINY))
        )
    return float(np.median(out))


def _hiss_db(clip: Clip) -> float:
    """The loudest moments around 8 kHz, one in thirty, against those in the range of the voice."""
    from scipy.signal import butter, sosfilt

    if clip.rate_hz < 2.1 * _SIBILANCE_HZ[1]:
        return 0.0
    mono = clip.samples.mean(axis=1, dtype=np.float64)
    block = round(0.05 * clip.rate_hz)
    levels = []
    for band in (_SIBILANCE_HZ, _VOICE_HZ):
        sos = butter(2, band, "bandpass", fs=clip.rate_hz, output="sos")
        power = np.square(sosfilt(sos, mono)[: len(mono) // block * block]).reshape(-1, block)
        levels.append(max(float(np.quantile(power.mean(axis=1), 0.97)), _TINY))
    return float(10 * np.log10(levels[0] / levels[1]))
