"""Whether the old song is left, and the new one entered, where musicians would.

Phrase starts are what was heard of the songs, and only told where they are sure; whether a last
chord is kept is told from the sound of the old song's side.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
import numpy.typing as npt

from segue.errors import OptionError
from segue.music.tempo import percent
from segue.plan.layer import Side, SongLayer
from segue.plan.places_asked import end_as_asked, places_asked, start_as_asked
from segue.score.scorecard import Measure, NotMeasured, measured, not_measured, rising

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts
    from segue.plan.plan import Plan
    from segue.score.listening_to import Listened

Floats = npt.NDArray[np.float64]

_ON_BARS: Final = 0.15  # so near to a phrase start, in bars, is on it
_HALF_BARS: Final = 2  # off by half a phrase
_PHRASE_MARKS: Final = (1.0, 0.55, 0.25, 0.1)
"""Marks for a phrase start, for half a phrase off, for an odd bar, and for the middle of a bar."""
_COUNTED_MARKS: Final = (1.0, 0.7, 0.45, 0.15)
"""The same where phrases are only counted from the song's own edge, which is right for two songs
in three (on 197 analysed rock songs)."""
_HOP_S: Final = 0.02  # of the level of the old side
_RUNG_DB: Final = 20.0
"""A chord that has fallen so far has rung out."""
_REST_S: Final = 0.24  # so long below that, it is over, whatever comes later
_ABRUPT_S: Final = 0.08  # a fall of 15 dB within this time is a cut; no room or string does that
_CUT_DB: Final = 15.0  # of that fall
_KEPT, _LOST = 0.8, 0.2
"""Shares of its own ring that a last chord keeps: enough, and as good as none. By judgement."""
CUT_SHARE: Final = 0.5
"""A last chord that is cut before this share of its ring is a bad fault. Set by judgement."""


def source_s(plan: Plan, side: Side, beat: float) -> float | None:
    """Second of a song's file that sounds at a beat of the plan; None where it does not sound."""
    time_s = plan.seconds_at(beat)
    for layer in _layers(plan, side):
        if not layer.start_beat - 1e-6 <= beat <= layer.end_beat + 1e-6:
            continue
        points = [(plan.seconds_at(p.beat), p.source_s) for p in layer.time_map]
        for (a_s, a), (b_s, b) in pairwise(points):
            if a_s - 1e-6 <= time_s <= b_s + 1e-6:
                return a + (time_s - a_s) / (b_s - a_s) * (b - a)
    return None


def _layers(plan: Plan, side: Side) -> list[SongLayer]:
    """What plays a song as it is: the old one from its start, the new one to its end."""
    edge = plan.exit_beat if side == "outgoing" else plan.entry_beat
    found = [x for x in plan.layers if isinstance(x, SongLayer) and x.song == side]
    if side == "outgoing":
        return [x for x in found if x.start_beat < edge - _OVER_THE_LINE]
    return [x for x in found if x.end_beat > edge + _OVER_THE_LINE]


_OVER_THE_LINE: Final = 0.25
"""Beats by which a song goes on over the line of its join; the seams of loops reach over it by
less."""


def phrase(hearing: Listened) -> Measure | NotMeasured | None:
    """Whether the songs are left and entered on phrase starts; None without a pulse in either."""
    marks = [m for m in placed_on_phrases(hearing.plan, hearing.facts) if m is not None]
    if not any(facts.pulse.is_known for facts in hearing.facts):
        return None
    if not marks:
        why = "where phrases start is not sure in these songs"
        return not_measured("phrase", why=why)
    worst = min(marks, key=lambda m: m.mark)
    return measured(
        "phrase",
        value=worst.bars_off,
        score=(sum(m.mark for m in marks) / len(marks) + worst.mark) / 2,
        threshold="on a phrase start of four bars",
        sentence=" ".join(m.sentence for m in marks),
        worst_beat=worst.beat,
    )


class OnPhrase(NamedTuple):
    """How a song is left or entered: its mark, bars after the nearest phrase start, and where.

    `phrase_s` is that phrase start, in seconds of the song's file.
    """

    mark: float
    bars_off: float
    beat: float
    phrase_s: float
    sentence: str


def placed_on_phrases(
    plan: Plan, facts: tuple[EdgeFacts, EdgeFacts]
) -> tuple[OnPhrase | None, OnPhrase | None]:
    """Where the old song is left and where the new one is entered; None where it is not known."""
    return _leaves(plan, facts[0]), _enters(plan, facts[1])


def _leaves(plan: Plan, facts: EdgeFacts) -> OnPhrase | None:
    at_s = source_s(plan, "outgoing", plan.exit_beat)
    ending = facts.ending
    if at_s is None or ending is None:
        return None
    last_s = ending.last_chord_s if ending.last_chord_s is not None else ending.last_hit_s
    if ending.kind in ("cold stop", "ring-out") and at_s >= last_s - 0.1:
        return OnPhrase(1.0, 0.0, plan.exit_beat, at_s, "The old song is played to its end.")
    return _on_phrase(facts, at_s, plan.exit_beat, "The old song is left")


