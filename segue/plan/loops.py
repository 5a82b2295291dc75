"""Loops of a song's own bars: cut on bar lines, joined so that nothing is heard of the cut."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from segue.audio.clip import VOICES
from segue.plan.grid import SAME_BEAT, BeatGrid, beats_between
from segue.plan.layer import Curve, CurvePoint, MapPoint, Side, SongLayer
from segue.plan.shaping import Planned, Setting, placed, shaping, span_of, summed
from segue.plan.song_maps import moved, pickup_beat

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts
    from segue.analysis.structure_facts import LoopFact
    from segue.plan.timeline import Timeline
    from segue.recipes.recipe import RecipeLayer

_JOIN_S: Final = 0.012
"""Old and new repetition cross over in this time; their fades sum to one. Set by judgement."""

_BEFORE_LINE_S: Final = 0.015
"""The crossing starts here before the bar line, so that the attack on it is whole."""

_VOICES: Final = VOICES | {"mix"}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Loop:
    """Bars of a song and how they fall on the plan's beats.

    Parameters
    ----------
    first_index : float
        First beat of the loop in the song's grid.
    n_beats : float
        Length in beats of the plan.
    pace : float
        Beats of the song to one of the plan.
    before_s : float
        How far before its bar line a repetition sets in.
    compared_s : tuple of float
        See `SongLayer`.
    """

    song: Side
    grid: BeatGrid
    first_index: float
    n_beats: float
    pace: float
    before_s: float
    compared_s: tuple[float, ...] = ()

    @property
    def length_s(self) -> float:
        """How long it is in the song's file."""
        end_s = self.grid.seconds_at(self.first_index + self.n_beats * self.pace)
        return end_s - self.grid.seconds_at(self.first_index)


def loop_layers(layer: RecipeLayer, setting: Setting) -> Planned:
    """One song layer for every repetition of a loop.

    The most loopable bars near the join, as they were heard, or else the new song's first and the
    old song's last. The new song's are looped so that the last repetition is whole and leads into
    its end; the old song's so that the first is.

    Parameters
    ----------
    layer : RecipeLayer
        With `loop_bars`.

    Returns
    -------
    Planned
        With a note where somebody may sing in the loop.
    """
    time = setting.time
    start, end = span_of(layer, time)
    name = layer.name or f"{layer.source} loop"
    if layer.source == "outgoing":
        if layer.part != "percussive" and layer.roles != ("drums",):
            end = min(end, pickup_beat(time))  # two songs are not to sing at once
        loop = _outgoing_loop(layer, time, start)
        notes: tuple[str, ...] = ()
    else:
        n_bars, notes = _bars_without_voice(layer, setting, name)
        loop = _incoming_loop(layer, time, n_bars)
    loop = replace(loop, compared_s=_compared_s(layer, loop, setting))
    starts = _starts(start, end, loop) if end > start + SAME_BEAT else []
    repetitions = (
        _repetition(layer, loop, time, name=f"{name} {n}", span=(a, b, first))
        for n, (a, b, first) in enumerate(starts, start=1)
    )
    return Planned(layers=tuple(repetitions), notes=notes)


def _bars_without_voice(
    layer: RecipeLayer, setting: Setting, name: str
) -> tuple[int, tuple[str, ...]]:
    """Length of an incoming loop in bars, ending before the singer comes in where it matters."""
    song = setting.time.incoming
    first_bar = song.grid.bar_line_after(song.entry_index)
    there = (song.grid.index_at(song.facts.edge_end_s) - first_bar) / song.grid.metre
    n_bars = max(min(layer.loop_bars, math.floor(there)), 1)
    is_silent = setting.incoming_has_stems and layer.roles and _VOICES.isdisjoint(layer.roles)
    if is_silent or layer.part == "percussive":
        return n_bars, ()
    first_note = song.facts.first_note
    if first_note is None:
        note = (
            f"If somebody sings in the first {n_bars} bars of '{song.facts.title}', "
            f"'{name}' repeats it: give stems, or say where the singer comes in."
        )
        return n_bars, (note,)
    free = math.floor((song.grid.index_at(first_note.time_s) - first_bar) / song.grid.metre)
    if free < 1:
        note = (
            f"'{name}' has the singer in it, who comes in within the first bar of "
            f"'{song.facts.title}': give stems to loop the band alone."
        )
        return 1, (note,)
    return min(n_bars, free), ()


