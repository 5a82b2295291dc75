"""The groove: a beat in the bridge, a fill into bar one, two grooves at once.

Whether a beat plays is told by its onsets on the sound, against those of the songs next to it;
where the plan wants a beat and nobody plays one, there is nothing to be steady.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.facts import have_pulses
from segue.audio.clip import VOICES, Clip
from segue.music.tempo import percent
from segue.plan.layer import SongLayer
from segue.score.bridge import LEAST_BRIDGE_S, STATIC_PULSE, room_curves
from segue.score.listening_to import LEAST_HITS_DB, NO_BEAT
from segue.score.scorecard import Measure, NotMeasured, falling, measured, not_measured, rising

if TYPE_CHECKING:
    from segue.arrays import Flags, Floats
    from segue.plan.plan import Section
    from segue.score.listening_to import Listened


NOBODY: Final = "nobody plays the beat here"
_FAINT: Final = 0.6  # from this share of the beats on, something soft marks them; by judgement
_STEADY_MS, _LOOSE_MS = 20.0, 70.0
"""Median distance of the beats heard from an even row: a tight band, and none. By judgement."""
_BALANCE_DB: Final = 12.0  # a groove this far below the other is masked; by judgement
_LEAST_TOGETHER_S: Final = 1.0  # two grooves must sound together so long to clash; by judgement
_LEAST_HITS: Final = 4  # on each side; fewer make no groove
_FLAM_S: Final = (0.03, 0.11)
"""Two hits this far apart are heard as two that were meant as one. Set by judgement: parts of an
ensemble scatter by up to 0.05 s (R. A. Rasch, Acustica 43, 1979)."""
_SCATTER_S: Final = 0.05  # parts of an ensemble scatter by so much (Rasch)
_EVEN_S: Final = 0.02  # spread of the middle half of what is late by the same; by judgement
_ONSET_SHARE: Final = 0.5  # of the strong onsets of a side: softer ones are no hits; by judgement


def plays_a_beat(hearing: Listened) -> bool:
    """Whether a beat is heard in the bridge: hits that stand out of what is between them."""
    return hearing.hits(hearing.exit_s + 0.5, hearing.entry_s - 0.2) >= NO_BEAT


def pulse(hearing: Listened) -> Measure | NotMeasured | None:
    """Whether a beat is heard all through the bridge, and even; None where no song has one."""
    bridge = hearing.bridge
    if not any(have_pulses(facts) for facts in hearing.facts):
        return None
    if bridge.length_s < LEAST_BRIDGE_S:
        return not_measured("pulse", why="the bridge is too short for a beat")
    if hearing.aim in ("talk", "calm") and not plays_a_beat(hearing):
        return not_measured("pulse", why=NOBODY)
    if hearing.songs_hits_db < LEAST_HITS_DB / 2 and bridge.is_static:
        return not_measured("pulse", why="the songs have hardly a hit here")
    heard, spread_ms = _beats_heard(hearing)
    thin = _thinnest(hearing)
    score = 0.7 * rising(thin, bad=0.05, good=0.6) + 0.3 * rising(heard, bad=0.1, good=0.75)
    score *= 0.4 + 0.6 * falling(spread_ms, good=_STEADY_MS, bad=_LOOSE_MS)
    return measured(
        "pulse",
        value=thin,
        score=score,
        threshold="6 tenths of the songs' own onsets, on three beats in four, within 20 ms",
        sentence=_pulse_words(thin, heard, spread_ms, bridge.length_s),
        worst_beat=_thinnest_beat(hearing),
    )


def _pulse_words(thin: float, heard: float, spread_ms: float, length_s: float) -> str:
    if thin < NO_BEAT and heard > _FAINT:
        return f"The beat is faint against the songs', for {length_s:.0f} s."
    if thin < NO_BEAT:
        return f"Nobody plays a beat for {length_s:.0f} s."
    if thin < STATIC_PULSE:
        return "The beat drops out on the way."
    if spread_ms > _LOOSE_MS / 2:
        return f"The beat is uneven (by {spread_ms:.0f} ms)."
    if heard < _FAINT:
        on = f"only {percent(heard)}" if round(100 * heard) else "none"
        return f"A hit stands out on {on} of the beats."
    if spread_ms > _STEADY_MS:
        return f"The beat runs through, a little uneven (by {spread_ms:.0f} ms)."
    return "The beat runs through."


def _beats_heard(hearing: Listened) -> tuple[float, float]:
    """Share of the beats of the bridge on which something is heard, and their unevenness in ms."""
    heard, plan = hearing.pulse, hearing.plan
    inside = (heard.beats >= plan.exit_beat) & (heard.beats < plan.entry_beat)
    if not inside.any():
        return 0.0, 0.0
    on = inside & heard.is_heard
    late_s = heard.late_s[on]
    spread = float(np.median(np.abs(late_s - np.median(late_s)))) if len(late_s) > 1 else 0.0
    return float(heard.is_heard[inside].mean()), 1000.0 * spread


def _thinnest(hearing: Listened) -> float:
    """How far hits stand out in the quarter of the bridge that has least of it, against the songs.

    Hits stand out of what is between them; a hiss or a cloud rises and falls all the time.
    """
    exit_s, entry_s = hearing.exit_s, hearing.entry_s
    quarter = (entry_s - exit_s) / 4
    spans = [(exit_s + n * quarter, exit_s + (n + 1) * quarter) for n in range(4)]
    return min(hearing.hits(*span) for span in (*spans, (exit_s + 0.5, entry_s - 0.2)))


def _thinnest_beat(hearing: Listened) -> float:
    """Middle of the quarter of the bridge that has least of a beat."""
    exit_s, entry_s = hearing.exit_s, hearing.entry_s
    quarter = (entry_s - exit_s) / 4
    strengths = [
        hearing.room.onsets.strong(exit_s + n * quarter, exit_s + (n + 1) * quarter, 98.0)
        for n in range(4)
    ]
    return hearing.plan.beat_at(exit_s + (int(np.argmin(strengths)) + 0.5) * quarter)


def fill(hearing: Listened) -> Measure | NotMeasured | None:
    """Whether the last bar carries the beat into bar one; None where no beat is wanted."""
    plan = hearing.plan
    if hearing.aim in ("talk", "calm") or not any(have_pulses(facts) for facts in hearing.facts):
        return None
    n_bars = (plan.entry_beat - plan.exit_beat) / hearing.metre
    onsets, entry_s = hearing.room.onsets, hearing.entry_s
    line_s = plan.seconds_at(plan.entry_beat - hearing.metre)
    is_still = max(hearing.hits(hearing.exit_s, line_s), hearing.hits(line_s, entry_s)) < NO_BEAT
    if is_still or not plays_a_beat(hearing) or n_bars < 1.5:  # noqa: PLR2004 - one bar before
        why = "the bridge is too short for a fill" if n_bars < 1.5 else NOBODY  # noqa: PLR2004
        return not_measured("fill", why=why)
    whole = max(onsets.strong(hearing.exit_s, line_s, 98.0), 1e-9)
    last = onsets.strong(line_s, entry_s, 98.0) / whole
    least = 0.4 * whole
    before = onsets.onsets_a_s(hearing.exit_s, line_s, least) + 0.25
    denser = (onsets.onsets_a_s(line_s, entry_s, least) + 0.25) / before
    score = 0.7 * rising(last, bad=0.2, good=0.8) + 0.3 * rising(denser, bad=0.4, good=1.2)
    sentence = "The last bar carries the beat into bar one."
    if last < _LOST:
        sentence = "The beat is gone in the last bar before bar one."
    elif denser >= _FILL:
        sentence = "A fill leads into bar one."
    elif score < _THIN:
        sentence = "The beat thins out in the last bar before bar one."
    return measured(
        "fill",
        value=last,
        score=score,
        threshold="in the last bar the beat is as strong as before, and as dense or denser",
        sentence=sentence,
        worst_beat=plan.entry_beat - hearing.metre / 2,
    )


_THIN: Final = 0.75  # mark from which on the last bar carries the beat on
_LOST, _FILL = 0.5, 1.4
"""The beat of the last bar against the bars before: below this share it is gone; this much denser
is a fill. Set by judgement."""


def clash(hearing: Listened) -> Measure | None:
    """Near misses of two sides against those by chance; None where no song has a pulse."""
    worst: tuple[float, float] | None = None
    sides: tuple[tuple[Section, Section], ...] = (
        ("outgoing", "incoming"), ("outgoing", "interlude"), ("interlude", "incoming"),
    )  # fmt: skip
    for one, other in sides:
        found = _flams(hearing, one, other)
        if found is not None and (worst is None or found[0] > worst[0]):
            worst = found
    if not any(have_pulses(facts) for facts in hearing.facts):
        return None
    share, at_s = worst or (0.0, hearing.entry_s)
    met = "Two grooves play as one." if worst else "One groove at a time."
    return measured(
        "groove_clash",
        value=share,
        score=falling(share, good=_TOGETHER, bad=_APART),
        threshold="a quarter of the near misses of two unrelated grooves; 7 tenths are a clash",
        sentence=(
            met
            if share <= _TOGETHER
            else "Two grooves rub: many of their hits fall just beside each other."
            if share < _APART
            else "Two grooves do not meet: they play past each other like two bands."
        ),
        worst_beat=hearing.plan.beat_at(at_s) if worst else None,
    )


_TOGETHER, _APART = 0.25, 0.7
"""Near misses, less their standard error, against those of two grooves that have nothing to do with
each other. Set by judgement."""
_LEAST_BY_CHANCE: Final = 0.3  # share of near misses; where hits are rare one by chance is nothing
_SHIFTS_S: Final = np.arange(1, 28) * 0.037  # up to a beat of 60 BPM, on no grid of any tempo


def _flams(hearing: Listened, one: Section, other: Section) -> tuple[float, float] | None:
    """Near misses of the sparser side's hits against those by chance, and where.

    By chance are those of the same hits with one side moved in time.
    """
    times_s, both = hearing.sides[one].times_s, hearing.together(one, other, _BALANCE_DB)
    both &= ~(_is_voice_alone(hearing, one) | _is_voice_alone(hearing, other))
    if both.sum() < 2 or both.sum() * float(times_s[1]) < _LEAST_TOGETHER_S:  # noqa: PLR2004
        return None
    hops = np.flatnonzero(both)
    low_s, high_s = float(times_s[hops[0]]), float(times_s[hops[-1]])
    hits = [_hits_s(hearing, side, low_s, high_s) for side in (one, other)]
    hits = [times[_is_in(times, times_s, both)] for times in hits]
    sparse, dense = sorted(hits, key=len)
    if len(sparse) < _LEAST_HITS:
        return None
    beside = _is_beside(_off_nearest(sparse, dense))
    length_s = high_s - low_s
    by_chance = [
        _is_beside(_off(sparse, low_s + (dense - low_s + shift_s) % length_s)).mean()
        for shift_s in _SHIFTS_S
    ]
    share = float(beside.mean())
    sure = max(share - math.sqrt(share * (1.0 - share) / len(sparse)), 0.0)  # less its error
    at_s = float(sparse[beside][0]) if beside.any() else low_s
    return sure / max(float(np.mean(by_chance)), _LEAST_BY_CHANCE), at_s


def _is_beside(off_s: Floats) -> Flags:
    """Whether hits so far apart are heard as two that were meant as one."""
    return np.asarray((np.abs(off_s) > _FLAM_S[0]) & (np.abs(off_s) < _FLAM_S[1]))


def _off(hits_s: Floats, other_s: Floats) -> Floats:
    """How far the nearest other hit is from each hit."""
    return np.asarray(other_s[np.abs(hits_s[:, np.newaxis] - other_s).argmin(axis=1)] - hits_s)


def _off_nearest(hits_s: Floats, other_s: Floats) -> Floats:
    """How far each hit is from the nearest other, less a lag that nearly all of them share.

    A soft attack, or a player who lays back, is late by the same each time: that is no clash.
    """
    off_s = _off(hits_s, other_s)
    scattered = off_s[np.abs(off_s) < _SCATTER_S]
    if 2 * len(scattered) <= len(off_s) or np.ptp(np.quantile(scattered, (0.25, 0.75))) > _EVEN_S:
        return off_s
    return np.asarray(off_s - float(np.median(scattered)))


def _is_voice_alone(hearing: Listened, side: Section) -> Flags:
    """Hops in which a singer is all that plays of a song: no groove, `voices` tells of it."""
    times_s = hearing.sides[side].times_s
    alone, more = np.zeros(len(times_s), dtype=np.bool_), np.zeros(len(times_s), dtype=np.bool_)
    for layer in hearing.plan.layers:
        if not isinstance(layer, SongLayer) or layer.song != side:
            continue
        starts_s, ends_s = (hearing.plan.seconds_at(b) for b in (layer.start_beat, layer.end_beat))
        found = alone if layer.roles and set(layer.roles) <= VOICES else more
        found |= (times_s >= starts_s) & (times_s < ends_s)
    return np.asarray(alone & ~more)


def _is_in(times_s: Floats, hop_times_s: Floats, is_so: Flags) -> Flags:
    hops = np.clip(np.searchsorted(hop_times_s, times_s), 0, len(is_so) - 1)
    return np.asarray(is_so[hops])


def _hits_s(hearing: Listened, side: Section, low_s: float, high_s: float) -> Floats:
    """Times of the hits of one side in a stretch."""
    clip: Clip = getattr(hearing.candidate, side)
    start, end = (round(t * clip.rate_hz) for t in (max(low_s - 0.5, 0.0), high_s + 0.5))
    part = Clip(samples=clip.samples[start:end], rate_hz=clip.rate_hz)
    if part.n_frames < clip.rate_hz:
        return np.empty(0)
    room = room_curves(part)
    if room.hits_db(0.0, part.duration_s) < LEAST_HITS_DB:
        return np.empty(0)  # a pad rises and falls, and has no hits
    onsets, strong = room.onsets, room.onsets.strong(0.0, part.duration_s, 98.0)
    return onsets.peaks_s(0.0, part.duration_s, _ONSET_SHARE * strong) + start / clip.rate_hz
