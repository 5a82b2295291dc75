"""The tempo of an interlude: how long it lasts, how it moves, and what is refused."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, assert_never

from segue.errors import OptionError
from segue.music.tempo import TempoCurve, TempoSpan
from segue.recipes.recipe import MOST_PERCENT_A_BEAT, Recipe, Tempo

if TYPE_CHECKING:
    from segue.plan.edges import SongEnd, SongStart

SAME_BPM: Final = 1e-6
"""Tempos closer than this are one."""

MOST_STRETCH: Final = 2.0
"""Music played above twice or below half its own tempo is no longer itself. Set by judgement."""

_TALK_SLACK_S: Final = 0.01  # a bar is not added for less than this; for rounding


class TempoTooFarError(OptionError):
    """A pair of tempos that a recipe cannot bridge; proposals leave the recipe out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TempoChange:
    """From the old song's tempo to the new one's, on the ruler of the interlude.

    Parameters
    ----------
    old_bpm, new_bpm : float
        The new tempo as the interlude counts it, which may be its half or double.
    metre : int
        Beats a bar of the interlude.
    octave : float
        Beats of the old song to one of the new: 1, or 2 / 0.5 where that brings
        the two tempos nearer to each other.
    carry_pace : float
        Beats of the old song to one of the interlude's.
    """

    old_bpm: float
    new_bpm: float
    metre: int
    octave: float
    carry_pace: float


def exit_bpm(outgoing: SongEnd) -> float:
    """Tempo of the outgoing song over its last bar."""
    return outgoing.grid.bpm_at(outgoing.leaving_index - 1)


def entry_bpm(incoming: SongStart) -> float:
    """Tempo of the incoming song over its first bar."""
    return incoming.grid.bpm_at(incoming.entry_index)


def tempo_change(outgoing: SongEnd, incoming: SongStart, recipe: Recipe) -> TempoChange:
    """The change of tempo that a recipe has to manage for a pair.

    Parameters
    ----------
    recipe : Recipe
        Says whose bars the interlude has.
    """
    old_bpm, new_bpm = exit_bpm(outgoing), entry_bpm(incoming)
    octave = min((1.0, 2.0, 0.5), key=lambda factor: abs(math.log(old_bpm / new_bpm / factor)))
    by_outgoing = recipe.length.counted_by == "outgoing"
    return TempoChange(
        old_bpm=old_bpm,
        new_bpm=new_bpm * octave if by_outgoing else new_bpm,
        metre=(outgoing if by_outgoing else incoming).grid.metre,
        octave=octave,
        carry_pace=1.0 if by_outgoing else octave,
    )


def interlude_bars(
    change: TempoChange,
    recipe: Recipe,
    *,
    talk_s: float | None = None,
    asked_bars: int | None = None,
) -> int:
    """Bars of the interlude.

    Parameters
    ----------
    recipe : Recipe
        Gives the length. A ramp takes the bars that its per cent a beat asks
        for, or one more to make them even; anything else comes near `aim_s` in a number of bars
        that people feel as a phrase, or takes the default.
    talk_s : float or None
        What the singer wants for talking: a recipe that fills it takes the whole
        bars that cover it, and one more.
    asked_bars : int or None
        What the musician wants: within the recipe's least and most, and no less than the talk.
    """
    length = recipe.length
    if talk_s is not None and length.fills_talk:
        return max(_talk_bars(change, recipe, talk_s), min(asked_bars or 0, length.most))
    if asked_bars is not None:
        return min(max(asked_bars, length.least), length.most)
    if recipe.tempo.move in ("linear", "geometric"):
        wanted = _ramp_bars(change, recipe)
        return min(max(wanted + wanted % 2, length.least), length.most)
    aim_s = length.aim_s
    if aim_s is None:
        return length.default

    def miss(n_bars: int) -> float:
        octaves = abs(math.log2(_seconds(change, recipe.tempo, n_bars, n_bars) / aim_s))
        return octaves + (0.0 if recipe.tempo.move == "free" else _uncounted(n_bars))

    return min(range(length.least, length.most + 1), key=miss)


def _uncounted(n_bars: int) -> float:
    """What a number of bars costs for not being the length of a phrase, in octaves of length.

    Of 2158 parts of rock songs 87 % have an even number of bars and 64 % a multiple of four
    (T. de Clercq and D. Temperley, A Corpus Study of Rock Music, version 2.1, counted from it). A
    single bar is a fill. Sizes by judgement.
    """
    if n_bars == 1 or n_bars % _PHRASE_BARS == 0:
        return 0.0
    return _ODD_BARS if n_bars % 2 else _HALF_PHRASE


_PHRASE_BARS: Final = 4  # a phrase, of which a half is felt too
_ODD_BARS: Final = 0.35  # octaves: as a bridge a quarter longer or shorter; by judgement
_HALF_PHRASE: Final = 0.1  # the same, a fourteenth; by judgement


