"""Whether the new song enters on the beat and on the bar.

References
----------
.. [R79] R. A. Rasch, "Synchronization in performed ensemble music", Acustica
   43, 1979, 121-131.
.. [FS95] A. Friberg and J. Sundberg, "Time discrimination in a monotonic,
   isochronous sequence", Journal of the Acoustical Society of America 98(5),
   1995, 2524-2531.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.plan.layer import DrumLayer
from segue.score.scorecard import Measure, NotMeasured, falling
from segue.score.tones import interval_vector

if TYPE_CHECKING:
    from segue.score.listening_to import Listened

Floats = npt.NDArray[np.float64]

TIGHT_MS: Final = 12.0  # late or early by this is as good as together; by judgement
_HEARD_MS: Final = 30.0  # what is late by more is heard to be; by judgement
LOOSE_MS: Final = 50.0
"""Beyond what ensembles do: their parts scatter by 27 to 49 ms [R79]_."""
SURE_PULSE_CONFIDENCE: Final = 0.5
"""Below it, beats that are not heard may be missing in the song and not in the render."""
_LOOK_BEATS: Final = 8.0  # beats on each side from which the pulse is told; by judgement
_FEW: Final = 2  # bars of the new song from which on its bar lines can be compared
_MOST_OF_IT: Final = 0.5  # share of the time before in which the old song must sound; by judgement
_MOST_ACCENT: Final = 4.0
"""No single bar outweighs the others: accents count up to four times the usual."""


def entry_timing(hearing: Listened) -> Measure | NotMeasured | None:
    """How late the new song's beats fall, against the pulse before or else the plan.

    None where the new song has no pulse that is sure; no mark where it has and none is heard.
    """
    plan, pulse = hearing.plan, hearing.pulse
    entry = plan.entry_beat
    old_s = None
    if _old_song_leads_in(hearing):
        old_s = pulse.late_at(hearing.entry_s, entry - _LOOK_BEATS, entry)
    new_s = pulse.late_at(hearing.entry_s, entry, entry + _LOOK_BEATS)
    if new_s is None and hearing.incoming_pulse.confidence < SURE_PULSE_CONFIDENCE:
        return None
    if new_s is None:
        why = "no beat is heard from bar one on"
        return NotMeasured(name="entry_timing", label="enters on the beat", why=why)
    value_ms = 1000.0 * (new_s - (old_s or 0.0))
    side = "late" if value_ms > 0 else "early"
    against = "the plan (no pulse is heard before)" if old_s is None else "the pulse before it"
    on_time = "On time" if abs(value_ms) <= TIGHT_MS else "A little off"
    if abs(value_ms) > _HEARD_MS:
        on_time = "Off the beat"
    return Measure(
        name="entry_timing",
        label="enters on the beat",
        value=value_ms,
        unit="ms",
        score=falling(abs(value_ms), good=TIGHT_MS, bad=LOOSE_MS),
        threshold="under 12 ms is tight; 50 ms is more than a band's scatter",
        source="Friberg & Sundberg 1995 (one beat in a row: 2.5 %), Rasch 1979 (27-49 ms)",
        sentence=f"{on_time}: {abs(value_ms):.0f} ms {side} against {against}."
        if abs(value_ms) >= 1.0
        else f"{on_time}, against {against}.",
        worst_beat=plan.entry_beat,
    )


def _old_song_leads_in(hearing: Listened) -> bool:
    """Whether drums or the old song play up to the entry: swelling pads are no pulse to keep to."""
    plan = hearing.plan
    near = (plan.entry_beat - _LOOK_BEATS / 2, plan.entry_beat)
    drums = [layer for layer in plan.layers if isinstance(layer, DrumLayer)]
    if any(near[0] <= hit.beat < near[1] for layer in drums for hit in layer.hits):
        return True
    times_s = hearing.sides["outgoing"].times_s
    start_s = hearing.plan.seconds_at(max(hearing.plan.entry_beat - _LOOK_BEATS, 0.0))
    inside = (times_s >= start_s) & (times_s < hearing.entry_s)
    return bool(inside.any() and hearing.sounding("outgoing")[inside].mean() > _MOST_OF_IT)


def bar_line(hearing: Listened) -> Measure | None:
    """Whether bars are heard where the plan has them after the entry; None where unclear."""
    plan = hearing.plan
    metre = hearing.metre
    start = round(plan.entry_beat)
    n_bars = int((plan.end_beat - start) // metre)
    if n_bars < _FEW or not hearing.pulse.is_heard[start:].any():
        return None
    accents = _accents(hearing, start, n_bars * metre).reshape(n_bars, metre)
    # the first bar line is the join itself and would speak for the plan whatever enters
    by_beat = np.mean(np.minimum(accents[1:], _MOST_ACCENT), axis=0)
    strongest = int(np.argmax(by_beat))
    lead = float(by_beat[1:].max(initial=0.0) - by_beat[0]) / max(float(np.ptp(by_beat)), 1e-9)
    is_on = strongest == 0
    return Measure(
        name="bar_line",
        label="enters on the bar",
        value=float(strongest),
        unit="beats",
        score=falling(lead, good=-0.2, bad=0.7),
        threshold="the strongest beat of the bar is where the plan has beat one",
        source="common practice, no source",
        sentence=(
            "From bar one on the accent falls on beat 1."
            if is_on
            else f"From bar one on the accent falls on beat {strongest + 1}, not on 1 as planned."
        ),
        worst_beat=plan.entry_beat,
    )


def _accents(hearing: Listened, start: int, n_beats: int) -> Floats:
    """Accent of beats after the entry: change of harmony, and onset in the lowest band."""
    plan, tones = hearing.plan, hearing.tones
    times_s = [plan.seconds_at(float(b)) for b in range(start - 1, start + n_beats + 2)]
    places = interval_vector(np.array([tones.mean_chroma(a, b) for a, b in pairwise(times_s)]))
    change = np.linalg.norm(np.diff(places, axis=0), axis=1)[:n_beats]
    low = hearing.pulse.low_accent[start : start + n_beats]
    low = np.pad(low, (0, n_beats - len(low)))
    return _evened(change) + 0.5 * _evened(low)


def _evened(values: Floats) -> Floats:
    return values / max(float(values.mean()), 1e-9)
