"""The groove: a beat in the bridge, a fill into bar one, two grooves at once.

Whether a beat plays is told by its onsets on the sound, against those of the songs next to it;
where the plan wants a beat and nobody plays one, there is nothing to be steady.
"""

from __future__ import annotations

import cmath
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
    """How far two grooves at once play apart; None where no song has a pulse."""
    worst: tuple[float, float] | None = None
    sides: tuple[tuple[Section, Section], ...] = (
        ("outgoing", "incoming"), ("outgoing", "interlude"), ("interlude", "incoming"),
    )  # fmt: skip
    for one, other in sides:
        found = _apart(hearing, one, other)
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
        threshold="hits of both on one grid, and up to 40 ms beside each other; 60 ms are a clash",
        sentence=(
            met
            if share <= _TOGETHER
            else "Two grooves rub: many of their hits fall just beside each other."
            if share < _APART
            else "Two grooves do not meet: they play past each other like two bands."
        ),
        worst_beat=hearing.plan.beat_at(at_s) if worst else None,
    )


_TOGETHER, _APART = 0.5, 0.75
"""Of `_apart`. Set by judgement."""
_GRIDS: Final = (2, 4, 6)  # steps a beat on which bands play: eighths, sixteenths, triplets
_LOOSE, _TIGHT = 0.4, 0.7
"""How surely hits lie on a grid: 0 anywhere, 1 exactly. Set on overlaps of real songs: as recipes
lay them it is 0.88 and more, where they have nothing to do with each other 0.47 at most."""
_BESIDE_S: Final = 0.08
"""Two hits so far apart are heard as two that were meant as one. Set by judgement: parts of an
ensemble scatter by up to 0.05 s (R. A. Rasch, Acustica 43, 1979)."""


def _apart(hearing: Listened, one: Section, other: Section) -> tuple[float, float] | None:
    """How far apart two grooves play, from 0 to 1, and from when on; None for no two grooves.

    It is 1 where no grid of steps has the hits of both, or where the steps of one lie `_BESIDE_S`
    from those of the other: of two songs of one tempo a sixteenth apart the hits may well fall
    together, on the sixteenths, but not the eighths.
    """
    times_s, both = hearing.sides[one].times_s, hearing.together(one, other, _BALANCE_DB)
    both &= ~(_is_voice_alone(hearing, one) | _is_voice_alone(hearing, other))
    if both.sum() < 2 or both.sum() * float(times_s[1]) < _LEAST_TOGETHER_S:  # noqa: PLR2004
        return None
    hops = np.flatnonzero(both)
    low_s, high_s = float(times_s[hops[0]]), float(times_s[hops[-1]])
    hits = [_hits(hearing, side, low_s, high_s) for side in (one, other)]
    hits = [found[_is_in(found[:, 0], times_s, both)] for found in hits]
    if min(map(len, hits)) < _LEAST_HITS:
        return None
    beat_s = (high_s - low_s) / (hearing.plan.beat_at(high_s) - hearing.plan.beat_at(low_s))
    shared, beside_s = 0.0, 0.0
    for n_steps in _GRIDS:
        places = [_place(hearing, found, n_steps) for found in hits]
        surely = min(map(abs, places))
        shared = max(shared, surely)
        if surely > _LOOSE:
            turn = abs(cmath.phase(places[0] / places[1])) / (2 * math.pi)
            beside_s = max(beside_s, turn * beat_s / n_steps)
    apart = 1.0 - rising(shared, bad=_LOOSE, good=_TIGHT)
    return max(apart, min(beside_s / _BESIDE_S, 1.0)), low_s


def _place(hearing: Listened, hits: Floats, n_steps: int) -> complex:
    """Where hits lie between the steps of a grid, a turn a step; as long as it is sure, 0 to 1.

    The mean of unit vectors, by strength, less what so few hits anywhere come to.
    """
    beats = np.array([hearing.plan.beat_at(float(time_s)) for time_s in hits[:, 0]])
    mean = complex(np.average(np.exp(2j * np.pi * n_steps * beats), weights=hits[:, 1]))
    n = len(hits)
    return cmath.rect(math.sqrt(max(n * abs(mean) ** 2 - 1, 0.0) / (n - 1)), cmath.phase(mean))


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


def _hits(hearing: Listened, side: Section, low_s: float, high_s: float) -> Floats:
    """Times and strengths of the hits of one side in a stretch, shape (n_hits, 2)."""
    clip: Clip = getattr(hearing.candidate, side)
    start, end = (round(t * clip.rate_hz) for t in (max(low_s - 0.5, 0.0), high_s + 0.5))
    part = Clip(samples=clip.samples[start:end], rate_hz=clip.rate_hz)
    if part.n_frames < clip.rate_hz:
        return np.empty((0, 2))
    room = room_curves(part)
    if room.hits_db(0.0, part.duration_s) < LEAST_HITS_DB / 2:
        return np.empty((0, 2))  # a pad rises and falls, and has no hits
    onsets, strong = room.onsets, room.onsets.strong(0.0, part.duration_s, 98.0)
    times_s = onsets.peaks_s(0.0, part.duration_s, _ONSET_SHARE * strong)
    return np.stack([times_s + start / clip.rate_hz, onsets.at(times_s)], axis=1)