def interlude_spans(change: TempoChange, tempo: Tempo, n_bars: int) -> tuple[TempoSpan, ...]:
    """The tempo curve of an interlude.

    Together `n_bars` long.
    """
    n_beats = n_bars * change.metre
    steady = min(tempo.steady_bars, n_bars - 1) * change.metre
    old_bpm, new_bpm = change.old_bpm, change.new_bpm
    match tempo.move:
        case "hold":
            return (_hold(n_beats, old_bpm),)
        case "step":
            return (_hold(n_beats, old_bpm if tempo.step_at == "entry" else new_bpm),)
        case "free":
            return (_hold(n_beats, new_bpm),)
        case "half-time":
            slow = n_beats - steady
            return (_hold(slow, new_bpm / 2), *((_hold(steady, new_bpm),) if steady else ()))
        case "linear" | "geometric":
            if abs(old_bpm - new_bpm) < SAME_BPM:
                return (_hold(n_beats, new_bpm),)
            held = min(tempo.held_bars * change.metre, n_beats - steady - change.metre)
            ramp = TempoSpan(
                n_beats=n_beats - held - steady, start_bpm=old_bpm, end_bpm=new_bpm, law=tempo.move
            )
            before = (_hold(held, old_bpm),) if held else ()
            return (*before, ramp, *((_hold(steady, new_bpm),) if steady else ()))
        case _:
            assert_never(tempo.move)


def check_tempo(change: TempoChange, recipe: Recipe, spans: tuple[TempoSpan, ...]) -> None:
    """Refuse what no band could follow and no sound could bear.

    Raises
    ------
    TempoTooFarError
        If a ramp changes by more than 6 % a beat or by more than a factor of 2,
        or if the old song's music would be played that much faster or slower.
    """
    for span in spans:
        percent = _percent_a_beat(span)
        if percent > MOST_PERCENT_A_BEAT:
            raise TempoTooFarError(
                f"'{recipe.name}' would change the tempo by {percent:.1f} % a beat, from "
                f"{span.start_bpm:.0f} to {span.end_bpm:.0f} BPM in {span.n_beats:.0f} beats, "
                f"and above {MOST_PERCENT_A_BEAT:g} % a band stumbles: {_BETTER}"
            )
    reached = [span.start_bpm / span.end_bpm for span in spans]
    if recipe.length.carry_bars:
        own_bpm = change.old_bpm / change.carry_pace
        reached += [bpm / own_bpm for span in spans for bpm in (span.start_bpm, span.end_bpm)]
    if recipe.length.overlap_bars:
        reached.append(change.new_bpm / change.old_bpm * change.carry_pace)
    farthest = max(reached, key=lambda ratio: abs(math.log(ratio)))
    if not 1 / MOST_STRETCH - SAME_BPM <= farthest <= MOST_STRETCH + SAME_BPM:
        raise TempoTooFarError(
            f"'{recipe.name}' cannot take {change.old_bpm:.0f} BPM to {change.new_bpm:.0f}, "
            f"more than twice or less than half the tempo: {_BETTER}"
        )


_BETTER: Final = "take a recipe with a half-time bridge, or a stop with a count-in."


def _hold(n_beats: float, bpm: float) -> TempoSpan:
    return TempoSpan(n_beats=n_beats, start_bpm=bpm, end_bpm=bpm)


def _seconds(change: TempoChange, tempo: Tempo, n_bars: int, until_bar: int) -> float:
    curve = TempoCurve(spans=interlude_spans(change, tempo, n_bars))
    return curve.seconds_at(until_bar * change.metre)


def _talk_bars(change: TempoChange, recipe: Recipe, talk_s: float) -> int:
    n_bars = max(recipe.length.least, 2)
    while _seconds(change, recipe.tempo, n_bars, n_bars - 1) < talk_s - _TALK_SLACK_S:
        n_bars += 1
    return n_bars


def _ramp_bars(change: TempoChange, recipe: Recipe) -> int:
    distance = abs(math.log(change.new_bpm / change.old_bpm))
    if distance < SAME_BPM:
        return recipe.length.default
    beats = distance / math.log1p(recipe.tempo.percent_a_beat / 100.0)
    return math.ceil(beats / change.metre) + recipe.tempo.held_bars + recipe.tempo.steady_bars


def _percent_a_beat(span: TempoSpan) -> float:
    """The largest change from one beat to the next, in per cent of the slower."""
    slow, fast = sorted((span.start_bpm, span.end_bpm))
    if span.law == "linear":
        return 100 * (fast - slow) / span.n_beats / slow
    return 100 * math.expm1(math.log(fast / slow) / span.n_beats)