_SUNG: Final = 0.3
"""From this presence of a voice on, in the mean of a loop's bars, somebody may sing in it."""


def _compared_s(layer: RecipeLayer, loop: _Loop, setting: Setting) -> tuple[float, ...]:
    """Where bars like a loop's begin, where no singer is wanted but somebody may sing in a mix."""
    is_old = loop.song == "outgoing"
    has_stems = setting.outgoing_has_stems if is_old else setting.incoming_has_stems
    no_singer = layer.roles and _VOICES.isdisjoint(layer.roles) and layer.part != "percussive"
    if has_stems or not no_singer or not loop.grid.is_heard:
        return ()
    facts = (setting.time.outgoing if is_old else setting.time.incoming).facts
    first_s = loop.grid.seconds_at(loop.first_index)
    inside = [
        bar.voice
        for bar in facts.bars
        if first_s <= (bar.start_s + bar.end_s) / 2 < first_s + loop.length_s
    ]
    if not inside or sum(inside) / len(inside) < _SUNG:
        return ()
    lines_s = (bar.start_s for bar in facts.bars)
    return (first_s, *(s for s in lines_s if abs(s - first_s) > _ON_THE_LINE_S))


LEAST_QUALITY: Final = 0.4
"""Bars that loop worse than this are not looped for their own sake."""


def _most_loopable(
    layer: RecipeLayer, facts: EdgeFacts, *, after_s: float, before_s: float
) -> LoopFact | None:
    """The bars that loop best between two times, as long as the recipe allows; None for none.

    Of drums alone the fullest, of anything else the cleanest; one in which somebody sings is
    passed over where there is another.
    """
    fitting = [
        loop
        for loop in facts.loops
        if loop.n_bars <= layer.loop_bars
        and loop.quality >= LEAST_QUALITY
        and after_s - _ON_THE_LINE_S <= loop.start_s
        and loop.end_s <= before_s + _ON_THE_LINE_S
    ]
    if not fitting:
        return None

    def merit(loop: LoopFact) -> float:
        of_drums = layer.part == "percussive" or layer.roles == ("drums",)
        return loop.quality + (0.5 * loop.drums if of_drums else -0.5 * loop.voice)

    return max(fitting, key=merit)


_ON_THE_LINE_S: Final = 0.05  # a loop this near a bar line starts on it; by judgement


def _incoming_loop(layer: RecipeLayer, time: Timeline, n_bars: int) -> _Loop:
    song, pace = time.incoming, time.tempo_octave
    first = song.grid.bar_line_after(song.entry_index)
    last_s = song.grid.seconds_at(first + n_bars * song.grid.metre)
    if layer.loop_bars <= n_bars:  # nothing was cut off for a singer
        near_s = song.grid.seconds_at(first + _NEAR_BARS * song.grid.metre)
        last_s = min(near_s, song.facts.edge_end_s)
    after_s = song.grid.seconds_at(first)
    best = _most_loopable(layer, song.facts, after_s=after_s, before_s=last_s)
    if best is not None and song.grid.is_heard:
        first, n_bars = round(song.grid.index_at(best.start_s)), best.n_bars
    there_s = song.grid.seconds_at(first) - song.facts.edge_start_s
    return _Loop(
        song="incoming",
        grid=song.grid,
        first_index=first,
        n_beats=n_bars * song.grid.metre / pace,
        pace=pace,
        before_s=min(_BEFORE_LINE_S, max(there_s, 0.0)),
    )


_NEAR_BARS: Final = 10
"""Bars next to the join in which loops are looked for: what is farther sounds of another part."""


