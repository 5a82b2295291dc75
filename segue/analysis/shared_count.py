"""Two songs, or all of an evening, counted at levels that fit each other.

A pulse can be counted at its half or its double: 70 and 140 beats a minute are one tempo. Which
one a song is heard at alone is a near thing, but a click that halves at bar one throws the band.
So the levels of a pair are chosen together: near each other first, then where people tap, then
as heard. In an evening a song stands in two joins, and the band counts it one way: the level at
which its end goes on to the next song must be that at which its start was come to. So the levels
of all songs are chosen together: the cheapest way from the first song to the last.

References
----------
.. [NM99] L. van Noorden and D. Moelants, "Resonance in the perception of musical pulse",
   Journal of New Music Research 28(1), 1999, 43-66.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING, Final

from segue.analysis.doubts import doubts_about
from segue.music.tempo import bpm_number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.analysis.facts import EdgeFacts, PulseFact
    from segue.analysis.structure_facts import LoopFact

    SongFacts = tuple[EdgeFacts | None, EdgeFacts | None]


SLOWEST_COUNT_BPM, FASTEST_COUNT_BPM = 45.0, 210.0
"""Nobody counts slower or faster. Set by judgement."""
_RESONANCE_HZ: Final = 2.0
"""Where tapping resonates [NM99]_."""
_DAMPING: Final = 1.12
"""Width of the resonance, from memory of [NM99]_."""
_APART_COST: Final = 4.0  # for an octave between the two tempi
_TAP_COST: Final = 0.5  # for each e-fold that a tempo is tapped less readily
_CHANGE_COST: Final = 0.35  # for a level other than the one heard
_HEARD_COST: Final = 0.6  # for each e-fold that the sound makes a level less likely
# The costs were set by judgement, and checked on pairs of real songs by the edges benchmark.
_LEVELS: Final = (1.0, 2.0, 0.5)  # a tempo as heard, doubled, and halved
_DUPLE: Final = (2, 4)  # beats of a bar that let a pulse be counted at another level; by judgement
# most that a level as heard is believed, so that others keep a chance; by judgement
_SURE: Final = 0.9


def counted_together(old: EdgeFacts, new: EdgeFacts) -> tuple[EdgeFacts, EdgeFacts]:
    """The facts of a pair, both counted at the levels that fit best together.

    Returns
    -------
    old, new : EdgeFacts
        As they were where both are counted well, a tempo was given, or one has no pulse.
        Elsewhere beats, downbeats and tempo are those of the level chosen, and the tempo that
        was heard is kept as `heard_bpm`. Doubts are said anew of a changed song.

    Examples
    --------
    A ballad at 70 next to a song at 138 is counted at 140, where both can be tapped alike.
    """
    if not (old.pulse.is_known and new.pulse.is_known):
        return old, new
    pairs = product(levels_of_count(old.pulse), levels_of_count(new.pulse))
    best = min(pairs, key=lambda pair: _cost(old.pulse, new.pulse, *pair))
    return counted_at(old, best[0]), counted_at(new, best[1])


def counted_pair(
    old: EdgeFacts, new: EdgeFacts, *, settled_bpm: tuple[float | None, float | None]
) -> tuple[EdgeFacts, EdgeFacts]:
    """The facts of a pair, counted as an evening has settled it, else together.

    Parameters
    ----------
    settled_bpm : (float or None, float or None)
        Tempi to which the two are counted: at the level that comes near, if there is one. Both
        None where nothing was settled.
    """
    if settled_bpm == (None, None):
        return counted_together(old, new)
    return _counted_as(old, settled_bpm[0]), _counted_as(new, settled_bpm[1])


def _counted_as(facts: EdgeFacts, tempo_bpm: float | None) -> EdgeFacts:
    if tempo_bpm is None or not facts.pulse.is_known:
        return facts
    level = 2.0 ** round(math.log2(tempo_bpm / facts.pulse.tempo_bpm))
    return counted_at(facts, level) if level in levels_of_count(facts.pulse) else facts


def levels_of_count(pulse: PulseFact) -> tuple[float, ...]:
    """By what a tempo may be multiplied: 1, and 2 or 1/2 where bars of two or four allow it."""
    if pulse.source == "given" or pulse.metre not in _DUPLE:
        return (1.0,)
    return tuple(
        level
        for level in _LEVELS
        if level == 1.0 or SLOWEST_COUNT_BPM <= level * pulse.tempo_bpm <= FASTEST_COUNT_BPM
    )


def counted_at(
    facts: EdgeFacts, level: float, *, why: str = "to go with the other song"
) -> EdgeFacts:
    """The facts of an edge, counted at another level: 2 halves each beat, 1/2 joins two.

    Bars keep their number of beats: at the double each bar becomes two, at the half two become
    one, so that a phrase, or else the last bar line, starts one. Phrases and loops last as long as
    they did, and have so many more bars or fewer.

    Parameters
    ----------
    why : str
        The end of the sentence that says so.
    """
    if level == 1.0:
        return facts
    pulse = facts.pulse
    beats_s, downbeats_s = _halved(pulse) if level > 1.0 else _joined(facts)
    counted = replace(
        pulse,
        tempo_bpm=level * pulse.tempo_bpm,
        tempo_alternatives_bpm=(
            pulse.tempo_bpm,
            *(
                bpm
                for bpm in pulse.tempo_alternatives_bpm
                if abs(math.log2(bpm / pulse.tempo_bpm / level)) > math.log2(1.03)
            ),
        ),
        beats_s=beats_s,
        downbeats_s=downbeats_s,
        heard_bpm=pulse.tempo_bpm if pulse.heard_bpm is None else pulse.heard_bpm,
    )
    changed = replace(
        facts,
        pulse=counted,
        phrases=replace(facts.phrases, n_bars=round(level * facts.phrases.n_bars)),
        loops=_loops_at(facts.loops, level, downbeats_s),
    )
    old_doubts = set(doubts_about(facts))
    remarks = tuple(doubt for doubt in facts.doubts if doubt not in old_doubts)
    word = "twice" if level > 1.0 else "half"
    bpm = bpm_number(counted.tempo_bpm)
    said = f"Counted at {bpm} BPM, {word} what was heard, {why}."
    return replace(changed, doubts=(*remarks, said, *doubts_about(changed)))


def _halved(pulse: PulseFact) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Twice as many beats, and a bar line in the middle of every bar."""
    beats_s: list[float] = []
    for here, after in zip(pulse.beats_s, pulse.beats_s[1:], strict=False):
        beats_s += [here, 0.5 * (here + after)]
    if pulse.beats_s:
        beats_s += [pulse.beats_s[-1], pulse.beats_s[-1] + 0.5 * pulse.beat_s]
    first = 2 * pulse.beats_s.index(pulse.downbeats_s[0]) if pulse.downbeats_s else 0
    downbeats_s = beats_s[first % pulse.metre :: pulse.metre] if pulse.downbeats_s else []
    return tuple(beats_s), tuple(downbeats_s)


