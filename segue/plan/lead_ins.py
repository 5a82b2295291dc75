"""What leads over without a chord: drum bridges, held moments, bars backwards, sweeps, an impact.

A pattern of signs becomes drum hits on the plan's beats; a held moment may bend into the new key.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, Literal, get_args

from segue.music.key import N_PITCH_CLASSES
from segue.music.voicing import least_bend
from segue.plan.grid import SAME_BEAT
from segue.plan.layer import (
    Curve,
    CurvePoint,
    Drum,
    DrumHit,
    DrumLayer,
    FrozenLayer,
    ReversedLayer,
    SweepLayer,
)
from segue.plan.shaping import Planned, Setting, placed, shaping, span_of
from segue.plan.song_levels import starts_softly
from segue.plan.song_maps import pickup_beat

if TYPE_CHECKING:
    from segue.plan.timeline import Timeline
    from segue.recipes.recipe import Pattern, RecipeLayer


SOFT_HIT_DB: Final = -8.0
"""How much softer an 'o' is than an 'x'. Set by judgement."""

_WRITTEN_METRE: Final = 4
"""Patterns that do not fill whole bars of the song are taken to be written in four."""


def drum_layer(layer: RecipeLayer, setting: Setting) -> Planned:
    """A drum bridge with its hits.

    Parameters
    ----------
    layer : RecipeLayer
        With a pattern.
    """
    if layer.pattern is None:
        raise ValueError("a drum bridge without a pattern cannot be planned")
    start, end = span_of(layer, setting.time)
    hits = pattern_hits(layer.pattern, start=start, end=end, metre=setting.time.metre)
    planned = DrumLayer(
        **shaping(layer, setting.time), song=layer.of, start_beat=start, end_beat=end, hits=hits
    )
    return Planned(layers=(planned,))


def pattern_hits(pattern: Pattern, *, start: float, end: float, metre: int) -> tuple[DrumHit, ...]:
    """The hits of a pattern that is repeated from bar to bar.

    A pattern of whole bars is played as it stands, and where there are fewer bars than it has,
    from its end on: what leads into bar one is kept. One written in four is cut off, or begun
    again, at every bar line of another metre.

    Ascending in beats.

    Parameters
    ----------
    start, end : float
        Beats; a bar line at the start.

    Examples
    --------
    >>> from segue.recipes.recipe import Pattern
    >>> waltz = pattern_hits(Pattern(kick="x---", steps_a_beat=1), start=8.0, end=14.0, metre=3)
    >>> [hit.beat for hit in waltz]
    [8.0, 11.0]
    """
    rows: dict[Drum, str] = {"kick": pattern.kick, "snare": pattern.snare, "hat": pattern.hat}
    hits = [
        DrumHit(beat=beat, drum=drum, gain_db=SOFT_HIT_DB if sign == "o" else 0.0)
        for drum, row in rows.items()
        for beat, sign in _signs(row, pattern.steps_a_beat, start, end, metre)
        if sign != "-"
    ]
    return tuple(sorted(hits, key=lambda hit: (hit.beat, get_args(Drum).index(hit.drum))))


def _signs(
    row: str, steps_a_beat: int, start: float, end: float, metre: int
) -> list[tuple[float, str]]:
    """Every step up to the end with its beat."""
    if not row:
        return []
    bars = _written_bars(row, steps_a_beat, metre)
    n_steps = round((end - start) * steps_a_beat)
    first = max(len(bars) - math.ceil(n_steps / (metre * steps_a_beat)), 0)
    placed = []
    for n in range(n_steps):
        bar, step = divmod(n, metre * steps_a_beat)
        written = bars[(first + bar) % len(bars)]
        placed.append((start + n / steps_a_beat, written[step % len(written)]))
    return [(beat, sign) for beat, sign in placed if beat < end - SAME_BEAT]


def _written_bars(row: str, steps_a_beat: int, metre: int) -> list[str]:
    for beats in (metre, _WRITTEN_METRE):
        n_steps = beats * steps_a_beat
        if len(row) % n_steps == 0:
            return [row[a : a + n_steps] for a in range(0, len(row), n_steps)]
    return [row]


_AFTER_ATTACK_S: Final = 0.25
"""The ring of a last hit is taken here after it, when the attack is over. Set by judgement."""

_BEFORE_END_S: Final = 0.1
"""No moment is taken closer to the end of what was read."""

_RING_S: Final = 0.6
"""A last hit that sounds on for less is no chord to hold. Set by judgement."""

_TONE_LOW_MIDI: Final = 55
"""G3: a chord is thinned out to its tone in the octave from here."""

_THINNED = (0.2, 0.45)  # shares of the interlude from where to where, set by judgement
_BENT = (0.45, 0.7)
"""Where in the interlude a chord thins out to one tone, and where that bends."""


def frozen_layer(layer: RecipeLayer, setting: Setting) -> Planned:
    """A held moment of a song.

    Parameters
    ----------
    layer : RecipeLayer
        With source 'frozen tail'.
    """
    time = setting.time
    start, end = span_of(layer, time)
    bend: Curve = placed(layer.pitch_semitones, time)
    tone_midi: float | None = None
    thinning: Curve = ()
    if layer.bends_to == "common tone":
        tone_midi, bend, thinning = _bent(time, start, end)
    planned = FrozenLayer(
        **shaping(layer, time),
        song=layer.of,
        source_s=_moment_s(layer, time, start),
        start_beat=start,
        end_beat=end,
        pitch_semitones=bend,
        tone_midi=tone_midi,
        thinning=thinning,
    )
    return Planned(layers=(planned,))


def _moment_s(layer: RecipeLayer, time: Timeline, start: float) -> float:
    """The ring of the old song's last hit, or the middle of the last beat before the layer."""
    if layer.of == "incoming":
        song = time.incoming
        return song.grid.seconds_at(song.entry_index) + _AFTER_ATTACK_S
    end, grid = time.outgoing, time.outgoing.grid
    ending = end.facts.ending
    left_s = grid.seconds_at(time.outgoing_index_at(max(start, time.exit_beat)))
    if ending is not None and ending.kind in ("ring-out", "cold stop"):
        ring_end_s = min(ending.sound_end_s, end.facts.edge_end_s)
        if ring_end_s - ending.last_hit_s >= _RING_S and ending.last_hit_s <= left_s + SAME_BEAT:
            return ending.last_hit_s + _AFTER_ATTACK_S
    before = min(time.outgoing_index_at(max(start, time.exit_beat)), float(end.done_index)) - 0.5
    return min(grid.seconds_at(before), end.facts.edge_end_s - _BEFORE_END_S)


