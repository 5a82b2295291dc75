"""The scorecard of a candidate: every measure, in the order people read them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from segue.score import (
    arrival,
    cleanliness,
    entry,
    level_steps,
    overlap,
    tempo_steps,
    tonal,
)
from segue.score.listening_to import Listened, hear
from segue.score.scorecard import CurveSample, Measure, Scorecard
from segue.score.tones import key_fit
from segue.score.weights import Purpose, overall, weights_for

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from segue.analysis.facts import EdgeFacts
    from segue.music.key import Key
    from segue.render.candidate import Candidate

_MEASURES: tuple[Callable[[Listened], Measure | None], ...] = (
    tonal.tonal_path,
    tonal.landing,
    overlap.consonance,
    arrival.key_arrival,
    arrival.old_key,
    arrival.cadence,
    arrival.runway,
    tempo_steps.tempo_change,
    tempo_steps.steady_beats,
    entry.entry_timing,
    entry.bar_line,
    level_steps.pulse,
    level_steps.level_step,
    level_steps.level_match,
    level_steps.dead_air,
    overlap.low_end,
    level_steps.brightness,
    overlap.voices,
    cleanliness.true_peak,
    cleanliness.clipping,
    cleanliness.click_leak,
)


def score_candidate(
    candidate: Candidate,
    outgoing: EdgeFacts,
    incoming: EdgeFacts,
    *,
    purpose: Purpose | None = None,
    weights: Mapping[str, float] | None = None,
) -> Scorecard:
    """Measure a candidate on its rendered sound.

    Parameters
    ----------
    outgoing, incoming : EdgeFacts
        The end of the old song and the start of the new.
    purpose : {'talk', 'lift', 'calm', 'dance'} or None
        Chooses the column of the table of weights; None is the balanced one.
    weights : mapping of str to float, optional
        Weight of every measure by name, in place of the table's.

    Returns
    -------
    Scorecard
        Measures that do not apply to this candidate are left out, of the mean too.
    """
    hearing = hear(candidate, incoming)
    found = (measure(hearing) for measure in _MEASURES)
    measures = (
        tonal.key_distance(outgoing, incoming),
        *(measure for measure in found if measure is not None),
    )
    return Scorecard(
        measures=measures,
        overall=overall(measures, weights=weights or weights_for(purpose)),
        loudness_lufs=level_steps.loudness_curve(hearing),
        key_distance_from=_key_curve(hearing, hearing.plan.key_from),
        key_distance_to=_key_curve(hearing, hearing.plan.key_to),
        tempo_bpm=tempo_steps.tempo_curve(hearing),
    )


def _key_curve(hearing: Listened, key: Key) -> tuple[CurveSample, ...]:
    """Distance 0..1 of what sounds from a key: half of one minus the profile correlation."""
    distances = (1.0 - key_fit(hearing.tones.remembered(arrival.EVIDENCE_MEMORY_S), key)) / 2.0
    return tuple(
        CurveSample(time_s=float(t), value=float(d))
        for t, d in zip(hearing.tones.times_s, distances, strict=True)
        if t < hearing.candidate.music.duration_s
    )
