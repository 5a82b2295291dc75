"""How long the music goes without a pulse."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.score.scale import falling
from segue.score.scorecard import Measure

if TYPE_CHECKING:
    from segue.score.hearing import Hearing

FINE_BEATS: Final = 4.0
LOST_BEATS: Final = 20.0


def pulse(hearing: Hearing) -> Measure:
    """The longest stretch of beats without an onset, in beats of the plan."""
    heard = hearing.pulse
    marks = np.concatenate([[-1.0], heard.beats[heard.is_heard], [float(len(heard.beats))]])
    gaps = np.diff(marks) - 1.0
    worst = int(np.argmax(gaps))
    beats, start = float(gaps[worst]), float(marks[worst]) + 1.0
    plan = hearing.plan
    seconds = plan.seconds_at(start + beats) - plan.seconds_at(start)
    sentence = (
        f"The longest stretch without a pulse is {beats:.0f} beats ({seconds:.1f} s)."
        if beats
        else "The pulse never stops."
    )
    return Measure(
        name="pulse",
        label="pulse",
        value=beats,
        unit="beats",
        score=falling(beats, good=FINE_BEATS, bad=LOST_BEATS),
        threshold=f"up to a bar ({FINE_BEATS:g} beats) is a breath; {LOST_BEATS:g} beats lose it",
        source="common practice, no source",
        sentence=sentence,
        worst_beat=start + beats / 2.0,
    )
