"""The singer's entry in a recording of the whole band: when, and on which pitch.

The voice is followed at its partials, weighted by how much of the sound there is the
voice's in the plan. The moment is found against the render, where it is known, by sliding
the rise of the first note's partials; the pitch is where the partials agree best, in the
take against the render.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.review.partials import partial_hz, peaks, read_at, spectra
from segue.review.voice import HOP_S

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.audio.clip import Clip
    from segue.review.voice import PlannedVoice

    Floats = npt.NDArray[np.float64]

REACH_S: Final = 0.3
"""How far from the band's beat an entry is looked for."""
_FINE_S: Final = 0.004
_SHORT_FRAMES: Final = 640
_BEFORE_S, _AFTER_S = 0.25, 0.25
_RANGE_DB: Final = 9.0
_N_LOOKS: Final = 3
_PRIOR: Final = 0.08
"""Against far places (chosen by `benchmarks/review.py` on its odd seeds, as the window is)."""
_RISEN_S: Final = 0.06
_NEAR_CENTS: Final = 35.0
_WIDE_CENTS: Final = 90.0
_GRID_CENTS: Final = np.arange(-120.0, 121.0, 2.0)
_SETTLED_S: Final = 0.07
_PIECE_HOPS: Final = 25
_LEAST_SHARE: Final = 0.3
_PEAK_CENTS: Final = 45.0
_SHARPEST: Final = 4
"""Partials above this one count no more: what is left of them is little above the noise."""
_MOSTLY: Final = 0.8
_TINY: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """How the singer came in.

    Parameters
    ----------
    late_s : float
        Against the band's own beat; negative is early.
    cents : float
        First note against the planned one, in the band's tuning; positive is sharp.
    phrase_cents, phrase_spread_cents : float or None
        Middle value and middle half over the first phrase, where it is known.
    clearness : float
        0 to 1: how well the rise of the note agrees with the plan's.
    """

    late_s: float
    cents: float
    phrase_cents: float | None
    phrase_spread_cents: float | None
    clearness: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """A sound that the voice is looked for in.

    Parameters
    ----------
    clip : Clip
    start_s : float
        Where the planned attack is in it.
    rate : float
        Its seconds to one of the plan.
    tuning_cents : float
        Against the plan.
    """

    clip: Clip
    start_s: float
    rate: float = 1.0
    tuning_cents: float = 0.0


def heard_entry(voice: PlannedVoice, reference: Side, take: Side) -> Entry:
    """The singer's entry in a recording.

    Parameters
    ----------
    voice : PlannedVoice
    reference, take : Side
        The render, and the recording with the band's beat as the place to look.

    Returns
    -------
    Entry
    """
    late_s, cents, clearness, near_cents = 0.0, 0.0, 0.0, _WIDE_CENTS
    for _ in range(_N_LOOKS):
        late_s, clearness = _lateness(
            voice, reference, take, guess=(late_s, cents), near_cents=near_cents
        )
        cents = _first_cents(voice, reference, take, late_s)
        near_cents = _NEAR_CENTS
    middle, spread = _phrase_cents(voice, reference, take, late_s)
    return Entry(
        late_s=late_s,
        cents=cents,
        phrase_cents=middle,
        phrase_spread_cents=spread,
        clearness=clearness,
    )


def _lateness(
    voice: PlannedVoice,
    reference: Side,
    take: Side,
    *,
    guess: tuple[float, float],
    near_cents: float,
) -> tuple[float, float]:
    """Shift at which the first note's partials come up alike, and how alike, 0 to 1."""
    n_before, n_after = round(_BEFORE_S / _FINE_S), round(_after_s(voice) / _FINE_S)
    n_reach = round(REACH_S / _FINE_S)
    known = _presence(voice, reference, (n_before, n_after), (0.0, 0.0), near_cents)
    weights = _weights(voice, known, n_before)
    heard = _presence(voice, take, (n_before + n_reach, n_after + n_reach), guess, near_cents)
    shifts_s = (np.arange(2 * n_reach + 1) - n_reach) * _FINE_S
    windows = np.lib.stride_tricks.sliding_window_view(heard, len(known), axis=0)
    apart = np.einsum("sph,p->s", np.square(windows - known.T), weights) / len(known)
    best = int(np.argmin(apart + _PRIOR * np.square(shifts_s / REACH_S)))
    there = windows[best].T * weights
    alike = np.corrcoef((known * weights).ravel(), there.ravel())[0, 1] if there.any() else 0.0
    return float(shifts_s[best] + _FINE_S * _bent(-apart, best)), max(float(alike), 0.0)


def _after_s(voice: PlannedVoice) -> float:
    return min(voice.n_first * HOP_S, _AFTER_S)


