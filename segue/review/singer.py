"""The singer's entry in a recording of the whole band: when, and on which pitch.

The voice is followed at its partials, weighted by how much of the sound there is the
voice's in the plan. The moment is found twice: by sliding the rise of the first note's partials
against the render, and, where stems are at hand, by where the voice's explains what the others
leave. The second is nearer and counts, unless the first is far from it: then the one counts that
is nearer to how late the whole phrase is. The pitch is where the
partials agree best, in the take against the render.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.review.listening import bent
from segue.review.onset import SETTLED_S, NoteSource, lateness, onset_s
from segue.review.partials import partial_hz, peaks, read_at, spectra
from segue.review.report import Review, SingerEntry
from segue.review.voice import HOP_S, PlannedVoice

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from segue.arrays import Floats
    from segue.audio.clip import Clip


_N_LOOKS: Final = 3  # each starts from the last one's moment and pitch; by judgement
_AGREE_S: Final = 0.08
"""The rise that is slid is up to 50 ms off on takes of `benchmarks/review_bands.py`, and never
far; what the voice explains is nearer, but once in forty takes it is another note."""
_NEAR_CENTS: Final = 50.0  # how far off the guess a later look searches; by judgement
_WIDE_CENTS: Final = 90.0  # and the first one; by judgement
_GRID_CENTS: Final = np.arange(-120.0, 121.0, 2.0)  # by judgement
_PIECE_HOPS: Final = 25  # a phrase is read in pieces of a quarter of a second; by judgement
_LEAST_SHARE: Final = 0.3  # of the sound that must be the voice's in a piece; by judgement
_PEAK_CENTS: Final = 45.0  # a partial's own peak is looked for this near it; by judgement
_SHARPEST: Final = 4
"""Partials above this one count no more: what is left of them is little above the
noise (by judgement)."""
_MOSTLY: Final = 0.8  # share of a piece in which the planned pitch must be known; by judgement
# a rise less like the plan's is no entry: noise reaches 0.18; by judgement
_LEAST_CLEARNESS: Final = 0.2
_TINY: Final = 1e-9  # keeps silence from a division by zero


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


def heard_entry(
    voice: PlannedVoice,
    reference: NoteSource,
    take: NoteSource,
    phrase_s: Callable[[], float | None] = lambda: None,
) -> Entry:
    """The singer's entry in a recording.

    Parameters
    ----------
    reference, take : NoteSource
        The render, and the recording with the band's beat as the place to look.
    phrase_s : callable
        How late the whole phrase is, asked where the two witnesses do not agree.
    """
    late_s, cents, clearness, near_cents = 0.0, 0.0, 0.0, _WIDE_CENTS
    for _ in range(_N_LOOKS):
        slid_s, clearness = lateness(
            voice, reference, take, guess=(late_s, cents), near_cents=near_cents
        )
        late_s = slid_s
        if voice.stems is not None:
            told_s = onset_s(voice, voice.stems, take, cents=cents, near_cents=near_cents)
            late_s = _agreed(slid_s, told_s, phrase_s)
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


def _agreed(slid_s: float, told_s: float, phrase_s: Callable[[], float | None]) -> float:
    """One moment from two: what the voice explains, unless it is another event altogether."""
    if abs(told_s - slid_s) <= _AGREE_S:
        return told_s
    whole_s = phrase_s()
    if whole_s is not None and abs(told_s - whole_s) < abs(slid_s - whole_s):
        return told_s
    return slid_s


def _first_cents(
    voice: PlannedVoice, reference: NoteSource, take: NoteSource, late_s: float
) -> float:
    first = min(round(SETTLED_S / HOP_S), voice.n_first // 2)
    return _cents(voice, reference, take, np.arange(first, voice.n_first), late_s)


def _phrase_cents(
    voice: PlannedVoice, reference: NoteSource, take: NoteSource, late_s: float
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
    reference: NoteSource,
    take: NoteSource,
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
    return float(_GRID_CENTS[best] + (_GRID_CENTS[1] - _GRID_CENTS[0]) * bent(total, best))


def _weighted_median(values: Floats, weights: Floats) -> float:
    keep = np.isfinite(values) & (weights > 0)
    if not keep.any():
        return 0.0
    values, weights = values[keep], weights[keep]
    order = np.argsort(values)
    place = np.searchsorted(np.cumsum(weights[order]), weights.sum() / 2)
    return float(values[order][min(place, len(values) - 1)])


def singer_entry(
    voice: PlannedVoice | None,
    reference: Clip,
    take: Clip,
    review: Review,
    beat_s_at: Callable[[float], float],
    phrase_s: Callable[[], float | None] = lambda: None,
) -> SingerEntry | None:
    """How the singer came in.

    Parameters
    ----------
    voice : PlannedVoice or None
        None where the plan has no singer.
    beat_s_at : callable
        Seconds of the recording of a time of the render, as the band's beats have it.
    phrase_s : callable
        How late the whole phrase is; see `heard_entry`.

    Returns
    -------
    SingerEntry or None
        None also where the entry is outside the recording or does not stand out.
    """
    if voice is None:
        return None
    at_s = float(voice.at_s[0])
    recorder = review.clock.recorder_ratio
    expected_s = beat_s_at(at_s)
    if not 0 < expected_s < take.duration_s:
        return None
    entry = heard_entry(
        voice,
        NoteSource(clip=reference, start_s=at_s),
        NoteSource(
            clip=take, start_s=expected_s, rate=recorder, tuning_cents=review.clock.tuning_cents
        ),
        cache(phrase_s),
    )
    if entry.clearness < _LEAST_CLEARNESS:
        return None
    return SingerEntry(
        bar=review.bar_at(at_s),
        time_s=expected_s + recorder * entry.late_s,
        late_ms=1000 * entry.late_s,
        cents=entry.cents,
        phrase_cents=entry.phrase_cents,
        phrase_spread_cents=entry.phrase_spread_cents,
        clearness=entry.clearness,
    )
