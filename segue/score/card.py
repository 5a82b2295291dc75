"""The scorecard of a candidate: every measure, in the order people read them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from segue.score import (
    arrival,
    belonging,
    cleanliness,
    energy,
    groove,
    holes,
    leaving,
    level_steps,
    overlap,
    timekeeping,
    tonal,
)
from segue.score.listening_to import Listened, hear
from segue.score.scorecard import BadFault, CurveSample, Measure, NotMeasured, Scorecard
from segue.score.tones import key_fit
from segue.score.weights import Purpose, overall, weights_for

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from segue.analysis.facts import EdgeFacts
    from segue.music.key import Key
    from segue.render.candidate import Candidate

_MEASURES: tuple[Callable[[Listened], Measure | NotMeasured | None], ...] = (
    tonal.tonal_path,
    tonal.landing,
    overlap.consonance,
    belonging.tuning,
    arrival.key_arrival,
    arrival.old_key,
    tonal.cadence,
    arrival.runway,
    timekeeping.tempo_change,
    timekeeping.steady_beats,
    timekeeping.entry_timing,
    timekeeping.bar_line,
    groove.pulse,
    groove.fill,
    groove.clash,
    holes.hole,
    level_steps.cliff,
    level_steps.bar_one,
    energy.drive,
    energy.fullness,
    energy.speech_level,
    energy.speech_room,
    energy.talk_length,
    level_steps.level_match,
    level_steps.brightness,
    overlap.low_end,
    overlap.voices,
    leaving.phrase,
    leaving.last_chord,
    belonging.own_music,
    cleanliness.true_peak,
    cleanliness.clipping,
    cleanliness.click_leak,
)

VOICES_FAULT_S: Final = 1.0
"""Two voices together for longer are heard as a mistake. Set by judgement."""

_FAULTS: Final[dict[str, tuple[Callable[[float], bool], str]]] = {
    "hole": (lambda v: v > holes.HOLE_FAULT_S, "a hole of {:.1f} s"),
    "last_chord": (lambda v: v < leaving.CUT_SHARE, "the last chord is cut"),
    "tuning": (lambda v: v > belonging.TUNE_FAULT_CENTS, "{:.0f} cents out of tune"),
    "entry_timing": (
        lambda v: abs(v) > timekeeping.LOOSE_MS,
        "bar one is off the grid by {:.0f} ms",
    ),
    "voices": (lambda v: v > VOICES_FAULT_S, "two singers together for {:.1f} s"),
}
"""What cannot be first, however well the rest is done: from which value on, and its words."""


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
        Measures that do not apply to this candidate are left out, of the mean too; what ought
        to be heard and is not is told by name, without a mark.
    """
    hearing = hear(candidate, outgoing, incoming, purpose=purpose)
    return card_of(hearing, weights=weights)


def card_of(hearing: Listened, *, weights: Mapping[str, float] | None = None) -> Scorecard:
    """The scorecard of what was heard; see `score_candidate`."""
    found = [measure(hearing) for measure in _MEASURES]
    is_pulse_sure = hearing.facts[1].pulse.confidence >= timekeeping.SURE_PULSE_CONFIDENCE
    measures = (
        tonal.key_distance(*hearing.facts),
        *(one for one in found if isinstance(one, Measure)),
    )
    return Scorecard(
        measures=measures,
        overall=overall(measures, weights=weights or weights_for(hearing.aim)),
        not_measured=tuple(one for one in found if isinstance(one, NotMeasured)),
        faults=bad_faults(measures, is_pulse_sure=is_pulse_sure),
        loudness_lufs=level_steps.loudness_curve(hearing),
        key_distance_from=_key_curve(hearing, hearing.plan.key_from),
        key_distance_to=_key_curve(hearing, hearing.plan.key_to),
        tempo_bpm=timekeeping.tempo_curve(hearing),
    )


def bad_faults(measures: Iterable[Measure], *, is_pulse_sure: bool = True) -> tuple[BadFault, ...]:
    """The bad faults among what was measured, in the order of the measures.

    Parameters
    ----------
    is_pulse_sure : bool, optional
        Whether it is surely heard where the new song's beats fall: against a guess, as of music
        that swells, nothing is off the grid so plainly that it must not be first.
    """
    found = []
    for measure in measures:
        if measure.name == "entry_timing" and not is_pulse_sure:
            continue
        is_bad, words = _FAULTS.get(measure.name, (None, ""))
        if is_bad is not None and is_bad(measure.value):
            sentence = words.format(abs(measure.value))
            found.append(BadFault(name=measure.name, sentence=sentence))
    return tuple(found)


def _key_curve(hearing: Listened, key: Key) -> tuple[CurveSample, ...]:
    """Distance 0..1 of what sounds from a key: half of one minus the profile correlation."""
    distances = (1.0 - key_fit(hearing.tones.remembered(arrival.EVIDENCE_MEMORY_S), key)) / 2.0
    return tuple(
        CurveSample(time_s=float(t), value=float(d))
        for t, d in zip(hearing.tones.times_s, distances, strict=True)
        if t < hearing.candidate.music.duration_s
    )
