"""One part that rests while the others go on, told by the plan's stems.

In the plan's sound each narrow band at each moment is mostly one part's: its stem says which. Where
a part is missing in a bar of the take, its moments are as the plan without it and not as the plan,
and those of the others say how loud the bar is. Moments at which noise or the room fills the band
tell nothing. Without stems the drums and the low notes of the plan are told apart by estimate.
What all parts share, the gain of each moment and the tone of each band, is taken out before.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.adapters import resampled
from segue.review.report import Hole, Rest
from segue.review.room_and_noise import decibels
from segue.review.stems import BANDS_HZ, PARTS_RATE_HZ, band_powers, part_powers
from segue.review.timing import LOST_AGREEMENT

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from segue.arrays import Flags, Floats
    from segue.audio.clip import Clip
    from segue.plan.plan import Plan
    from segue.review.moves import BarTiming
    from segue.runfolder import RunDocument


HOP_S: Final = 0.02  # seconds from moment to moment; by judgement
_OWN_SHARE: Final = 0.6  # of the power at a moment that makes it a part's; by judgement
_OTHERS_SHARE: Final = 0.3  # and that leaves it to the others; by judgement
_LEAST_REST: Final = 0.03  # of the power that noise and room leave of a part at least; by judgement
_ABOVE_FLOOR_DB: Final = 8.0  # of the plan above what fills the band in the take; by judgement
_FLOOR_QUANTILE: Final = 0.05  # of the take's levels in a band: noise, or the room; by judgement
_LOUD_QUANTILE: Final = 0.9  # of the plan's levels in a band; by judgement
_SOUNDS_DB: Final = 25.0  # below that the plan has nothing to compare; by judgement
_LEAST_MOMENTS: Final = 12  # fewer in a bar tell nothing; by judgement
_LEAST_OWN: Final = 100  # moments of a part that tell whether it never plays; by judgement
_LEAST_OTHERS: Final = 50  # and of the others in each band that is asked; by judgement
_GAIN_S: Final = 1.0  # over so long a gain is one: a recorder's recovers in it; by judgement
_ROUNDS: Final = 3  # of gains and bands in turn, which stand still by then; by judgement
_RESTS: Final = 0.3
"""From here on a bar sounds as without the part (chosen on the seeds of `benchmarks/review.py` that
are for tuning: other bars reach .05, rests .5 and more)."""
LOW_NOTES: Final = "low notes"
"""What a bass plays, where no stem says that it is one."""
_DRUMS_REST, _LOW_RESTS, _BOTH_REST = -0.1, 0.0, -0.65
"""The same where parts are estimated: of what is struck, of the low notes, and of their sum (chosen
on the same; who rests in a bridge is not told then). A bass that rests takes its strokes along, so
that what is struck is less as well; a room that swallows a note leaves the strokes as they are."""
_LEAST_STRUCK, _LEAST_LOW = 100, 140  # moments in a bar that must tell then; chosen on the same
_AGREES_DB: Final = 4.0  # of the stems' sum with the render: else other layers sound; by judgement
_NEVER: Final = frozenset({"voice", "lead", "mix"})  # a singer phrases freely, and is told by name
_LOW_HZ: Final = 250.0  # what sounds on below is the bass's, mostly; by judgement
_TINY: Final = 1e-10  # keeps silence from a division by zero


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Parts:
    """Levels of a take and of its plan, and whose they are.

    Parameters
    ----------
    plan_s, take_s : ndarray, shape (n_hops,)
        Times of the plan, and the same place of the music in the take.
    over_db : ndarray, shape (n_hops, n_bands)
        The take over the plan, about the middle of each band and of each moment's second; not a
        number where nothing tells.
    shares : dict of str to ndarray, shape (n_hops, n_bands)
        Of each part in the power of all.
    is_estimated : bool
        Whether no stem says so, and the parts are what a mix tells apart.
    """

    plan_s: Floats
    take_s: Floats
    over_db: Floats
    shares: dict[str, Floats]
    is_estimated: bool = False


def part_rests(
    parts: Parts, bars: Sequence[BarTiming], ends_s: float, holes: Sequence[Hole]
) -> tuple[Rest, ...]:
    """Bars in which one part is missing while the others go on.

    Parameters
    ----------
    ends_s : float
        Where the last bar ends in the plan.
    """
    is_gap = np.zeros(len(parts.take_s), dtype=bool)
    for hole in holes:
        is_gap |= (parts.take_s > hole.start_s - 0.1) & (
            parts.take_s < hole.start_s + hole.length_s + 0.1
        )
    borders_s = [*(bar.plan_s for bar in bars), ends_s]
    of_bar = [
        (parts.plan_s >= first) & (parts.plan_s < last) & ~is_gap
        for first, last in itertools.pairwise(borders_s)
    ]
    told = np.array(
        [
            bar.agreement >= LOST_AGREEMENT
            and not (parts.is_estimated and bar.section == "interlude")
            for bar in bars
        ]
    )
    if parts.is_estimated:
        down = _estimated_rests(parts, of_bar)
        return _in_order(_runs(name, bars, told & rests) for name, rests in down.items())
    found = []
    for name, share in parts.shares.items():
        if _is_missing_all(parts.over_db, share) > _RESTS:
            plays = [bool((share[mine] > _OWN_SHARE).any()) for mine in of_bar]
            found.append(_runs(name, bars, np.array(plays)))
        else:
            missing = _missing(parts, name, of_bar, _LEAST_MOMENTS)
            found.append(_runs(name, bars, told & (missing > _RESTS)))
    return _in_order(found)


def _in_order(found: Iterable[list[Rest]]) -> tuple[Rest, ...]:
    rests = itertools.chain.from_iterable(found)
    return tuple(sorted(rests, key=lambda rest: (rest.bar, rest.part)))


def _estimated_rests(parts: Parts, of_bar: Sequence[Flags]) -> dict[str, Flags]:
    """In which bars the drums rest, or who plays the low notes."""
    struck = _missing(parts, "drums", of_bar, _LEAST_STRUCK)
    low = _missing(parts, LOW_NOTES, of_bar, _LEAST_LOW)
    return {
        "drums": (struck > _DRUMS_REST) & ~(low > struck),
        LOW_NOTES: (low > _LOW_RESTS)
        & (low + np.nan_to_num(struck) > _BOTH_REST)
        & ~(struck > low),
    }


def _missing(parts: Parts, name: str, of_bar: Sequence[Flags], n_least: int) -> Floats:
    """Whether each bar sounds as without a part; see `_is_missing`."""
    share = parts.shares[name]
    return np.array([_is_missing(parts.over_db[bar], share[bar], n_least) for bar in of_bar])


def _is_missing(over_db: Floats, share: Floats, n_least: int) -> float:
    """Whether a bar sounds as without a part (up to 1) or as with it (down to -1).

    At each of its moments the take is held against what the plan would be without the part, and
    against the plan; the others' moments in the same bar say how loud the bar is. Not a number
    where fewer than `n_least` moments tell.
    """
    tells = np.isfinite(over_db)
    own, others = tells & (share > _OWN_SHARE), tells & (share < _OTHERS_SHARE)
    if min(own.sum(), others.sum()) < n_least:
        return np.nan
    return _nearness(over_db[own] - np.median(over_db[others]), share[own])


def _is_missing_all(over_db: Floats, share: Floats) -> float:
    """The same of a part that may be missing all through, which takes a band's middle with it.

    So the middle of each band is that of the others' moments in it.
    """
    others = np.isfinite(over_db) & (share < _OTHERS_SHARE)
    tells = others.sum(axis=0) >= _LEAST_OTHERS
    if not tells.any():
        return np.nan
    over_db, share = over_db[:, tells], share[:, tells]
    over_db = over_db - np.nanmedian(np.where(others[:, tells], over_db, np.nan), axis=0)
    own = np.isfinite(over_db) & (share > _OWN_SHARE)
    if own.sum() < _LEAST_OWN:
        return np.nan
    return _nearness(over_db[own], share[own])


def _nearness(heard_db: Floats, share: Floats) -> float:
    """Whether moments are as the plan without a part (1) or as the plan (-1)."""
    without_db = 10 * np.log10(np.maximum(1 - share, _LEAST_REST))
    nearer = np.abs(heard_db) - np.abs(heard_db - without_db)
    return float(nearer.sum() / np.abs(without_db).sum())


def _runs(name: str, bars: Sequence[BarTiming], down: Flags) -> list[Rest]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], down.astype(np.int8), [0]))))
    return [
        Rest(bar=bars[first].number, last_bar=bars[last - 1].number, part=name)
        for first, last in zip(edges[::2], edges[1::2], strict=True)
    ]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlannedParts:
    """Whose the moments of a plan are.

    Parameters
    ----------
    plan_s : ndarray, shape (n_hops,)
    plan_db : ndarray, shape (n_hops, n_bands)
        Of the option's music.
    powers : dict of str to ndarray, shape (n_hops, n_bands)
        Of each part, by role.
    is_estimated : bool
        As of `Parts`.
    """

    plan_s: Floats
    plan_db: Floats
    powers: dict[str, Floats]
    is_estimated: bool


def planned_parts(document: RunDocument, plan: Plan, reference: Clip) -> PlannedParts:
    """Whose the moments of a plan are: by the stems, or by estimate where none is at hand."""
    plan_s = np.arange(0.0, plan.duration_s, HOP_S)
    by_stems = part_powers(document, plan, plan_s)
    return PlannedParts(
        plan_s=plan_s,
        plan_db=decibels(band_powers(reference, plan_s)),
        powers=by_stems or _estimated_powers(reference, plan_s),
        is_estimated=not by_stems,
    )


def _estimated_powers(reference: Clip, plan_s: Floats) -> dict[str, Floats]:
    """Of what is struck and of what sounds on, low and high, as a mix tells them apart."""
    from segue.render.separate import percussion

    sound = resampled(reference, PARTS_RATE_HZ)
    struck = percussion(np.asarray(sound.samples, dtype=np.float32), PARTS_RATE_HZ)
    held = band_powers(replace(sound, samples=sound.samples - struck), plan_s)
    is_low = BANDS_HZ < _LOW_HZ
    return {
        "drums": band_powers(replace(sound, samples=struck), plan_s),
        LOW_NOTES: held * is_low,
        "mix": held * ~is_low,
    }


def parts_heard(
    planned: PlannedParts, take: Clip, take_s_at: Callable[[float], float]
) -> Parts | None:
    """How a take has the moments of each part.

    Parameters
    ----------
    take_s_at : callable
        Seconds of the recording of a time of the plan.

    Returns
    -------
    Parts or None
        None where nothing of the plan is in the recording.
    """
    take_s = np.array([take_s_at(float(s)) for s in planned.plan_s])
    inside = (take_s > 0) & (take_s < take.duration_s)
    if not inside.any():
        return None
    plan_s, take_s, plan_db = planned.plan_s[inside], take_s[inside], planned.plan_db[inside]
    powers = {name: power[inside] for name, power in planned.powers.items()}
    take_db = decibels(band_powers(take, take_s))
    whole = np.sum(list(powers.values()), axis=0)
    over = take_db - plan_db
    loud = plan_db > np.quantile(plan_db, _LOUD_QUANTILE, axis=0) - _SOUNDS_DB
    middle = np.nanmedian(np.where(loud, over, np.nan), axis=0)
    floor = np.quantile(take_db, _FLOOR_QUANTILE, axis=0) - middle
    apart = decibels(whole) - plan_db
    sounds = whole.max(axis=1) > _TINY
    apart -= np.median(apart[sounds]) if sounds.any() else 0.0
    tells = (plan_db > floor + _ABOVE_FLOOR_DB) & (np.abs(apart) < _AGREES_DB)
    return Parts(
        plan_s=plan_s,
        take_s=take_s,
        over_db=_evened(np.where(tells, over - middle, np.nan)),
        shares={
            name: power / np.maximum(whole, _TINY)
            for name, power in powers.items()
            if name not in _NEVER
        },
        is_estimated=planned.is_estimated,
    )


def _evened(over_db: Floats) -> Floats:
    """Without the gain of each moment and the tone of each band, taken out in turn by their middle.

    A recorder that rides the gain makes a moment as loud as another, in all bands at once; then the
    middle of a band alone would be that of the moments at which it happens to sound.
    """
    from scipy.ndimage import median_filter

    hops = np.arange(len(over_db))
    told = np.flatnonzero(np.isfinite(over_db).any(axis=1))
    known = np.isfinite(over_db).any(axis=0)
    if not len(told):
        return over_db
    over_db = over_db.copy()
    for _ in range(_ROUNDS):
        gain_db = np.interp(hops, told, np.nanmedian(over_db[told], axis=1))
        over_db -= median_filter(gain_db, round(_GAIN_S / HOP_S), mode="nearest")[:, None]
        over_db[:, known] -= np.nanmedian(over_db[:, known], axis=0)
    return over_db
