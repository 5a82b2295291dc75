"""Where in a recording the transition is, every time it is played, and whether it is at all.

The plan's render is slid along the recording; at every place the two agree by
the correlation of their chroma (which notes sound when) and of their onsets.
Chroma is taken about its own mean, since all music of a key is alike on average.

A rehearsal's file holds several tries with talk between. Each is where the whole render, or
all of it up to the new song, agrees better than it does with other music; of places that overlap
the best is one try. Which of the options was played is told by the sound of the bridge as well.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.review.listening import CHROMA_HOP_S, ONSET_HOP_S, Listening

if TYPE_CHECKING:
    from segue.arrays import Floats


LEAST_SHARE: Final = 0.5
"""Share of the transition that a recording must hold (by judgement)."""
SPEEDS: Final = (1.0, 0.995, 1.005, 0.9975, 1.0025)
"""A recorder's clock, or a band without a click, may be this far off (by judgement)."""
_LEAST_PART_S: Final = 6.0  # a shorter part is not looked for by itself; by judgement
PART_MATCH: Final = 0.5
"""Parts are shorter than the whole, and other music agrees with them better by
chance (by judgement)."""
# Waits that a band makes before the new song; by judgement
_LEAST_APART_S, _MOST_APART_S = 0.15, 10.0
# of the songs on both sides of the bridge that are compared with it; by judgement
_BESIDE_BRIDGE_S: Final = 1.0
_NEAR_S: Final = 12.0  # the bridge is looked for this near the place of the whole; by judgement
_AROUND_S: Final = 2.0  # before and after a try that belong to it; by judgement
_SAME_SHARE: Final = 0.5  # of the transition: places nearer than this are one try; by judgement
_LEAST_TRY_S: Final = 8.0  # a shorter stretch is found in other music as well; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundPlace:
    """A place of the transition in a recording.

    Parameters
    ----------
    offset_s : float
        Time in the recording of the render's first frame; negative where the
        recording starts later.
    speed : float
        Seconds of the recording to one second of the render.
    match : float
        How well it agrees there, -1 to 1.
    from_s : float
        Time in the render from which the place holds.
    """

    offset_s: float
    speed: float
    match: float
    from_s: float = 0.0


def find_transition(reference: Listening, take: Listening) -> FoundPlace:
    """The best place of a render in a recording."""
    return max((_at_speed(reference, take, speed) for speed in SPEEDS), key=lambda f: f.match)


def find_parts(
    reference: Listening, take: Listening, found: FoundPlace, split_s: float
) -> tuple[FoundPlace, ...]:
    """The place again, or one each for what is before and after a time of the render.

    Where the band waited or rushed into the new song, no one place fits both songs.

    Parameters
    ----------
    split_s : float
        Time in the render.

    Returns
    -------
    tuple of FoundPlace
        Two where both parts stand out in their own, later or earlier place; else one.
    """
    if min(split_s, reference.duration_s - split_s) < _LEAST_PART_S:
        return (found,)
    before = _at_speed(reference.part(0.0, split_s), take, found.speed)
    late = _at_speed(reference.part(split_s, reference.duration_s), take, found.speed)
    after = replace(late, offset_s=late.offset_s - found.speed * split_s, from_s=split_s)
    apart_s = abs(after.offset_s - before.offset_s)
    stand_out = min(before.match, after.match) > max(found.match, PART_MATCH)
    if stand_out and _LEAST_APART_S < apart_s < _MOST_APART_S:
        return (before, after)
    return (found,)


def bridge_match(
    reference: Listening, take: Listening, place: FoundPlace, bridge_s: tuple[float, float]
) -> float:
    """How well a recording agrees with the bridge of an option, -1 to 1.

    Parameters
    ----------
    place : FoundPlace
        The best place of the whole option.
    bridge_s : (float, float)
        Where the old song is left and the new one enters, in the render.
    """
    start_s = max(bridge_s[0] - _BESIDE_BRIDGE_S, 0.0)
    end_s = min(bridge_s[1] + _BESIDE_BRIDGE_S, reference.duration_s)
    lag_s, curve = _agreement_curve(reference.part(start_s, end_s), take, place.speed)
    near = abs(lag_s - place.offset_s - place.speed * start_s) < _NEAR_S
    return float(curve[near].max()) if near.any() else -1.0


