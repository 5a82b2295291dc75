"""The ruler of a plan: bars, beats, anchors and the tempo curve.

Beat 0 is the first kept bar line of the outgoing song. Beats of the outgoing
section are the outgoing song's own, those of the incoming section the incoming
song's own; the interlude lies between them on the plan's tempo curve.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final, assert_never

from segue.music.tempo import TempoCurve, TempoSpan
from segue.plan.grid import BeatGrid, beats_between
from segue.plan.plan import BarLine, Section
from segue.plan.tempo_spans import (
    SAME_BPM,
    check_tempo,
    interlude_bars,
    interlude_spans,
    tempo_change,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.plan.edges import SongEnd, SongStart
    from segue.plan.tempo_spans import TempoChange
    from segue.recipes.recipe import Position, Recipe

_HEARD_S: Final = 10.0
"""How much of either song is kept at least: enough to know it again. Set by judgement."""

_LEAST_BARS: Final = 4  # of the old song that a plan plays; by judgement
_MOST_INCOMING_BARS: Final = 16  # of the new song that a plan plays; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeline:
    """Everything about time in a plan, before its layers.

    Parameters
    ----------
    n_outgoing_beats : int
        From beat 0 to the exit.
    metre : int
        Of the interlude.
    exit_index : int
        Beat of the outgoing song's grid at the exit.
    octave : float
        Beats of the outgoing song to one of the incoming.
    carry_pace : float
        Beats of the outgoing song to one of the interlude's ruler.
    """

    outgoing: SongEnd
    incoming: SongStart
    n_outgoing_beats: int
    n_interlude_beats: int
    n_incoming_beats: float
    metre: int
    exit_index: int
    octave: float
    carry_pace: float
    tempo: TempoCurve

    @property
    def exit_beat(self) -> float:
        """Where the interlude starts."""
        return float(self.n_outgoing_beats)

    @property
    def entry_beat(self) -> float:
        """Bar one of the incoming song."""
        return float(self.n_outgoing_beats + self.n_interlude_beats)

    @property
    def end_beat(self) -> float:
        """Where the candidate ends."""
        return self.entry_beat + self.n_incoming_beats

    @property
    def tempo_octave(self) -> float:
        """Beats of the incoming song to one beat of the interlude's ruler."""
        return self.carry_pace / self.octave

    @property
    def n_interlude_bars(self) -> int:
        """Bars of the interlude."""
        return self.n_interlude_beats // self.metre

    def beat_of(self, position: Position) -> float:
        """Beat of a recipe's position; bars are those of the section it points into."""
        match position.anchor:
            case "start":
                return position.bars * self.outgoing.grid.metre
            case "exit":
                metre = self.outgoing.grid.metre if position.bars < 0 else self.metre
                return self.exit_beat + position.bars * metre
            case "entry":
                metre = self.metre if position.bars < 0 else self.incoming.grid.metre
                return self.entry_beat + position.bars * metre
            case "end":
                return self.end_beat + position.bars * self.incoming.grid.metre
            case _:
                assert_never(position.anchor)

    def outgoing_index_at(self, beat: float) -> float:
        """Beat of the outgoing song's grid that falls on a beat of the plan."""
        before, after = min(beat, self.exit_beat), max(beat, self.entry_beat)
        inside = min(max(beat, self.exit_beat), self.entry_beat) - self.exit_beat
        index = self.exit_index + (before - self.exit_beat) + inside * self.carry_pace
        return index + (after - self.entry_beat) * self.octave

    def outgoing_beat_at(self, index: float) -> float:
        """Beat of the plan on which a beat of the outgoing song falls."""
        carried = (self.entry_beat - self.exit_beat) * self.carry_pace
        after_exit = index - self.exit_index
        if after_exit <= 0:
            return self.exit_beat + after_exit
        if after_exit <= carried:
            return self.exit_beat + after_exit / self.carry_pace
        return self.entry_beat + (after_exit - carried) / self.octave

    def bar_lines(self) -> tuple[BarLine, ...]:
        """All bar lines from beat 0 on, numbered from 1."""
        places = [
            *_lines(0.0, self.exit_beat, self.outgoing.grid.metre, "outgoing"),
            *_lines(self.exit_beat, self.entry_beat, self.metre, "interlude"),
            *_lines(
                self._first_incoming_bar(), self.end_beat, self.incoming.grid.metre, "incoming"
            ),
        ]
        return tuple(
            BarLine(beat=beat, number=number, section=section, metre=metre)
            for number, (beat, section, metre) in enumerate(places, start=1)
        )

    def _first_incoming_bar(self) -> float:
        """Beat of the first bar line of the incoming song at or after its entry."""
        start = self.incoming
        return self.entry_beat + start.grid.bar_line_after(start.entry_index) - start.entry_index