def _enters(plan: Plan, facts: EdgeFacts) -> OnPhrase | None:
    at_s = source_s(plan, "incoming", plan.entry_beat)
    opening = facts.opening
    if at_s is None or opening is None:
        return None
    bar_s = facts.pulse.beat_s * facts.pulse.metre
    if abs(at_s - opening.first_downbeat_s) < _ON_BARS * bar_s:
        return OnPhrase(1.0, 0.0, plan.entry_beat, at_s, "The new song starts at its bar one.")
    up_s = opening.faded_in_s
    if up_s is not None and abs(at_s - up_s) < bar_s:
        told = "The new song is entered where it has come up."
        return OnPhrase(1.0, 0.0, plan.entry_beat, at_s, told)
    return _on_phrase(facts, at_s, plan.entry_beat, "The new song is entered")


def _on_phrase(facts: EdgeFacts, at_s: float, beat: float, words: str) -> OnPhrase | None:
    starts_s = _phrase_starts_s(facts)
    if starts_s is None:
        return None
    off = bars_off(facts, at_s, starts_s)
    whole = abs(off - round(off)) < _ON_BARS
    if abs(off) < _ON_BARS:
        return OnPhrase(_PHRASE_MARKS[0], 0.0, beat, at_s, f"{words} at the start of a phrase.")
    n = abs(round(off))
    marks = _PHRASE_MARKS if facts.phrases.is_sure else _COUNTED_MARKS
    mark = marks[2 if n != _HALF_BARS else 1] if whole else marks[3]
    place = f"{n} bar{'s' if n > 1 else ''} {'after' if off > 0 else 'before'}"
    phrase_s = at_s - off * facts.pulse.beat_s * facts.pulse.metre
    told = f"{words} {place if whole else 'in a bar, away from'} a phrase start."
    return OnPhrase(mark, off, beat, phrase_s, told)


def bars_off(facts: EdgeFacts, at_s: float, starts_s: tuple[float, ...]) -> float:
    """Bars from the nearest phrase start of a song, positive after it."""
    group_s = facts.phrases.n_bars * facts.pulse.beat_s * facts.pulse.metre
    since = np.asarray(starts_s) - at_s
    nearest = float(since[np.argmin(np.abs(since))])
    # beyond the first and the last that are known, groups go on
    nearest = nearest - round(nearest / group_s) * group_s if len(starts_s) == 1 else nearest
    bar_s = facts.pulse.beat_s * facts.pulse.metre
    off = -nearest / bar_s
    n = facts.phrases.n_bars
    return float((off + n / 2) % n - n / 2) if abs(off) > n / 2 else float(off)


def _phrase_starts_s(facts: EdgeFacts) -> tuple[float, ...] | None:
    """Phrase starts where they are sure, else one to count from; None without a pulse."""
    if not facts.pulse.is_known:
        return None
    if facts.phrases.is_sure:
        return facts.phrases.starts_s
    if facts.opening is not None:
        return (facts.opening.first_downbeat_s,)
    line_s = None if facts.ending is None else facts.ending.last_bar_line_s
    if line_s is None:
        return None
    # the last bar line begins the last bar of its group, or is the last chord's own
    bar_s = facts.pulse.beat_s * facts.pulse.metre
    ends = facts.ending is not None and facts.ending.kind in ("cold stop", "ring-out")
    return (line_s if ends else line_s + bar_s,)


_MOST_BARS_OFF: Final = 32  # from the edge of a song, to look for a phrase start in
_NO_START: Final = "No phrase starts on a bar of what was read: take another place."


def bar_to_leave_on(plan: Plan, facts: EdgeFacts, phrase_s: float) -> str:
    """The bar of the old song on which a phrase starts, or the phrase before: 'bar -4'.

    A song that plays on into the bridge is left no later: what plays on is what it has left.

    Raises
    ------
    OptionError
        If none is in what was read.
    """
    plays_on = any(
        isinstance(x, SongLayer) and x.song == "outgoing" and x.end_beat > plan.exit_beat + 1.0
        for x in plan.layers
    )
    at_s = source_s(plan, "outgoing", plan.exit_beat)
    latest_s = at_s if plays_on and at_s is not None else facts.edge_end_s
    group_s = facts.phrases.n_bars * facts.pulse.beat_s * facts.pulse.metre
    for number in range(-1, -_MOST_BARS_OFF - 1, -1):
        end = end_as_asked(facts, places_asked(leave=f"bar {number}"))
        line_s = end.grid.seconds_at(end.leaving_index)
        off_s = min(abs(line_s - phrase_s), abs(line_s - phrase_s + group_s))
        if off_s < facts.pulse.beat_s and line_s < latest_s + facts.pulse.beat_s:
            return f"bar {number}"
    raise OptionError(_NO_START)


