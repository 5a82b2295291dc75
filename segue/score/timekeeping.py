"""Timekeeping as heard: changes of tempo, and whether the new song enters on the beat and the bar.

References
----------
.. [DB93] C. Drake and M.-C. Botte, "Tempo sensitivity in auditory sequences:
   Evidence for a multiple-look model", Perception & Psychophysics 54(3),
   1993, 277-286.
.. [R79] R. A. Rasch, "Synchronization in performed ensemble music", Acustica
   43, 1979, 121-131.
.. [FS95] A. Friberg and J. Sundberg, "Time discrimination in a monotonic,
   isochronous sequence", Journal of the Acoustical Society of America 98(5),
   1995, 2524-2531.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.onsets import HOP_S
from segue.plan.layer import DrumLayer
from segue.score.listening_to import NO_BEAT
from segue.score.scorecard import CurveSample, Measure, NotMeasured, falling, measured, not_measured
from segue.score.tones import interval_vector

if TYPE_CHECKING:
    from segue.arrays import Flags, Floats
    from segue.plan.plan import Plan
    from segue.score.listening_to import Listened


TEMPO_JND_RATIO: Final = 0.015
"""Smallest change of beat length heard, as a ratio: the best case, beats of 0.3-0.8 s [DB93]_."""
GENTLE_JND: Final = 1.5  # largest step that is no fault, in just-noticeable differences
JOLT_JND: Final = 10.0
"""A change of 16 % into one beat. Set by judgement."""
_LONG_REST_BEATS: Final = 8  # behind so many beats without one a tempo is new; by judgement
_LEAST_STEPS: Final = 4  # fewer heard steps from beat to beat tell nothing; by judgement
_OFF_PERCENT: Final = 1.5  # less is not heard [DB93]_
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
        return not_measured("tempo_change", why=why)
    percent = 100.0 * ((1.0 + TEMPO_JND_RATIO) ** largest - 1.0)
    return measured(
        "tempo_change",
        value=largest,
        score=falling(largest, good=GENTLE_JND, bad=JOLT_JND),
        threshold=f"1 JND (1.5 %) is just heard; {JOLT_JND:g} is a jolt",
        sentence=(
            f"The tempo jumps by {percent:.0f} % from one beat to the next."
            if largest > GENTLE_JND
            else f"No jump of tempo (at most {max(percent, 1.0):.0f} % from one beat to the next)."
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
    last_bar_s = plan.seconds_at(max(plan.entry_beat - hearing.metre, 0.0)), hearing.entry_s
    if not hearing.pulse.is_heard[entry - 2 : entry].any() or hearing.hits(*last_bar_s) < NO_BEAT:
        return not_measured("steady_beats", why="nobody plays the last two beats")
    percent = 100.0 * ((1.0 + TEMPO_JND_RATIO) ** off - 1.0)
    return measured("steady_beats", value=off,
        score=falling(off, good=1.5, bad=8.0),
        threshold="the last two beats within 1 JND (1.5 %) of the new tempo",
        sentence=(
            f"The last two beats are still {percent:.0f} % off the new tempo."
            if percent >= _OFF_PERCENT
            else "The last two beats are in the new tempo."
        ),
        worst_beat=plan.entry_beat - 1.0)  # fmt: skip


def _step_jnd(one_s: float, other_s: float, plan: Plan, *, across: bool) -> float:
    """Ratio of two beat lengths in JND; across the entry, half or double time is no change."""
    ratios = [other_s / one_s]
    if across:
        ratios += [ratios[0] * plan.tempo_octave, ratios[0] / plan.tempo_octave]
    return float(min(abs(np.log(r)) for r in ratios) / np.log1p(TEMPO_JND_RATIO))


def _is_length_heard(is_heard: Flags) -> Flags:
    """Beats that begin and end with an onset, where a single missing onset is no loss."""
    bridged = is_heard.copy()
    bridged[1:-1] |= is_heard[:-2] & is_heard[2:]
    return np.append(bridged[:-1] & bridged[1:], False)


def entry_timing(hearing: Listened) -> Measure | NotMeasured | None:
    """How late the new song's beats fall, against the pulse before or else the plan.

    None where the new song has no pulse that is sure; no mark where it has and none is heard. Of
    beats that scatter only so much is told as is sure beyond their standard error.
    """
    plan, pulse = hearing.plan, hearing.pulse
    entry = plan.entry_beat
    old_s = None
    if _old_song_leads_in(hearing):
        old_s = pulse.late_at(hearing.entry_s, entry - _LOOK_BEATS, entry)
    new_s = pulse.late_at(hearing.entry_s, entry, entry + _LOOK_BEATS)
    if new_s is None and pulse.row_late_s is not None:
        new_s = pulse.row_late_s, HOP_S / 2
    if new_s is None and hearing.facts[1].pulse.confidence < SURE_PULSE_CONFIDENCE:
        return None
    if new_s is None:
        why = "hardly a beat is heard from bar one on"
        return not_measured("entry_timing", why=why)
    before_s, before_error_s = old_s or (0.0, 0.0)
    found_ms = 1000.0 * (new_s[0] - before_s)
    error_ms = 1000.0 * math.hypot(new_s[1], before_error_s)
    value_ms = math.copysign(max(abs(found_ms) - error_ms, 0.0), found_ms)
    side = "late" if value_ms > 0 else "early"
    against = "the plan (no pulse is heard before)" if old_s is None else "the pulse before it"
    on_time = "On time" if abs(value_ms) <= TIGHT_MS else "A little off"
    if abs(value_ms) > _HEARD_MS:
        on_time = "Off the beat"
    return measured(
        "entry_timing",
        value=value_ms,
        score=falling(abs(value_ms), good=TIGHT_MS, bad=LOOSE_MS),
        threshold="under 12 ms is tight; 50 ms is more than a band's scatter",
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
    if not hearing.facts[1].pulse.is_known:
        return None  # its bars are a ruler that nobody plays to
    accents = _accents(hearing, start, n_bars * metre).reshape(n_bars, metre)
    # the first bar line is the join itself and would speak for the plan whatever enters
    by_beat = np.mean(np.minimum(accents[1:], _MOST_ACCENT), axis=0)
    strongest = int(np.argmax(by_beat))
    lead = float(by_beat[1:].max(initial=0.0) - by_beat[0]) / max(float(np.ptp(by_beat)), 1e-9)
    is_on = strongest == 0
    return measured(
        "bar_line",
        value=float(strongest),
        score=falling(lead, good=-0.2, bad=0.7),
        threshold="the strongest beat of the bar is where the plan has beat one",
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