def _bent(time: Timeline, start: float, end: float) -> tuple[float, Curve, Curve]:
    """The tone that is kept, its bend into the new tuning and key, and the thinning to it."""
    old, new = time.outgoing.facts, time.incoming.facts
    bend = least_bend(old.key.key, new.key.key)
    tone = _TONE_LOW_MIDI + (bend.tone - _TONE_LOW_MIDI) % N_PITCH_CLASSES
    semitones = bend.semitones + (new.tuning_cents - old.tuning_cents) / 100.0
    first, last = max(start, time.exit_beat), min(end, time.entry_beat)

    def over(share: tuple[float, float], value: float) -> Curve:
        a, b = (first + (last - first) * x for x in share)
        return (CurvePoint(beat=a, value=0.0), CurvePoint(beat=b, value=value))

    curve = over(_BENT, semitones) if semitones else ()
    return tone + old.tuning_cents / 100.0, curve, over(_THINNED, 1.0)


_RISER_LOW_MIDI: Final = 67
"""G4: a riser arrives at its tone in the octave from here. Set by judgement."""
_IMPACT_LOW_MIDI: Final = 26
"""D1, 37 Hz: an impact falls to the tonic in the octave from here. Set by judgement."""
_SWEEPS: Final[dict[str, Literal["riser", "swell", "impact"]]] = {
    "riser": "riser",
    "swell": "swell",
    "impact": "impact",
}


def sweep_layer(layer: RecipeLayer, setting: Setting) -> Planned:
    """A riser, a swell or an impact.

    A riser that is over by the entry arrives at the new key's fifth, which its
    dominant and its tonic chord both have; one that lasts longer at the tonic.
    An impact falls to the new key's tonic. None is played into a song that starts softly: what
    grows up to the entry, and an impact, call a hit that does not come.

    Parameters
    ----------
    layer : RecipeLayer
        With source 'riser', 'swell' or 'impact'.
    """
    time, new = setting.time, setting.time.incoming.facts
    start, end = span_of(layer, time)
    if starts_softly(time.outgoing.facts, new):
        name = layer.called
        return Planned(notes=(f"'{name}' is left out: '{new.title}' starts softly.",))
    tone_midi = None
    if layer.source == "riser":
        tone = new.key.key.tonic + (7 if end <= time.entry_beat + SAME_BEAT else 0)
        above = (tone - _RISER_LOW_MIDI) % N_PITCH_CLASSES
        tone_midi = _RISER_LOW_MIDI + above + new.tuning_cents / 100.0
    elif layer.source == "impact":
        above = (new.key.key.tonic - _IMPACT_LOW_MIDI) % N_PITCH_CLASSES
        tone_midi = float(_IMPACT_LOW_MIDI + above)
    planned = SweepLayer(
        **shaping(layer, time),
        sweep=_SWEEPS[layer.source],
        start_beat=start,
        end_beat=end,
        tone_midi=tone_midi,
    )
    return Planned(layers=(planned,))


def reversed_layer(layer: RecipeLayer, setting: Setting) -> Planned:
    """A bar of a song in the hall, backwards: the new one's first or the old one's last.

    Parameters
    ----------
    layer : RecipeLayer
        With source 'reverse tail'; it gives way to a pick-up of the new song.
    """
    time = setting.time
    start, end = span_of(layer, time)
    if layer.of == "incoming":
        end = min(end, pickup_beat(time))
        grid, first = time.incoming.grid, time.incoming.entry_index
        edge_end_s = time.incoming.facts.edge_end_s
    else:
        grid = time.outgoing.grid
        first = time.outgoing_index_at(min(start, time.exit_beat)) - grid.metre
        edge_end_s = time.outgoing.facts.edge_end_s
    if end <= start + SAME_BEAT:
        return Planned(notes=(f"'{layer.called}' gives way to the pick-up.",))
    source_s = grid.seconds_at(first)
    layer_s = time.tempo.seconds_at(end) - time.tempo.seconds_at(start)
    bar_s = grid.seconds_at(first + grid.metre) - source_s
    planned = ReversedLayer(
        **shaping(layer, time),
        song=layer.of,
        source_s=source_s,
        length_s=min(bar_s, layer_s, edge_end_s - source_s),
        start_beat=start,
        end_beat=end,
        roles=layer.roles,
    )
    return Planned(layers=(planned,))