def _weights(voice: PlannedVoice, known: Floats, n_before: int) -> Floats:
    """Of the partials of the first note, which add to 1.

    Where the voice is strong and alone, and comes up: what the band holds already tells no time.
    """
    first = slice(voice.n_first)
    risen = min(round(_RISEN_S / _FINE_S), (len(known) - n_before) // 2)
    rise = known[n_before + risen :].mean(axis=0) - known[: n_before - risen].mean(axis=0)
    strength = (np.square(voice.share[first]) * voice.level[first]).mean(axis=0)
    strength = strength * np.maximum(rise, _TINY)
    weights: Floats = strength / (strength.sum() + _TINY)
    return weights


def _presence(
    voice: PlannedVoice,
    side: Side,
    n_around: tuple[int, int],
    guess: tuple[float, float],
    near_cents: float,
) -> Floats:
    """How far each partial of the first note is up, 0 to 1, around its place.

    1 is its settled level after the guess (seconds late, cents sharp), 0 what the band
    alone may leave there or less.
    """
    hops = np.arange(-n_around[0], n_around[1] + 1.0)
    at_s: Floats = side.start_s + hops * _FINE_S * side.rate
    magnitudes = spectra(side.clip, at_s, window_frames=_SHORT_FRAMES)
    midi = np.nanmedian(voice.midi[: voice.n_first]) + (guess[1] + side.tuning_cents) / 100
    around = np.array([-1.0, -0.5, 0.0, 0.5, 1.0]) * near_cents / 100
    shape = (len(hops), len(around), voice.share.shape[1])
    hz = np.broadcast_to(partial_hz(midi + around), shape)
    levels = read_at(magnitudes, hz).max(axis=1)
    after_s = hops * _FINE_S - guess[0]
    settled = np.median(levels[(after_s > _SETTLED_S) & (after_s < _after_s(voice))], axis=0)
    below_db = 20 * np.log10(levels / (settled + _TINY) + _TINY)
    presence: Floats = np.clip(1 + below_db / _RANGE_DB, 0.0, 1.0)
    return presence


def _first_cents(voice: PlannedVoice, reference: Side, take: Side, late_s: float) -> float:
    first = min(round(_SETTLED_S / HOP_S), voice.n_first // 2)
    return _cents(voice, reference, take, np.arange(first, voice.n_first), late_s)


def _phrase_cents(
    voice: PlannedVoice, reference: Side, take: Side, late_s: float
) -> tuple[float | None, float | None]:
    """Middle and spread of the pitch over the pieces of the phrase."""
    if not voice.is_tracked:
        return None, None
    cents = []
    for start in range(0, len(voice.midi) - _PIECE_HOPS + 1, _PIECE_HOPS):
        hops = np.arange(start, start + _PIECE_HOPS)
        known = np.isfinite(voice.midi[hops]).mean()
        stands_out = voice.share[hops].max(axis=1).mean()
        if known > _MOSTLY and stands_out > _LEAST_SHARE:
            cents.append(_cents(voice, reference, take, hops, late_s))
    if not cents:
        return None, None
    low, middle, high = np.percentile(cents, (25, 50, 75))
    return float(middle), float(high - low)


def _cents(
    voice: PlannedVoice,
    reference: Side,
    take: Side,
    hops: npt.NDArray[np.intp],
    late_s: float,
) -> float:
    """Cents of the take above the render over some hops of the phrase.

    A first look slides all partials together; then each partial's own peak is compared in
    both, and the middle of the differences counts: more where the voice stands out of the
    band and of the noise, and, as a peak is as wide in hertz at every partial, higher up.
    """
    hops = hops[np.isfinite(voice.midi[hops])]
    spectra_known, spectra_heard = (
        spectra(side.clip, side.start_s + (after_s + voice.at_s[hops] - voice.at_s[0]) * side.rate)
        for side, after_s in ((reference, 0.0), (take, late_s))
    )
    midi_known = voice.midi[hops] + reference.tuning_cents / 100
    midi_heard = voice.midi[hops] + take.tuning_cents / 100
    share = voice.share[hops]
    rough = _slid_cents(spectra_heard, midi_heard, share) - _slid_cents(
        spectra_known, midi_known, share
    )
    known, _ = peaks(spectra_known, midi_known, reach_cents=_PEAK_CENTS)
    heard, above = peaks(spectra_heard, midi_heard + rough / 100, reach_cents=_PEAK_CENTS)
    sharpness = np.minimum(np.arange(1, share.shape[1] + 1), _SHARPEST)
    # What is strong in the plan's voice is least likely to be another instrument in the take.
    weights = (np.square(share) * above * sharpness) ** 2 * voice.level[hops]
    return rough + _weighted_median((heard - known).ravel(), weights.ravel())


def _slid_cents(magnitudes: Floats, midi: Floats, share: Floats) -> float:
    """Cents at which all partials together agree best."""
    levels = read_at(magnitudes, partial_hz(midi[:, None] + _GRID_CENTS / 100))
    # Every partial of every hop counts by its shape, not its strength.
    shape = levels / (levels.max(axis=1, keepdims=True) + _TINY)
    strength = levels.max(axis=1) * share
    total = np.einsum("hcp,hp->c", shape, strength)
    best = int(np.argmax(total))
    return float(_GRID_CENTS[best] + (_GRID_CENTS[1] - _GRID_CENTS[0]) * _bent(total, best))


def _weighted_median(values: Floats, weights: Floats) -> float:
    keep = np.isfinite(values) & (weights > 0)
    if not keep.any():
        return 0.0
    values, weights = values[keep], weights[keep]
    order = np.argsort(values)
    place = np.searchsorted(np.cumsum(weights[order]), weights.sum() / 2)
    return float(values[order][min(place, len(values) - 1)])


def _bent(row: Floats, index: int) -> float:
    """Where the parabola through a place and its neighbours has its top, -0.5 to 0.5."""
    if not 0 < index < len(row) - 1:
        return 0.0
    a, b, c = row[index - 1 : index + 2]
    bend = a - 2 * b + c
    return float(np.clip(0.5 * (a - c) / bend, -0.5, 0.5)) if bend < 0 else 0.0
