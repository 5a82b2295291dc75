"""What happens where two sides of the join sound at once: roughness, low end, voices.

References
----------
.. [HK78] W. Hutchinson and L. Knopoff, "The acoustic component of Western
   consonance", Interface 7(1), 1978, 1-29.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.audio.clip import VOICES
from segue.plan.layer import Side, SongLayer
from segue.score.listening_to import SIDES, Listened
from segue.score.scorecard import Measure, falling, measured

if TYPE_CHECKING:
    from segue.arrays import Flags, Floats
    from segue.plan.plan import Section


CRITICAL_BAND_HZ: Final = (1.72, 0.65)
"""Width of a critical band is 1.72 times the mean frequency to the power 0.65 [HK78]_."""
_ROUGHEST_BANDS: Final = 0.25  # critical bands apart at which two partials are roughest [HK78]_
_SMOOTH_BANDS: Final = 1.2  # and from which on they are smooth


def pair_roughness(first_hz: npt.ArrayLike, second_hz: npt.ArrayLike) -> Floats:
    """Roughness 0..1 of pairs of equal partials [HK78]_; 1 at a quarter of a critical band.

    Examples
    --------
    >>> pair_roughness([400.0, 440.0], [400.0, 4000.0]).tolist()
    [0.0, 0.0]
    """
    first, second = np.asarray(first_hz, dtype=np.float64), np.asarray(second_hz, dtype=np.float64)
    factor, power = CRITICAL_BAND_HZ
    bands = np.abs(first - second) / (factor * ((first + second) / 2.0) ** power)
    share = bands / _ROUGHEST_BANDS
    rough = (share * np.exp(1.0 - share)) ** 2
    return np.asarray(np.where(bands > _SMOOTH_BANDS, 0.0, rough))


def roughness_between(
    first_hz: Floats, first_amplitude: Floats, second_hz: Floats, second_amplitude: Floats
) -> Floats:
    """Roughness that two sounds make together and neither makes alone [HK78]_.

    The pairs of partials with one in each sound, over the power of both sounds: what the published
    roughness of the sum has beyond the power-weighted mean of the two.

    Parameters
    ----------
    first_hz, first_amplitude, second_hz, second_amplitude : ndarray, shape (n_hops, n_partials)
        Frequencies and linear amplitudes, hop by hop; amplitude 0 for none.

    Returns
    -------
    ndarray, shape (n_hops,)
        0 where both are silent.
    """
    rough = pair_roughness(first_hz[:, :, np.newaxis], second_hz[:, np.newaxis, :])
    cross = np.einsum("hi,hj,hij->h", first_amplitude, second_amplitude, rough)
    power = (first_amplitude**2).sum(axis=1) + (second_amplitude**2).sum(axis=1)
    return np.asarray(cross / np.maximum(power, np.finfo(np.float64).tiny))


SMOOTH: Final = 0.2  # roughness up to which the sides blend
ROUGH: Final = 0.45
"""Mean roughness between sides. Two bands on the same chords give 0.2, a fourth apart 0.35, a
semitone apart 0.6; of single tones a major triad has 0.12 and a semitone 0.48 [HK78]_."""
_STRETCH_S: Final = 2.0
"""The roughest stretch of this length counts: a long overlap that blends hides no clash in it. Set
by judgement; on segues of real songs it is 0 to 0.09 above the mean."""
_LEAST_OVERLAP_S: Final = 0.6  # shorter overlaps are no overlap; by judgement
_BALANCE_DB: Final = 18.0
"""A side this far below the other is masked too well to be rough with it."""
# A low end this far below the stronger one's loud hops counts; by judgement
_STRONG_LOW_DB: Final = 10.0
_MAYBE: Final = 1  # a side that may be singing
_SURELY: Final = 2  # a side that is known to be singing


def consonance(hearing: Listened) -> Measure | None:
    """Roughness that the sides make together; None where they hardly overlap."""
    times_s = hearing.sides["outgoing"].times_s
    hop_s = float(times_s[1] - times_s[0]) if len(times_s) > 1 else _STRETCH_S
    added = np.full(len(times_s), np.nan)
    for one, other in combinations(SIDES, 2):
        added = np.fmax(added, _added_roughness(hearing, one, other))
    overlap_s = float((~np.isnan(added)).sum()) * hop_s
    if overlap_s < _LEAST_OVERLAP_S:
        return None
    rough = np.nan_to_num(added)
    value = _roughest(rough, round(_STRETCH_S / hop_s))
    words = ", slightly rough" if value < ROUGH else ", and clash"
    if value <= SMOOTH:
        words = " and blend"
    return measured(
        "consonance",
        value=value,
        score=falling(value, good=SMOOTH, bad=ROUGH),
        threshold=f"up to {SMOOTH:g} the sides blend, from {ROUGH:g} they clash",
        sentence=f"{overlap_s:.1f} s overlap{words}.",
        worst_beat=hearing.plan.beat_at(float(times_s[int(rough.argmax())])),
    )


def _roughest(rough: Floats, n_hops: int) -> float:
    """Mean of the roughest stretch of so many hops, in which what does not overlap is smooth.

    So more of an overlap is never less rough, wherever it lies.
    """
    return float(np.convolve(rough, np.full(n_hops, 1.0 / n_hops)).max())


def low_end(hearing: Listened) -> Measure | None:
    """Beats in which both songs have a strong low end; None for silence."""
    plan = hearing.plan
    if hearing.is_silent:
        return None
    low = {side: hearing.sides[side].low_db for side in ("outgoing", "incoming")}
    strong_db = max(float(np.quantile(db, 0.9)) for db in low.values()) - _STRONG_LOW_DB
    strong_db = max(strong_db, hearing.loud_db - 2 * _BALANCE_DB)
    both = (low["outgoing"] > strong_db) & (low["incoming"] > strong_db)
    times_s = hearing.sides["outgoing"].times_s
    hops = np.flatnonzero(both)
    hop_beats = [plan.beat_at(t + 0.085) - plan.beat_at(t - 0.085) for t in times_s[hops]]
    beats = float(sum(hop_beats))
    worst = plan.beat_at(float(times_s[hops[len(hops) // 2]])) if len(hops) else None
    sentence = (
        f"Both songs fill the low end for {beats:.1f} beats."
        if beats > 1.0
        else "The low end belongs to one song at a time."
    )
    return measured(
        "low_end",
        value=beats,
        score=falling(beats, good=1.0, bad=6.0),
        threshold="up to a beat of both below 150 Hz is fine",
        sentence=sentence,
        worst_beat=worst,
    )


def voices(hearing: Listened) -> Measure | None:
    """Seconds in which two voices may sound; None where mixes hide them.

    A song whose parts are not named may be singing wherever it sounds. Against a voice that is
    surely there this counts; where nothing is known of either song, nothing is said.
    """
    if hearing.is_silent:
        return None
    times_s = hearing.sides["outgoing"].times_s
    both = hearing.sounding("outgoing") & hearing.sounding("incoming")
    old, new = (_singing(hearing, side, times_s) for side in ("outgoing", "incoming"))
    clash = both & np.minimum(old, new).astype(np.bool_) & (np.maximum(old, new) == _SURELY)
    if not clash.any() and (both & (old == _MAYBE) & (new == _MAYBE)).any():
        return None
    seconds = float(clash.sum()) * (float(times_s[1] - times_s[0]) if len(times_s) > 1 else 0.0)
    sentence = f"Two singers overlap for {seconds:.1f} s." if seconds else "No two singers overlap."
    worst = hearing.plan.beat_at(float(times_s[clash.argmax()])) if seconds else None
    return measured(
        "voices",
        value=seconds,
        score=falling(seconds, good=0.3, bad=4.0),
        threshold="two singers should not overlap",
        sentence=sentence,
        worst_beat=worst,
    )


def _added_roughness(hearing: Listened, one: Section, other: Section) -> Floats:
    """Roughness between two sides where both sound in balance, NaN elsewhere."""
    first, second = hearing.sides[one], hearing.sides[other]
    both = hearing.together(one, other, _BALANCE_DB)
    added = np.full(len(both), np.nan)
    if both.any():
        added[both] = roughness_between(
            first.partial_hz[both],
            first.partial_amplitude[both],
            second.partial_hz[both],
            second.partial_amplitude[both],
        )
    return added


def _singing(hearing: Listened, side: Side, times_s: Floats) -> npt.NDArray[np.int_]:
    """Whether the plan lets a voice of a song sound, hop by hop: no, maybe, surely."""
    singing = np.zeros(len(times_s), dtype=np.int_)
    for layer in hearing.plan.layers:
        if not isinstance(layer, SongLayer) or layer.song != side:
            continue  # drums, held moments and tails of a song are no singing
        if layer.roles and not VOICES & set(layer.roles):
            continue
        knows = bool(layer.roles) or (side == "incoming" and hearing.plan.singer_beat is not None)
        hops = _layer_hops(hearing, layer, times_s)
        singing[hops] = np.maximum(singing[hops], _SURELY if knows else _MAYBE)
    return singing


def _layer_hops(hearing: Listened, layer: SongLayer, times_s: Floats) -> Flags:
    start_s = hearing.plan.seconds_at(layer.start_beat)
    if layer.song == "incoming" and hearing.plan.singer_beat is not None:
        start_s = max(start_s, hearing.plan.seconds_at(hearing.plan.singer_beat))
    end_s = hearing.plan.seconds_at(layer.end_beat)
    return np.asarray((times_s >= start_s) & (times_s < end_s))
