"""Drum bridges: a pattern of signs becomes hits on the plan's beats."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, get_args

from segue.plan.grid import SAME_BEAT
from segue.plan.layer import Drum, DrumHit, DrumLayer
from segue.plan.shaping import Planned, shaping, span_of

if TYPE_CHECKING:
    from segue.plan.shaping import Setting
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

    A pattern of whole bars is played as it stands. One written in four is cut
    off, or begun again, at every bar line of another metre.

    Parameters
    ----------
    start, end : float
        Beats; a bar line at the start.

    Returns
    -------
    tuple of DrumHit
        Ascending in beats.

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
    placed = []
    for n in range(n_steps):
        bar, step = divmod(n, metre * steps_a_beat)
        written = bars[bar % len(bars)]
        placed.append((start + n / steps_a_beat, written[step % len(written)]))
    return [(beat, sign) for beat, sign in placed if beat < end - SAME_BEAT]


def _written_bars(row: str, steps_a_beat: int, metre: int) -> list[str]:
    for beats in (metre, _WRITTEN_METRE):
        n_steps = beats * steps_a_beat
        if len(row) % n_steps == 0:
            return [row[a : a + n_steps] for a in range(0, len(row), n_steps)]
    return [row]
