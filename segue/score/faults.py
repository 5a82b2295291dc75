"""Bad faults: what cannot be first, however well the rest is done."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from segue.score.belonging import TUNE_FAULT_CENTS
from segue.score.entry import LOOSE_MS
from segue.score.holes import HOLE_FAULT_S
from segue.score.leaving import CUT_SHARE
from segue.score.scorecard import BadFault

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from segue.score.scorecard import Measure

VOICES_FAULT_S: Final = 1.0
"""Two voices together for longer are heard as a mistake. Set by judgement."""

_LIMITS: Final[dict[str, tuple[Callable[[float], bool], str]]] = {
    "hole": (lambda v: v > HOLE_FAULT_S, "a hole of {:.1f} s"),
    "last_chord": (lambda v: v < CUT_SHARE, "the last chord is cut"),
    "tuning": (lambda v: v > TUNE_FAULT_CENTS, "{:.0f} cents out of tune"),
    "entry_timing": (lambda v: abs(v) > LOOSE_MS, "bar one is off the grid by {:.0f} ms"),
    "voices": (lambda v: v > VOICES_FAULT_S, "two singers together for {:.1f} s"),
}


def bad_faults(measures: Iterable[Measure]) -> tuple[BadFault, ...]:
    """The bad faults among what was measured, in the order of the measures."""
    found = []
    for measure in measures:
        is_bad, words = _LIMITS.get(measure.name, (None, ""))
        if is_bad is not None and is_bad(measure.value):
            sentence = words.format(abs(measure.value))
            found.append(BadFault(name=measure.name, sentence=sentence))
    return tuple(found)