def try_spans_s(
    reference: Listening, take: Listening, found: FoundPlace, *, split_s: float, least_match: float
) -> tuple[tuple[float, float], ...]:
    """Seconds of the recording that hold one try each, in their order; at least one.

    Parameters
    ----------
    found : FoundPlace
        The best place of the whole, which is one of them.
    split_s : float
        Time in the render where the new song enters.
    least_match : float
        Of the whole render, below which there is no try.
    """
    length_s = reference.duration_s * found.speed
    starts = [found.offset_s]
    looked = [(reference, least_match)]
    if split_s > _LEAST_TRY_S:
        looked.append((reference.part(0.0, split_s), max(PART_MATCH, least_match)))
    for part, least in looked:
        lag_s, curve = _agreement_curve(part, take, found.speed)
        order = (-curve).argsort()
        for place in order[curve[order] >= least]:
            start_s = float(lag_s[place])
            if all(abs(start_s - other) > _SAME_SHARE * length_s for other in starts):
                starts.append(start_s)
    starts.sort()
    borders_s = [0.0]
    for before_s, start_s in itertools.pairwise(starts):
        free_s = max(start_s - (before_s + length_s), 0.0)
        borders_s.append(start_s - min(_AROUND_S, free_s / 2))
    return tuple(itertools.pairwise((*borders_s, take.duration_s)))


def _agreement_curve(reference: Listening, take: Listening, speed: float) -> tuple[Floats, Floats]:
    """How well a render agrees with a recording at every place.

    Parameters
    ----------
    speed : float
        Seconds of the recording to one second of the render.

    Returns
    -------
    lag_s : ndarray, shape (n_lags,)
        Time in the recording of the render's first frame.
    agreement : ndarray, shape (n_lags,)
        -1 to 1.
    """
    chroma = _similarity(_stretched(reference.chroma, speed), take.chroma)
    stretched = _stretched(reference.onsets, speed)
    onsets = _similarity(stretched, take.onsets)
    # The finer curve is read at its best within each step of the coarser one.
    lag_s = np.asarray((np.arange(len(onsets)) - (len(stretched) - 1)) * ONSET_HOP_S, np.float64)
    chroma_lag_s = (
        np.arange(len(chroma)) - (len(_stretched(reference.chroma, speed)) - 1)
    ) * CHROMA_HOP_S
    both: Floats = (
        0.5 * np.interp(lag_s, chroma_lag_s, chroma, left=-1.0, right=-1.0) + 0.5 * onsets
    )
    return lag_s, both


def _at_speed(reference: Listening, take: Listening, speed: float) -> FoundPlace:
    lag_s, both = _agreement_curve(reference, take, speed)
    best = int(np.argmax(both))
    return FoundPlace(offset_s=float(lag_s[best]), speed=speed, match=float(both[best]))


def _stretched(features: Floats, speed: float) -> Floats:
    n_hops = max(round(len(features) * speed), 2)
    places = np.arange(n_hops) / speed
    columns = [
        np.interp(places, np.arange(len(features)), column, right=0.0) for column in features.T
    ]
    return np.stack(columns, axis=1)


def _similarity(reference: Floats, take: Floats) -> Floats:
    """Correlation at every lag, full length; -1 where too little overlaps."""
    from scipy.signal import fftconvolve

    x = reference - reference.mean(axis=0)
    y = take - take.mean(axis=0)
    cross = sum(fftconvolve(b, a[::-1]) for a, b in zip(x.T, y.T, strict=True))
    ones_x, ones_y = np.ones(len(x)), np.ones(len(y))
    energy_x = fftconvolve(ones_y, np.square(x).sum(axis=1)[::-1])
    energy_y = fftconvolve(np.square(y).sum(axis=1), ones_x[::-1])
    overlap = fftconvolve(ones_y, ones_x[::-1])
    scale = np.sqrt(np.maximum(energy_x, 0) * np.maximum(energy_y, 0))
    similar = np.where(scale > 1e-9, cross / np.maximum(scale, 1e-9), 0.0)  # noqa: PLR2004 - silence
    return np.where(overlap >= LEAST_SHARE * len(x) - 0.5, similar, -1.0)