def timeline(
    outgoing: SongEnd,
    incoming: SongStart,
    recipe: Recipe,
    *,
    talk_s: float | None = None,
    asked_bars: int | None = None,
    heard_s: float | None = None,
) -> Timeline:
    """Lay a recipe out in beats for a pair of songs.

    Parameters
    ----------
    outgoing, incoming : SongEnd, SongStart
        Where the songs are left and entered.
    recipe : Recipe
        Gives the length, the carry and the tempo move.
    asked_bars : int or None
        Bars of the interlude that the musician wants.
    heard_s : float or None
        How much of either song is kept at least, in whole bars; None is enough to know it again,
        and to hear the singer come in.

    Raises
    ------
    TempoTooFarError
        If the recipe cannot bridge the two tempos.
    """
    change = tempo_change(outgoing, incoming, recipe)
    n_bars = interlude_bars(change, recipe, talk_s=talk_s, asked_bars=asked_bars)
    interlude = interlude_spans(change, recipe.tempo, n_bars)
    check_tempo(change, recipe, interlude)
    exit_index = _exit_index(outgoing, incoming, recipe, change, n_bars)
    n_outgoing = _outgoing_beats(outgoing, exit_index, heard_s)
    n_incoming = _incoming_beats(incoming, heard_s)
    spans = (
        *_grid_spans(outgoing.grid, exit_index - n_outgoing, n_outgoing),
        *interlude,
        *_grid_spans(incoming.grid, incoming.entry_index, n_incoming),
    )
    return Timeline(
        outgoing=outgoing,
        incoming=incoming,
        n_outgoing_beats=n_outgoing,
        n_interlude_beats=n_bars * change.metre,
        n_incoming_beats=n_incoming,
        metre=change.metre,
        exit_index=exit_index,
        octave=change.octave,
        carry_pace=change.carry_pace,
        tempo=TempoCurve(spans=_merged(spans)),
    )


def _exit_index(
    outgoing: SongEnd, incoming: SongStart, recipe: Recipe, change: TempoChange, n_bars: int
) -> int:
    """A bar line, or the beat asked for, that leaves the song the music it plays on with."""
    length, metre = recipe.length, outgoing.grid.metre
    carry = n_bars if length.carry_bars < 0 else min(length.carry_bars, n_bars)
    beats = carry * change.metre * change.carry_pace
    beats += length.overlap_bars * incoming.grid.metre * change.octave
    last_index = outgoing.done_index - math.ceil(beats / metre) * metre
    return max(min(last_index, outgoing.leaving_index), outgoing.first_bar_index + metre)


def _outgoing_beats(outgoing: SongEnd, exit_index: int, heard_s: float | None) -> int:
    grid = outgoing.grid
    beats = (heard_s or _HEARD_S) * grid.bpm_at(exit_index - 1) / 60.0
    bars = max(_LEAST_BARS if heard_s is None else 1, math.ceil(beats / grid.metre))
    there, rest = divmod(exit_index - outgoing.first_bar_index, grid.metre)
    return max(min(bars, there), 1) * grid.metre + rest  # the rest where it is left inside a bar


def _incoming_beats(incoming: SongStart, heard_s: float | None) -> float:
    """Whole bars of the incoming song: enough to know it, and to hear the singer come in."""
    grid, facts = incoming.grid, incoming.facts
    first_bar = grid.bar_line_after(incoming.entry_index)
    until_s = grid.seconds_at(first_bar) + (heard_s or _HEARD_S)
    if facts.first_note is not None and heard_s is None:
        until_s = max(until_s, facts.first_note.time_s + grid.metre * facts.pulse.beat_s)
    until_s = min(until_s, facts.edge_end_s)
    bars = max(math.ceil((grid.index_at(until_s) - first_bar) / grid.metre), 1)
    most = min(
        _MOST_INCOMING_BARS, math.floor((grid.index_at(facts.edge_end_s) - first_bar) / grid.metre)
    )
    return first_bar + max(min(bars, most), 1) * grid.metre - incoming.entry_index


def _grid_spans(grid: BeatGrid, start_index: float, n_beats: float) -> Iterator[TempoSpan]:
    """One span a beat, at the song's own tempo."""
    for a, b in pairwise(beats_between(start_index, start_index + n_beats)):
        bpm = 60.0 * (b - a) / (grid.seconds_at(b) - grid.seconds_at(a))
        yield TempoSpan(n_beats=b - a, start_bpm=bpm, end_bpm=bpm)


def _merged(spans: tuple[TempoSpan, ...]) -> tuple[TempoSpan, ...]:
    """Neighbouring holds at one tempo become one span, so that even songs stay even."""
    merged: list[TempoSpan] = []
    for span in spans:
        last = merged[-1] if merged else None
        holds = last is not None and last.law == span.law == "hold"
        if last is not None and holds and abs(last.start_bpm - span.start_bpm) < SAME_BPM:
            merged[-1] = TempoSpan(
                n_beats=last.n_beats + span.n_beats, start_bpm=last.start_bpm, end_bpm=last.end_bpm
            )
        else:
            merged.append(span)
    return tuple(merged)


def _lines(
    start: float, end: float, metre: int, section: Section
) -> Iterator[tuple[float, Section, int]]:
    beat = start
    while beat < end - 1e-6:
        yield beat, section, min(metre, max(round(end - beat), 1))
        beat += metre
