"""Where the outgoing song is left and where the incoming one is entered."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final, assert_never

from segue.analysis.facts import PULSE_CONFIDENCE, EdgeFacts, Ending, Opening
from segue.plan.grid import ON_THE_LINE_BEATS, SAME_BEAT, BeatGrid, beat_grid

_RING_BEATS_SHARE: Final = 0.5
"""A last hit keeps at least this share of a bar to ring before the interlude. Set by judgement."""

_LET_GO_LATE_BEATS: Final = 0.5
"""What is let go no more than this after a bar line is let go on it. Set by judgement."""

_SETS_IN_BEATS: Final = 0.5
"""What starts to sound no more than this after a bar line sets in on it. Set by judgement."""

_CUT_SHORT_BEATS: Final = 0.25
"""A file that stops this close before a bar line was cut on it. Chosen on the demo songs."""

_MOST_BARS_BACK: Final = 3
"""A song that would go on is left so far before it stops at most, to end a phrase; music that is
left unheard is worth no more. Set by judgement."""

_SILENT_BEATS: Final = 1.0
"""A song is not left longer after its sound than this where an earlier bar line will do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SongEnd:
    """The outgoing song's grid and the bar line at which its music is done.

    Parameters
    ----------
    left_index : int or None
        The beat at which the musician wants it left, or by which it has rung out long before the
        bar line; None leaves that to the recipe.
    moved : str
        A sentence on how that place was moved; empty where it was not.
    """

    grid: BeatGrid
    done_index: int
    facts: EdgeFacts
    left_index: int | None = None
    moved: str = ""

    @property
    def leaving_index(self) -> int:
        """Where it is left if nothing of it is to play on."""
        return self.done_index if self.left_index is None else self.left_index

    @property
    def first_bar_index(self) -> int:
        """First bar line inside the part that was read."""
        return self.grid.bar_line_after(self.grid.index_at(self.facts.edge_start_s))


@dataclass(frozen=True, slots=True, kw_only=True)
class SongStart:
    """The incoming song's grid, the index of its bar one, and where its sound sets in.

    Parameters
    ----------
    moved : str
        A sentence on how the place that the musician wants was moved; empty where it was not.
    fades_in : bool
        Whether what sounds before bar one fades or swells in, to come under what is there.
    """

    grid: BeatGrid
    entry_index: float
    sound_index: float
    facts: EdgeFacts
    moved: str = ""
    fades_in: bool = False


def song_end(facts: EdgeFacts) -> SongEnd:
    """Bar line at which the outgoing song is done.

    A song that keeps going is done at its last whole bar line, or where its
    phrases are sure, at the last of them up to three bars before; one that stops
    cold, at the bar line of its last hit, or the next if it is off the bar line,
    so that the interlude begins on the hit, but not a bar before a last chord has rung out;
    one that rings out, at the bar line after its last hit has had half a
    bar to ring, or the one before if nothing sounds there any more; either on a beat where all is
    over long before that line; neither before what
    is held after the last hit is let go, for notes that change softly are no hits; one that
    fades, at the last phrase or else bar line at full level. A quieter last part is played:
    how it ends counts. At least one bar of what was read is kept.
    In free time bar lines are only a ruler, and are laid so that one is there.

    Raises
    ------
    ValueError
        If the facts are of the start of a song.
    """
    ending = _ending(facts)
    grid = beat_grid(facts, anchor_s=_free_done_s(facts, ending))
    if not grid.is_heard:
        return _kept(grid, 0, facts)
    match ending.kind:
        case "keeps going":
            done = grid.bar_line_before(grid.index_at(ending.sound_end_s) + _CUT_SHORT_BEATS)
            done = _phrase_line(grid, facts, done)
        case "cold stop":
            done = grid.bar_line_after(grid.index_at(ending.last_hit_s))
            if ending.rung_out_s is not None:
                done = max(done, grid.bar_line_before(grid.index_at(ending.rung_out_s)))
            done = max(done, _let_go_line(grid, ending))
            return _kept(grid, done, facts, left=_rung_out_beat(grid, ending, done))
        case "ring-out":
            hit = grid.index_at(ending.last_hit_s)
            done = grid.bar_line_after(hit + _RING_BEATS_SHARE * grid.metre)
            if done - grid.index_at(ending.sound_end_s) > _SILENT_BEATS:
                done = grid.bar_line_after(hit)
            done = max(done, _let_go_line(grid, ending))
            return _kept(grid, done, facts, left=_rung_out_beat(grid, ending, done))
        case "fade":
            start_s = ending.sound_end_s if ending.fade_start_s is None else ending.fade_start_s
            done = _phrase_line(grid, facts, grid.bar_line_before(grid.index_at(start_s)))
        case _:
            assert_never(ending.kind)
    return _kept(grid, done, facts)


def song_start(facts: EdgeFacts) -> SongStart:
    """Bar one of the incoming song.

    A free intro enters where it starts to sound, but where bar lines are heard from there on, on
    the first of them; anything else on its first downbeat. What sounds before is its pick-up.
    A song that fades or swells in is entered on the bar line at which it has come up, or the beat
    where no bar lines are heard: on one at which it is hardly there, everybody would fall into a
    hole.

    Raises
    ------
    ValueError
        If the facts are of the end of a song.
    """
    opening = _opening(facts)
    grid = beat_grid(facts, anchor_s=opening.first_downbeat_s)
    sound = grid.index_at(opening.sound_start_s)
    if opening.kind == "free intro":
        entry = _intro_line(grid, facts, sound)
        sound = min(sound, entry)
    else:
        entry = round(grid.index_at(opening.first_downbeat_s))
        sound = min(sound, entry)
    up = _come_up(grid, facts, opening)
    if up is not None and up > entry + SAME_BEAT:
        if grid.is_heard:
            grid = replace(grid, downbeat=round(up))
        return SongStart(grid=grid, entry_index=up, sound_index=sound, facts=facts, fades_in=True)
    return SongStart(grid=grid, entry_index=entry, sound_index=sound, facts=facts)


