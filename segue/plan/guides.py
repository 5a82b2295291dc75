"""What only the players hear: the click and the singer's cue."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from segue.music.key import N_PITCH_CLASSES, Key
from segue.plan.plan import BarLine, ClickHit, CueNote
from segue.plan.shaping import span_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.analysis.facts import FirstNote
    from segue.plan.timeline import Timeline
    from segue.recipes.recipe import RecipeLayer

COUNT_IN_BARS: Final = 2
"""Two bars of count-in (common practice, no source)."""

_CUE_BARS: Final = 3
"""The cue starts here before the entry: root and fifth, then two bars of the first note."""

_CUE_LOW_MIDI: Final = 55
"""G3: cue roots are played in the octave from here, where small in-ears speak clearly."""


def click_hits(
    time: Timeline, bar_lines: tuple[BarLine, ...], layers: tuple[RecipeLayer, ...] = ()
) -> tuple[ClickHit, ...]:
    """Clicks where a recipe has them, else as the trade does.

    That is two bars of count-in and on through the incoming song, and the whole
    of a ramp.

    Parameters
    ----------
    layers : tuple of RecipeLayer
        The recipe's; those with source 'click' say where it is heard.

    Returns
    -------
    tuple of ClickHit
        None after the entry where the incoming song starts in free time; none at all where
        neither song has a pulse and the recipe does not ask for clicks.
    """
    spans = [span_of(layer, time) for layer in layers if layer.source == "click"]
    if not spans and not time.outgoing.grid.is_heard and not time.incoming.grid.is_heard:
        return ()
    last = time.end_beat if time.incoming.grid.is_heard else time.entry_beat
    accents = {round(line.beat, 6) for line in bar_lines}
    starts = spans or [(_first_click(time), time.end_beat)]
    beats = {beat for start, end in starts for beat in _beats(start, min(end, last))}
    return tuple(
        ClickHit(beat=beat, kind="bar" if round(beat, 6) in accents else "beat")
        for beat in sorted(beats)
    )


def cue_notes(
    time: Timeline, key: Key, first_note: FirstNote | None, layers: tuple[RecipeLayer, ...] = ()
) -> tuple[CueNote, ...]:
    """The new root, its fifth, then the singer's first note until the entry.

    Parameters
    ----------
    first_note : FirstNote or None
        Without one, the root is repeated.
    layers : tuple of RecipeLayer
        The recipe's; the first with source 'cue' says where the cue is heard.

    Returns
    -------
    tuple of CueNote
        By itself the first note sounds from at least two bars before the entry.
    """
    bar = float(time.metre)
    spans = [span_of(layer, time) for layer in layers if layer.source == "cue"]
    default = (max(time.entry_beat - _CUE_BARS * bar, 0.0), time.entry_beat)
    start, end = spans[0] if spans else default
    root = _CUE_LOW_MIDI + (key.tonic - _CUE_LOW_MIDI) % N_PITCH_CLASSES
    half = bar / 2
    notes = [
        CueNote(start_beat=start, end_beat=start + half, midi=float(root)),
        CueNote(start_beat=start + half, end_beat=start + bar, midi=float(root + 7)),
    ]
    target = float(root) if first_note is None else first_note.midi
    held = start + bar
    while held < end - half:
        notes.append(CueNote(start_beat=held, end_beat=held + bar * 0.9, midi=target))
        held += bar
    return tuple(notes)


def _first_click(time: Timeline) -> float:
    count_in = time.entry_beat - COUNT_IN_BARS * time.metre
    moves = any(span.law != "hold" for span in time.tempo.spans)
    # A count-in that starts inside the outgoing song is counted from the entry backwards.
    first = min(count_in, time.exit_beat) if moves and count_in >= time.exit_beat else count_in
    return max(first, 0.0)


def _beats(start: float, end: float) -> Iterator[float]:
    beat = float(math.ceil(start - 1e-6))
    while beat < end - 1e-6:
        yield beat
        beat += 1.0
