"""Whether what sounds between the songs belongs to them: its makers, its timbre, its tuning."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.music.tempo import percent
from segue.plan.layer import FrozenLayer, PadLayer, PlayedLayer
from segue.score.listening_to import SIDES, Listened
from segue.score.scorecard import Measure, NotMeasured, falling, measured, not_measured

if TYPE_CHECKING:
    from segue.arrays import Flags
    from segue.plan.plan import Section


_LEAST_BRIDGE_S: Final = 1.0  # shorter belongs to nobody
_HALF: Final = 0.5  # share of the power: less is in part
_ALL: Final = 0.98  # share of the power that is as good as all; by judgement
_LIKE_DB, _UNLIKE_DB = 5.0, 16.0
"""Distance of timbres: two stretches of one song, and two songs that share nothing. By judgement,
on pairs of real songs."""
TUNE_FAULT_CENTS: Final = 15.0
"""Beyond this, parts that sound together are out of tune. Set by judgement."""
_FINE_CENTS: Final = 6.0  # nobody hears it; by judgement
_WIDE_CENTS: Final = 30.0
_SURE: Final = 0.5
"""Tunings are told where partials crowd: length of their mean on the circle of 100 cents."""
_SURE_PITCHED: Final = 0.3  # the same where chords are surely played
_PARTIALS_HZ: Final = (180.0, 2_500.0)
"""Where a window of a third of a second resolves cents and notes are in tune with each other."""
_BALANCE_DB: Final = 18.0  # a side this far below is masked
_LEAST_HOPS: Final = 8  # of 0.17 s: fewer tell no tuning


def own_music(hearing: Listened) -> Measure | NotMeasured | None:
    """Share of the sound between the songs that comes from them, and how like them it sounds."""
    exit_s, entry_s = hearing.exit_s, hearing.entry_s
    if hearing.is_silent:
        return None
    if entry_s - exit_s < _LEAST_BRIDGE_S:
        why = "there is no bridge to speak of"
        return not_measured("own_music", why=why)
    share = _share_of_songs(hearing)
    apart_db = timbre_apart_db(hearing)
    score = 0.5 * share + 0.5 * falling(apart_db, good=_LIKE_DB, bad=_UNLIKE_DB)
    is_alike = apart_db < (_LIKE_DB + _UNLIKE_DB) / 2
    near = "like" if is_alike else "unlike"
    part = f"{percent(share)} of the bridge comes from the two songs"
    if share >= _ALL:
        part = "All of the bridge comes from the two songs"
    elif share < 1.0 - _ALL:
        part = "Nothing in the bridge comes from the two songs"
    return measured(
        "own_music",
        value=share,
        score=score,
        threshold="1 is all from the two songs; likeness by timbre",
        sentence=f"{part}{', but' if is_alike and share < _HALF else ';'} it sounds {near} them.",
    )


def _share_of_songs(hearing: Listened) -> float:
    """Share of the power in the bridge that the songs make, drums and held moments included."""
    inside = slice(*np.searchsorted(hearing.sides["outgoing"].times_s,
                                    (hearing.exit_s, hearing.entry_s)))  # fmt: skip
    power = {
        side: float(np.sum(10.0 ** (hearing.sides[side].level_db[inside] / 10.0)))
        for side in ("outgoing", "interlude", "incoming")
    }
    total = sum(power.values())
    made = power["interlude"] * (1.0 - hearing.candidate.own_share)
    return 1.0 - made / total if total > 0 else 0.0


def timbre_apart_db(hearing: Listened) -> float:
    """Distance of the bridge's mean spectrum in bands from the nearer song's, level removed."""
    spans = ((hearing.exit_s, hearing.entry_s), *hearing.songs_s)
    times_s, bands_db = hearing.room.onsets.times_s, hearing.room.bands_db
    shapes = []
    for low_s, high_s in spans:
        hops = (times_s >= low_s) & (times_s < high_s)
        if not hops.any():
            return 0.0
        mean = 10 * np.log10(np.mean(10 ** (bands_db[hops] / 10), axis=0) + 1e-12)
        mean = np.maximum(mean, mean.max() - _SHAPE_RANGE_DB)
        shapes.append(mean - mean.mean())
    bridge, *songs = shapes
    return min(float(np.sqrt(np.mean((bridge - song) ** 2))) for song in songs)


_SHAPE_RANGE_DB: Final = 50.0  # softer bands are nothing


def tuning(hearing: Listened) -> Measure | None:
    """How far apart the tunings of sides are that sound together; None where it cannot be told.

    The bridge, where it sounds alone, is held to the song that it is nearer to: it may be tuned
    to the one that it leaves or to the one that it leads to.
    """
    found = [
        f for one, other in combinations(SIDES, 2) if (f := _apart(hearing, one, other)) is not None
    ]
    alone = _bridge_apart(hearing)
    if alone is not None:
        found.append(alone)
    if not found:
        return None
    cents, beat = max(found)
    return measured(
        "tuning",
        value=cents,
        score=falling(cents, good=_FINE_CENTS, bad=_WIDE_CENTS),
        threshold=f"up to {_FINE_CENTS:g} cents nobody hears; over {TUNE_FAULT_CENTS:g} is sour",
        sentence=f"In tune (within {max(cents, 2.0):.0f} cents)."
        if cents <= TUNE_FAULT_CENTS
        else f"Out of tune by {cents:.0f} cents.",
        worst_beat=beat,
    )


def _near(hearing: Listened, low_s: float, high_s: float) -> Flags:
    times_s = hearing.sides["outgoing"].times_s
    return np.asarray((times_s >= low_s) & (times_s < high_s))


def _apart(hearing: Listened, one: Section, other: Section) -> tuple[float, float] | None:
    """Cents between two sides where both sound in balance, and the beat."""
    both = hearing.together(one, other, _BALANCE_DB)
    a, b = _tuning_of(hearing, one, both), _tuning_of(hearing, other, both)
    if a is None or b is None:
        return None
    middle_s = float(hearing.sides[one].times_s[both].mean())
    return abs(_wrapped(a - b)), hearing.plan.beat_at(middle_s)


def _bridge_apart(hearing: Listened) -> tuple[float, float] | None:
    """Cents between what was made for the join and the song that it is nearer to."""
    exit_s, entry_s, plan = hearing.exit_s, hearing.entry_s, hearing.plan
    if not any(isinstance(x, PadLayer | PlayedLayer | FrozenLayer) for x in plan.layers):
        return None  # drums and noise have no tuning
    inside = hearing.sounding("interlude") & _near(hearing, exit_s, entry_s)
    made = _tuning_of(hearing, "interlude", inside, least=_SURE_PITCHED)
    if made is None:
        return None
    songs = (plan.key_from_tuning_cents, plan.key_to_tuning_cents)
    return min(abs(_wrapped(made - song)) for song in songs), plan.beat_at((exit_s + entry_s) / 2)


def _tuning_of(hearing: Listened, side: Section, hops: Flags, least: float = _SURE) -> float | None:
    """Cents above A4 = 440 Hz, -50 to 50; None where partials do not crowd."""
    if hops.sum() < _LEAST_HOPS:
        return None
    spectra = hearing.sides[side]
    hertz, size = spectra.partial_hz[hops], spectra.partial_amplitude[hops]
    kept = (hertz > _PARTIALS_HZ[0]) & (hertz < _PARTIALS_HZ[1]) & (size > 0)
    if not kept.any():
        return None
    cents = 1200.0 * np.log2(np.where(kept, hertz, 440.0) / 440.0)
    # hop by hop alike: a loud hit is no better witness than a soft chord
    weights = np.where(kept, size, 0.0)
    weights /= np.maximum(weights.sum(axis=1, keepdims=True), 1e-12)
    mean = np.sum(weights * np.exp(2j * np.pi * cents / 100.0)) / max(float(weights.sum()), 1e-12)
    return float(np.angle(mean) / (2 * np.pi) * 100.0) if abs(mean) >= least else None


def _wrapped(cents: float) -> float:
    return (cents + 50.0) % 100.0 - 50.0