def _come_up(grid: BeatGrid, facts: EdgeFacts, opening: Opening) -> float | None:
    """Where a song that fades or swells in has come up; None for others.

    In free time then and there; on the nearest beat where one is as likely bar one as another.
    """
    up_s = opening.faded_in_s
    if up_s is None or up_s - opening.sound_start_s > _LONGEST_FADE_S:
        return None
    index = grid.index_at(up_s)
    if not grid.is_heard:
        return index
    if facts.pulse.downbeat_confidence < PULSE_CONFIDENCE:
        return round(index)
    return grid.bar_line_after(index - _SETS_IN_BEATS)


_LONGEST_FADE_S: Final = 16.0
"""Of a song that takes longer to come up nobody wants to lose so much. Set by judgement."""


def _intro_line(grid: BeatGrid, facts: EdgeFacts, sound: float) -> float:
    """The first bar line of an intro if one is heard in its first bar, else where it sets in.

    Without it the beats of a soft start would come between those of the bridge.
    """
    if not grid.is_heard:
        return sound
    lines = [round(grid.index_at(line_s)) for line_s in facts.pulse.downbeats_s]
    first = next((line for line in lines if line >= sound - _SETS_IN_BEATS), None)
    within = first is not None and first < sound + grid.metre - _SETS_IN_BEATS + SAME_BEAT
    return sound if first is None or not within else float(first)


def _phrase_line(grid: BeatGrid, facts: EdgeFacts, done: int) -> int:
    """The last phrase start at a bar line or a few bars before it, where phrases are sure."""
    if not facts.phrases.is_sure:
        return done
    starts = [grid.bar_line_before(grid.index_at(t)) for t in facts.phrases.starts_s]
    group = facts.phrases.n_bars * grid.metre
    starts += range(starts[-1] + group, done + 1, group)  # a group that ends starts the next
    least = done - _MOST_BARS_BACK * grid.metre
    return max((line for line in starts if least <= line <= done), default=done)


def _let_go_line(grid: BeatGrid, ending: Ending) -> int:
    """The bar line on which what is held is let go, or the one before if nothing rings so far.

    That of the last hit where nothing is held for half a bar.
    """
    hit = grid.index_at(ending.last_hit_s)
    held = hit if ending.held_until_s is None else grid.index_at(ending.held_until_s)
    if held - hit < _RING_BEATS_SHARE * grid.metre:
        return grid.bar_line_before(hit)
    line = grid.bar_line_after(held - _LET_GO_LATE_BEATS)
    is_silent = line - grid.index_at(ending.sound_end_s) > _SILENT_BEATS
    return grid.bar_line_before(held) if is_silent else line


def _rung_out_beat(grid: BeatGrid, ending: Ending, done: int) -> int | None:
    """The beat by which a last chord has rung out, where the room would wait for the bar line.

    None where the bar line comes soon enough: a beat of air is good after an end, more is a hole
    (common practice, no source), and nobody counts on through it.
    """
    if ending.rung_out_s is None:
        return None
    quiet_s = max(ending.rung_out_s, ending.held_until_s or ending.last_hit_s)
    beat = math.ceil(grid.index_at(quiet_s) - ON_THE_LINE_BEATS)
    waits_s = grid.seconds_at(done) - quiet_s
    air_s = max(60.0 / grid.bpm_at(beat), _LONGEST_WAIT_S)
    return beat if beat < done and waits_s > air_s else None


_LONGEST_WAIT_S: Final = 0.7  # so long anybody waits, also where a beat is shorter; by judgement


def _kept(grid: BeatGrid, done: int, facts: EdgeFacts, *, left: int | None = None) -> SongEnd:
    """Done at a bar line, but with a bar of what was read at least."""
    least = grid.bar_line_after(grid.index_at(facts.edge_start_s)) + grid.metre
    left = None if left is None or left < least else left
    return SongEnd(grid=grid, done_index=max(done, least), facts=facts, left_index=left)


def _free_done_s(facts: EdgeFacts, ending: Ending) -> float:
    """Where a song in free time is done: no bar line has to be waited for."""
    match ending.kind:
        case "keeps going":
            return ending.sound_end_s
        case "fade":
            return ending.sound_end_s if ending.fade_start_s is None else ending.fade_start_s
        case "cold stop" | "ring-out":
            rings_s = _RING_BEATS_SHARE * facts.pulse.metre * facts.pulse.beat_s
            held_s = ending.last_hit_s if ending.held_until_s is None else ending.held_until_s
            return min(max(ending.last_hit_s + rings_s, held_s), ending.sound_end_s)
        case _:
            assert_never(ending.kind)


def _ending(facts: EdgeFacts) -> Ending:
    if facts.ending is None:
        raise ValueError(f"{facts.title} was read at its start, not its end")
    return facts.ending


def _opening(facts: EdgeFacts) -> Opening:
    if facts.opening is None:
        raise ValueError(f"{facts.title} was read at its end, not its start")
    return facts.opening
