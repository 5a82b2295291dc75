"""The singer's entry told in bars."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from segue.review.entry import heard_entry
from segue.review.report import SingerEntry
from segue.review.rise import Side

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.audio.clip import Clip
    from segue.review.report import Review
    from segue.review.voice import PlannedVoice

_LEAST_CLEARNESS: Final = 0.2


def singer_entry(
    voice: PlannedVoice | None,
    reference: Clip,
    take: Clip,
    review: Review,
    beat_s_at: Callable[[float], float],
) -> SingerEntry | None:
    """How the singer came in.

    Parameters
    ----------
    voice : PlannedVoice or None
        None where the plan has no singer.
    reference, take : Clip
    review : Review
        For the bars and the clock.
    beat_s_at : callable
        Seconds of the recording of a time of the render, as the band's beats have it.

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
        Side(clip=reference, start_s=at_s),
        Side(clip=take, start_s=expected_s, rate=recorder, tuning_cents=review.clock.tuning_cents),
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