def _joined(facts: EdgeFacts) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Every other beat, and every other bar line."""
    pulse = facts.pulse
    if not pulse.downbeats_s:
        return pulse.beats_s[::2], ()
    lines_s = pulse.downbeats_s
    anchor_s = _anchor_s(facts)
    beat = pulse.beats_s.index(anchor_s)
    kept_s = pulse.beats_s[beat % 2 :: 2]
    return kept_s, tuple(t for t in lines_s[lines_s.index(anchor_s) % 2 :: 2] if t in set(kept_s))


def _loops_at(
    loops: tuple[LoopFact, ...], level: float, downbeats_s: tuple[float, ...]
) -> tuple[LoopFact, ...]:
    """The loops that are whole bars still, by the number of those."""
    lines_s = set(downbeats_s)
    return tuple(
        replace(loop, n_bars=round(level * loop.n_bars))
        for loop in loops
        if level * loop.n_bars >= 1.0 and loop.start_s in lines_s
    )


def _anchor_s(facts: EdgeFacts) -> float:
    """A bar line that stays one: bar one, a phrase's start, or the last that is played."""
    lines_s = facts.pulse.downbeats_s
    known = set(lines_s)
    if facts.opening is not None and facts.opening.first_downbeat_s in known:
        return facts.opening.first_downbeat_s
    if facts.phrases.is_sure and facts.phrases.starts_s[-1] in known:
        return facts.phrases.starts_s[-1]
    return lines_s[-1] if facts.edge == "end" else lines_s[0]


def _cost(old: PulseFact, new: PulseFact, old_level: float, new_level: float) -> float:
    old_bpm, new_bpm = old.tempo_bpm * old_level, new.tempo_bpm * new_level
    return apart_cost(old_bpm, new_bpm) + level_cost(old, old_level) + level_cost(new, new_level)


def apart_cost(old_bpm: float, new_bpm: float) -> float:
    """What it costs that two neighbours are counted at two tempi."""
    return _APART_COST * abs(math.log2(old_bpm / new_bpm))