def bar_to_enter_on(facts: EdgeFacts, phrase_s: float) -> str:
    """The bar of the new song on which a phrase starts: 'bar 5'.

    Raises
    ------
    OptionError
        If none is in what was read.
    """
    for number in range(1, _MOST_BARS_OFF + 1):
        start = start_as_asked(facts, places_asked(enter=f"bar {number}"))
        line_s = start.grid.seconds_at(start.entry_index)
        if abs(line_s - phrase_s) < facts.pulse.beat_s:
            return f"bar {number}"
    raise OptionError(_NO_START)


def last_chord(hearing: Listened) -> Measure | None:
    """Share of its own ring that the last chord keeps; None for a song without a last chord."""
    ending, plan = hearing.facts[0].ending, hearing.plan
    if ending is None or ending.kind not in ("cold stop", "ring-out"):
        return None
    if ending.last_chord_s is None:
        return None
    begins = _beat_of_source(plan, ending.last_chord_s)
    left_s = source_s(plan, "outgoing", plan.exit_beat)
    rings_s = max((ending.rung_out_s or ending.sound_end_s) - ending.last_chord_s, 0.2)
    if begins is None and left_s is not None and left_s > ending.last_chord_s:
        share = min((left_s - ending.last_chord_s) / rings_s, 1.0)  # struck before the segue begins
        sentence = f"The last chord has been ringing for {left_s - ending.last_chord_s:.0f} s."
        return _chord_measure(
            share, max(rising(share, bad=_LOST, good=_KEPT), 0.7), sentence, plan.exit_beat
        )
    if begins is None:
        early_s = ending.last_chord_s - left_s if left_s is not None else 0.0
        return _chord_measure(
            0.5, 0.5, f"The old song is left {early_s:.0f} s before its last chord.", plan.exit_beat
        )
    start_s = plan.seconds_at(begins)
    kept_s, is_abrupt = _ring_kept(hearing, start_s, rings_s)
    share = min(kept_s / rings_s, 1.0)
    score = rising(share, bad=_LOST, good=_KEPT)
    if not is_abrupt:
        score = max(score, 0.7)  # let down gently it is still an ending
    sentence = "The last chord rings out."
    if share < _KEPT:
        how = "cut" if is_abrupt else "faded"
        sentence = f"The last chord is {how} after {kept_s:.1f} of {rings_s:.1f} s."
    value = share if is_abrupt else max(share, _KEPT)
    return _chord_measure(value, score, sentence, plan.beat_at(start_s + kept_s))


def _chord_measure(share: float, score: float, sentence: str, beat: float) -> Measure:
    return measured(
        "last_chord",
        value=share,
        score=score,
        threshold=f"it keeps {percent(_KEPT)} of its own ring, or is let down gently",
        sentence=sentence,
        worst_beat=beat,
    )


def _beat_of_source(plan: Plan, at_s: float) -> float | None:
    """Beat at which a second of the old song sounds first; None where it never does."""
    for layer in _layers(plan, "outgoing"):
        points = [(plan.seconds_at(p.beat), p.source_s) for p in layer.time_map]
        end_s = plan.seconds_at(layer.end_beat)
        for (a_s, a), (b_s, b) in pairwise(points):
            time_s = a_s + (at_s - a) / (b - a) * (b_s - a_s)
            if a <= at_s <= b and time_s < end_s - 0.05:
                return plan.beat_at(time_s)
    return None


def _ring_kept(hearing: Listened, start_s: float, rings_s: float) -> tuple[float, bool]:
    """How long a chord sounds until it has fallen 20 dB, and whether it is cut there."""
    side = hearing.candidate.outgoing
    hop = round(_HOP_S * side.rate_hz)
    first = round(start_s * side.rate_hz)
    part = side.samples[first : first + round((rings_s + 2.0) * side.rate_hz)]
    n_hops = len(part) // hop
    if n_hops < 3:  # noqa: PLR2004 - nothing to tell a fall from
        return 0.0, True
    power = np.square(part[: n_hops * hop], dtype=np.float64).reshape(n_hops, -1).mean(axis=1)
    level_db = 10.0 * np.log10(power + 1e-12)
    peak_db = float(level_db[: max(round(0.5 / _HOP_S), 3)].max())
    is_up = level_db > peak_db - _RUNG_DB
    rest = round(_REST_S / _HOP_S)
    gaps = np.flatnonzero(np.convolve(~is_up, np.ones(rest), mode="valid") >= rest)
    last = max(int(gaps[0]) - 1, 0) if len(gaps) else n_hops - 1
    reach = round(_ABRUPT_S / _HOP_S)
    before_db = float(level_db[max(last - 1, 0)])
    after_db = float(level_db[min(last + reach, n_hops - 1)])
    return (last + 1) * _HOP_S, before_db - after_db > _CUT_DB
