"""Tempo as heard: changes of beat length against what listeners notice.

References
----------
.. [DB93] C. Drake and M.-C. Botte, "Tempo sensitivity in auditory sequences:
   Evidence for a multiple-look model", Perception & Psychophysics 54(3),
   1993, 277-286.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.score.scorecard import CurveSample, Measure, NotMeasured, falling

if TYPE_CHECKING:
    from segue.plan.plan import Plan
    from segue.score.listening_to import Listened

Floats = npt.NDArray[np.float64]

TEMPO_JND_RATIO: Final = 0.015
"""Smallest change of beat length heard, as a ratio: the best case, beats of 0.3-0.8 s [DB93]_."""
GENTLE_JND: Final = 1.5  # largest step that is no fault, in just-noticeable differences
JOLT_JND: Final = 10.0
"""A change of 16 % into one beat. Set by judgement."""
_LONG_REST_BEATS: Final = 8  # behind so many beats without one a tempo is new; by judgement
_LEAST_STEPS: Final = 4  # fewer heard steps from beat to beat tell nothing; by judgement


def tempo_curve(hearing: Listened) -> tuple[CurveSample, ...]:
    """Tempo over the candidate, one sample a beat."""
    lengths_s = hearing.beat_lengths_s
    return tuple(
        CurveSample(time_s=float(t), value=float(60.0 / length_s))
        for t, length_s in zip(hearing.pulse.times_s, lengths_s, strict=True)
    )


def tempo_change(hearing: Listened) -> Measure | NotMeasured | None:
    """The largest change of beat length from one heard beat to the next; None without a pulse.

    A beat's length is heard where it begins and ends with an onset; a change behind a short rest
    is spread over the beats of the rest, and behind a long one it is not heard at all.
    """
    lengths_s, pulse, plan = hearing.beat_lengths_s, hearing.pulse, hearing.plan
    heard, entry = np.flatnonzero(_is_length_heard(pulse.is_heard)), round(plan.entry_beat)
    steps = [
        (
            _step_jnd(lengths_s[a], lengths_s[b], plan, across=bool(a < entry <= b)) / (b - a),
            float(pulse.beats[b]),
        )
        for a, b in pairwise(heard.tolist())
    ]
    if len(steps) < _LEAST_STEPS:
        return None
    unheard = [
        (_step_jnd(lengths_s[a], lengths_s[b], plan, across=bool(a < entry <= b)), a, b)
        for a, b in pairwise(heard.tolist())
        if b - a > _LONG_REST_BEATS
    ]
    largest, beat = max(steps)
    hidden, a, b = max(unheard, default=(0.0, 0, 0))
    if hidden > GENTLE_JND and largest <= GENTLE_JND:
        bpm = f"{60 / lengths_s[a]:.0f} to {60 / lengths_s[b]:.0f} BPM"
        why = f"nobody plays the beat while the tempo changes ({bpm})"
        return NotMeasured(name="tempo_change", label="tempo change", why=why)
    percent = 100.0 * ((1.0 + TEMPO_JND_RATIO) ** largest - 1.0)
    return Measure(
        name="tempo_change",
        label="tempo change",
        value=largest,
        unit="JND",
        score=falling(largest, good=GENTLE_JND, bad=JOLT_JND),
        threshold=f"1 JND (1.5 %) is just heard; {JOLT_JND:g} is a jolt",
        source="Drake & Botte 1993 (just-noticeable difference); jolt set by judgement",
        sentence=(
            f"The tempo jumps by {percent:.0f} % from one beat to the next."
            if largest > GENTLE_JND
            else f"No jump of tempo (at most {percent:.0f} % from one beat to the next)."
        ),
        worst_beat=beat,
    )


def steady_beats(hearing: Listened) -> Measure | NotMeasured | None:
    """How well the last two beats before the entry give the new tempo; None without one."""
    plan, lengths_s = hearing.plan, hearing.beat_lengths_s
    entry = round(plan.entry_beat)
    if entry < 2 or not hearing.pulse.is_heard[entry:].any():  # noqa: PLR2004 - the two beats before
        return None
    target_s = float(np.median(lengths_s[entry : entry + 4]))
    steps = [_step_jnd(x, target_s, plan, across=True) for x in lengths_s[entry - 2 : entry]]
    off = max(steps)
    if not hearing.pulse.is_heard[entry - 2 : entry].any():
        return NotMeasured(name="steady_beats", label=_STEADY, why="nobody plays the beat here")
    percent = 100.0 * ((1.0 + TEMPO_JND_RATIO) ** off - 1.0)
    return Measure(
        name="steady_beats",
        label=_STEADY,
        value=off,
        unit="JND",
        score=falling(off, good=1.5, bad=8.0),
        threshold="the last two beats within 1 JND (1.5 %) of the new tempo",
        source="Drake & Botte 1993; listeners expect half of the next step of a ramp",
        sentence=(
            f"The last two beats are still {percent:.0f} % off the new tempo."
            if percent >= _OFF_PERCENT
            else "The last two beats are in the new tempo."
        ),
        worst_beat=plan.entry_beat - 1.0,
    )  # fmt: skip


_OFF_PERCENT: Final = 1.5  # less is not heard [DB93]_
_STEADY: Final = "steady beats before bar one"


def _step_jnd(one_s: float, other_s: float, plan: Plan, *, across: bool) -> float:
    """Ratio of two beat lengths in JND; across the entry, half or double time is no change."""
    ratios = [other_s / one_s]
    if across:
        ratios += [ratios[0] * plan.tempo_octave, ratios[0] / plan.tempo_octave]
    return float(min(abs(np.log(r)) for r in ratios) / np.log1p(TEMPO_JND_RATIO))


def _is_length_heard(is_heard: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Beats that begin and end with an onset, where a single missing onset is no loss."""
    bridged = is_heard.copy()
    bridged[1:-1] |= is_heard[:-2] & is_heard[2:]
    return np.append(bridged[:-1] & bridged[1:], False)