def level_cost(pulse: PulseFact, level: float) -> float:
    """What it costs to count a pulse at a level: slow or fast taps, and not as it was heard."""
    tap = -_TAP_COST * math.log(tapped(pulse.tempo_bpm * level))
    return tap - _HEARD_COST * math.log(_share(pulse, level)) + _CHANGE_COST * (level != 1.0)


def tapped(bpm: float) -> float:
    """How readily a tempo is tapped, 1 at the resonance of 114 beats a minute [NM99]_."""
    return _resonance(bpm) / _resonance(114.0)


def _resonance(bpm: float) -> float:
    hertz, own = bpm / 60.0, _RESONANCE_HZ
    at = 1.0 / math.sqrt((own**2 - hertz**2) ** 2 + _DAMPING * hertz**2)
    return at - 1.0 / math.sqrt(own**4 + hertz**4)


def _share(pulse: PulseFact, level: float) -> float:
    """How likely the sound makes a level: as sure as the pulse is, and what is left for others."""
    own = min(max(pulse.confidence, 0.4), _SURE)
    return own if level == 1.0 else 0.5 * (1.0 - own)


_ONE_TEMPO: Final = math.log2(1.1)  # octaves: edges of one song nearer than this have one tempo
_WHY: Final = "so that the song has one counting in both its joins"


def counted_evening(
    songs: Sequence[SongFacts], joined: Sequence[bool] | None = None
) -> tuple[SongFacts, ...]:
    """The facts of all songs, each counted alike at both its edges.

    Parameters
    ----------
    songs : sequence of (EdgeFacts or None, EdgeFacts or None)
        Start and end of each song, in the order of the set, as they were heard.
    joined : sequence of bool, optional
        Whether each song but the last goes over into the next; across silence no tempi have to
        fit. None joins no two.

    Returns
    -------
    tuple of (EdgeFacts or None, EdgeFacts or None)
        Where a song's two edges have one tempo at some levels, they are counted at such levels;
        where they have not, each is counted for itself.
    """
    if not songs:
        return ()
    ways = [_levels(*song) for song in songs]
    costs = {levels: _song_cost(songs[0], levels) for levels in ways[0]}
    before: list[dict[tuple[float, float], tuple[float, float]]] = []
    for number in range(1, len(songs)):
        old, new = songs[number - 1], songs[number]
        goes_over = joined is not None and joined[number - 1]
        cheapest, came_from = {}, {}
        for levels in ways[number]:
            by_way = {
                way: cost + (_join_cost(old, way, new, levels) if goes_over else 0.0)
                for way, cost in costs.items()
            }
            best = min(by_way, key=by_way.__getitem__)
            cheapest[levels] = by_way[best] + _song_cost(new, levels)
            came_from[levels] = best
        before.append(came_from)
        costs = cheapest
    chosen = [min(costs, key=costs.__getitem__)]
    for came_from in reversed(before):
        chosen.insert(0, came_from[chosen[0]])
    return tuple(_counted(song, levels) for song, levels in zip(songs, chosen, strict=True))


def _levels(start: EdgeFacts | None, end: EdgeFacts | None) -> list[tuple[float, float]]:
    """Pairs of levels for the two edges of a song; those at which both have one tempo, if any."""
    both = list(product(_edge_levels(start), _edge_levels(end)))
    if start is None or end is None or not (start.pulse.is_known and end.pulse.is_known):
        return both
    bpm = start.pulse.tempo_bpm, end.pulse.tempo_bpm
    alike = [
        (first, last)
        for first, last in both
        if abs(math.log2(bpm[0] * first / (bpm[1] * last))) < _ONE_TEMPO
    ]
    return alike or both


def _edge_levels(edge: EdgeFacts | None) -> tuple[float, ...]:
    return (1.0,) if edge is None or not edge.pulse.is_known else levels_of_count(edge.pulse)


def _song_cost(song: SongFacts, levels: tuple[float, float]) -> float:
    return sum(
        level_cost(edge.pulse, level)
        for edge, level in zip(song, levels, strict=True)
        if edge is not None and edge.pulse.is_known
    )


def _join_cost(
    old: SongFacts, old_levels: tuple[float, float], new: SongFacts, new_levels: tuple[float, float]
) -> float:
    end, start = old[1], new[0]
    if end is None or start is None or not (end.pulse.is_known and start.pulse.is_known):
        return 0.0
    return apart_cost(
        end.pulse.tempo_bpm * old_levels[1], start.pulse.tempo_bpm * new_levels[0]
    )  # fmt: skip


def _counted(song: SongFacts, levels: tuple[float, float]) -> SongFacts:
    start, end = (
        None if edge is None else counted_at(edge, level, why=_WHY)
        for edge, level in zip(song, levels, strict=True)
    )
    return start, end