def _outgoing_loop(layer: RecipeLayer, time: Timeline, start: float) -> _Loop:
    song = time.outgoing
    end = song.grid.bar_line_before(min(time.outgoing_index_at(start), song.done_index))
    ending = song.facts.ending
    if ending is not None and ending.kind in ("ring-out", "cold stop"):
        struck = song.grid.bar_line_before(song.grid.index_at(ending.last_hit_s))
        if struck - song.grid.metre >= song.first_bar_index:  # what rings is no bar to go round
            end = min(end, struck)
    there = (end - song.first_bar_index) // song.grid.metre
    n_beats = max(min(layer.loop_bars, there), 1) * song.grid.metre
    best = _most_loopable(
        layer,
        song.facts,
        after_s=song.grid.seconds_at(max(song.first_bar_index, end - _NEAR_BARS * song.grid.metre)),
        before_s=song.grid.seconds_at(end),
    )
    if best is not None and song.grid.is_heard:
        end = round(song.grid.index_at(best.end_s))
        n_beats = best.n_bars * song.grid.metre
    return _Loop(
        song="outgoing",
        grid=song.grid,
        first_index=end - n_beats,
        n_beats=n_beats / time.carry_pace,
        pace=time.carry_pace,
        before_s=_BEFORE_LINE_S,
    )


def _starts(start: float, end: float, loop: _Loop) -> list[tuple[float, float, float]]:
    """First and last beat of every repetition, and the beat on which its loop began."""
    n_beats = loop.n_beats
    first = start
    if loop.song == "incoming":
        first = end - math.ceil((end - start - SAME_BEAT) / n_beats) * n_beats
    n_times = math.ceil((end - first - SAME_BEAT) / n_beats)
    begins = [first + n * n_beats for n in range(n_times)]
    return [(max(a, start), min(a + n_beats, end), a) for a in begins]


_MOST_EVENED_DB: Final = 4.0
"""A bar of a loop is brought nearer to the mean of its bars by no more. Set by judgement."""


def _evening(loop: _Loop, time: Timeline, began: float) -> Curve:
    """Gain that keeps a loop from stepping where it begins anew: its bars at one level.

    A bar that swells or sinks would jump back at every seam. None for a single bar.
    """
    facts = (time.incoming if loop.song == "incoming" else time.outgoing).facts
    n_bars = round(loop.n_beats * loop.pace / loop.grid.metre)
    levels = []
    for n in range(n_bars):
        middle_s = loop.grid.seconds_at(loop.first_index + (n + 0.5) * loop.grid.metre)
        here = [bar.level_lufs for bar in facts.bars if bar.start_s <= middle_s < bar.end_s]
        levels += here[:1]
    if n_bars == 1 or len(levels) < n_bars:
        return ()
    mean = sum(levels) / n_bars
    bar_beats = loop.grid.metre / loop.pace
    points = []
    for n, level in enumerate(levels):
        gain_db = min(max(mean - level, -_MOST_EVENED_DB), _MOST_EVENED_DB)
        line = began + n * bar_beats
        points += [
            CurvePoint(beat=line + _STEP_BEATS, value=gain_db),
            CurvePoint(beat=line + bar_beats - _STEP_BEATS, value=gain_db),
        ]
    return tuple(points)


_STEP_BEATS: Final = 0.06
"""So far around a bar line its level changes: a step there is hidden by what is struck on it, and a
longer one would leave the half of every difference. Set by judgement."""


def _repetition(
    layer: RecipeLayer, loop: _Loop, time: Timeline, *, name: str, span: tuple[float, float, float]
) -> SongLayer:
    start, end, began = span
    points = [
        MapPoint(
            beat=beat, source_s=loop.grid.seconds_at(loop.first_index + (beat - began) * loop.pace)
        )
        for beat in beats_between(start, end)
    ]
    if loop.before_s > 0:
        points.insert(0, moved(points[0], -loop.before_s, time))
    points.append(moved(points[-1], _JOIN_S, time))
    last_s = time.tempo.seconds_at(end) - loop.before_s + _JOIN_S
    shaped = shaping(layer, time, name=name)
    if layer.part != "percussive" and layer.roles != ("drums",):
        shaped["gain_db"] = summed(shaped["gain_db"], _evening(loop, time, began))
    return SongLayer(
        **shaped,
        song=loop.song,
        start_beat=points[0].beat,
        end_beat=time.tempo.beat_at(last_s),
        time_map=tuple(points),
        roles=layer.roles,
        part=layer.part,
        pitch_semitones=placed(layer.pitch_semitones, time),
        fade_in_s=_JOIN_S,
        fade_out_s=_JOIN_S,
        compared_s=loop.compared_s,
        compared_length_s=loop.length_s if loop.compared_s else 0.0,
    )
