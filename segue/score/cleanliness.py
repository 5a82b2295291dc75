"""Faults of the signal: true peak, clipping, click in the room.

References
----------
.. [R128] EBU R 128, "Loudness normalisation and permitted maximum level of
   audio signals", 2020: at most -1 dBTP.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.envelope import mono_of
from segue.audio.true_peak import true_peak_dbtp
from segue.score.scorecard import Measure, falling, measured

if TYPE_CHECKING:
    from segue.arrays import Floats, Floats32
    from segue.score.listening_to import Listened


TRUE_PEAK: Final = "true_peak"
CEILING_DBTP: Final = -1.0
"""Highest permitted true peak of programmes [R128]_."""
_OVERSAMPLING: Final = 16
"""As the master looks, which holds the music below the ceiling."""
# Equal frames count as clipped above this share of the peak; by judgement
_LOUD_SHARE: Final = 0.25
_FINE_MS: Final = 0.2  # clipped time that nobody hears; by judgement
_FINE_LOG: Final = math.log10(_FINE_MS)
_BROKEN_LOG: Final = math.log10(50.0)
"""Flat tops of 0.2 ms in all are nothing, 50 ms are a fault; in between by ratio. By ear."""
_CLICK_S: Final = 0.03  # a click is looked for over this time
_LAGS: Final = 24  # places where no click is, to compare with
_BESIDE_S: Final = 0.001
"""A hit of a drum that falls together with the click is as like it this much earlier or later; a
click that has leaked in is like it at no lag alone. By judgement."""
_FAINT: Final = 1e-3  # level below which more silence makes no place more telling; by judgement
_BLOCK_FRAMES: Final = 1 << 16  # filtered at once; changes no value
_FORETOLD_BY: Final = 32
"""Samples. With 64 or 96 leaks stand out no further, on 21 made and demo segues."""
_SURE: Final = 4.0
"""A leak counts where it stands out from the correlation at other lags by this factor."""
_SURE_BESIDE: Final = 2.0
"""And from what is like the click beside it by this. Leaks under notes of the click's pitch have
2.2 to 8, drums that play with the click .7 to 1.4 (made sounds, and segues of two recordings)."""


def true_peak(hearing: Listened) -> Measure | None:
    """True peak of the music; None for silence."""
    peak_dbtp = true_peak_dbtp(hearing.candidate.music, oversampling=_OVERSAMPLING)
    if peak_dbtp == -math.inf:
        return None
    return measured(
        TRUE_PEAK,
        value=peak_dbtp,
        score=falling(peak_dbtp, good=CEILING_DBTP + 0.05, bad=1.0),
        threshold=f"at most {CEILING_DBTP:g} dBTP",
        sentence=f"The music peaks at {peak_dbtp:.1f} dBTP.",
    )


def clipping(hearing: Listened) -> Measure | None:
    """Milliseconds of flat tops in the music; None for silence."""
    samples = hearing.candidate.music.samples
    peak = max(float(samples.max(initial=0.0)), -float(samples.min(initial=0.0)))
    if peak <= 0.0:
        return None
    rate_hz = hearing.candidate.music.rate_hz
    is_flat = np.zeros(len(samples) - 2, dtype=np.bool_)
    for channel in samples.T:  # column by column: many times as fast as along the short axis
        is_same = (channel[1:] == channel[:-1]) & (np.abs(channel[1:]) > _LOUD_SHARE * peak)
        is_flat |= is_same[1:] & is_same[:-1]
    frames = int(is_flat.sum())
    value_ms = 1000.0 * frames / rate_hz
    first_s = int(is_flat.argmax()) / rate_hz
    return measured(
        "clipping",
        value=value_ms,
        score=falling(math.log10(max(value_ms, _FINE_MS)), good=_FINE_LOG, bad=_BROKEN_LOG),
        threshold="no flat tops",
        sentence=(
            f"The peaks are cut flat for {value_ms:.0f} ms in all."
            if value_ms > _FINE_MS
            else "No peak is cut flat."
        ),
        worst_beat=hearing.plan.beat_at(first_s) if frames else None,
    )


def click_leak(hearing: Listened) -> Measure | None:
    """How much of the click is in the music; None where there is no click."""
    plan, candidate = hearing.plan, hearing.candidate
    click = candidate.click.samples[:, 0]
    if not plan.click or not click.any() or hearing.is_silent:
        return None
    rate_hz, times_s = candidate.click.rate_hz, [plan.seconds_at(c.beat) for c in plan.click]
    sounds = _without_tones(mono_of(candidate.music.samples), click, times_s, rate_hz)
    shares, beside = _shares_by_lag(*sounds, times_s, rate_hz)
    share = float(shares[0])  # a leak adds to the music, it does not take away
    is_sure = share > _SURE * _rms(shares[1:]) and share > _SURE_BESIDE * _rms(beside)
    is_leak = is_sure and share > 1e-4  # noqa: PLR2004 - rounding
    leak_db = 20.0 * float(np.log10(share)) if is_leak else -80.0
    return measured(
        "click_leak",
        value=leak_db,
        score=falling(leak_db, good=-60.0, bad=-20.0),
        threshold="nothing of the click in the music",
        sentence=(
            f"The click is heard in the room, {-leak_db:.0f} dB below the in-ears."
            if is_leak
            else "No click leaks into the room."
        ),
        worst_beat=plan.click[0].beat if is_leak else None,
    )


def _rms(shares: Floats) -> float:
    return float(np.sqrt(np.mean(shares**2)))


def _without_tones(
    music: Floats32,
    click: Floats32,
    times_s: list[float],
    rate_hz: int,
) -> tuple[Floats32, Floats32]:
    """Music and click, both less what a sample is foretold by the ones before it in the music.

    The music is written over. A note that rings at the pitch of the click would pass for it at
    every lag. Linear prediction by the autocorrelation (J. Makhoul, Proceedings of the IEEE 63(4),
    1975) takes it out of both.
    """
    from scipy.linalg import solve_toeplitz

    start, end = (round(time_s * rate_hz) for time_s in (times_s[0] - 0.2, times_s[-1] + 0.2))
    part = music[max(start, 0) : end].astype(np.float64)
    along = np.array([part[k:] @ part[: len(part) - k] for k in range(_FORETOLD_BY + 1)])
    del part  # as long as the music, and twice as wide
    along[0] += 1e-6 * along[0] + _FAINT**2
    taps = np.concatenate([[1.0], -solve_toeplitz(along[:-1], along[1:])])
    return _filtered(music, taps, out=music), _filtered(click, taps, out=np.empty_like(click))


def _filtered(sound: Floats32, taps: Floats, *, out: Floats32) -> Floats32:
    """A sound under a filter, some of it at a time, to hold little memory."""
    from scipy.signal import lfilter

    state = np.zeros(len(taps) - 1)
    for begin in range(0, len(sound), _BLOCK_FRAMES):
        block = slice(begin, begin + _BLOCK_FRAMES)
        out[block], state = lfilter(taps, np.ones(1), sound[block].astype(np.float64), zi=state)
    return out


def _shares_by_lag(
    music: Floats32,
    click: Floats32,
    times_s: list[float],
    rate_hz: int,
) -> tuple[Floats, Floats]:
    """Share of the click in the music, at no lag and at lags where no click can be.

    The second: what is left of it a few samples beside, where a leak would be as the click is
    like itself there. A drum that plays with the click leaves more.
    """
    n_frames = round(_CLICK_S * rate_hz)
    away = n_frames * (1.0 + np.arange(_LAGS // 2) / 7.3)
    offsets = np.concatenate([[0.0], away, -away]).astype(int)
    starts = np.round(np.array(times_s) * rate_hz).astype(int)
    margin = int(np.abs(offsets).max()) + n_frames
    starts = starts[(starts >= margin) & (starts + margin < len(music))]
    index = starts[:, np.newaxis] + np.arange(n_frames)
    hits = click[index].astype(np.float64)
    if not hits.any():
        return np.zeros(len(offsets)), np.zeros(1)
    # a click is heard best where the music is quiet: hits count by one over the power around them
    around = starts[:, np.newaxis] + np.arange(-n_frames, 2 * n_frames)
    trust = 1.0 / (np.mean(music[around] ** 2, axis=1) + _FAINT**2)
    power = float(trust @ (hits**2).sum(axis=1))

    def alike(sound: Floats32, lag: int) -> float:
        return float(trust @ (sound[index + lag] * hits).sum(axis=1)) / power

    shares = np.array([alike(music, lag) for lag in offsets])
    near = range(1, round(_BESIDE_S * rate_hz) + 1)
    beside = [
        alike(music, lag) - shares[0] * alike(click, lag)
        for lag in (*near, *(-lag for lag in near))
    ]
    return shares, np.array(beside)
