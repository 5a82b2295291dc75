"""What every kind of planned layer takes from its recipe: a name and curves in beats."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain, pairwise
from typing import TYPE_CHECKING, TypedDict

from segue.plan.layer import Curve, CurvePoint, Layer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.plan.timeline import Timeline
    from segue.recipes.recipe import Breakpoint, Purposely, RecipeLayer


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What the layers of one plan are laid out on.

    Parameters
    ----------
    recipe_layers : tuple of RecipeLayer
        All of the recipe's: what plays chords with another keeps to the same ones.
    on_purpose : tuple of {'two vocals', 'two bass lines'}
        What the recipe lets sound at once.
    """

    time: Timeline
    recipe_layers: tuple[RecipeLayer, ...]
    outgoing_has_stems: bool = False
    incoming_has_stems: bool = False
    on_purpose: tuple[Purposely, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """What became of one layer of a recipe: none, one or many, and what is to be said."""

    layers: tuple[Layer, ...] = ()
    notes: tuple[str, ...] = ()


class ShapingFields(TypedDict):
    """The fields of `segue.plan.layer.Shaping`."""

    name: str
    gain_db: Curve
    lowpass_hz: Curve
    highpass_hz: Curve
    pan: Curve
    reverb_db: Curve
    echo_db: Curve
    echo_beats: float
    trim_db: float


def shaping(layer: RecipeLayer, time: Timeline, *, name: str = "") -> ShapingFields:
    """The name and the curves of a layer, placed in beats.

    Parameters
    ----------
    name : str
        Instead of the layer's own; without either it is called after its source.
    """
    return ShapingFields(
        name=name or layer.called,
        gain_db=placed(layer.gain_db, time),
        lowpass_hz=placed(layer.lowpass_hz, time),
        highpass_hz=placed(layer.highpass_hz, time),
        pan=placed(layer.pan, time),
        reverb_db=placed(layer.reverb_db, time),
        echo_db=placed(layer.echo_db, time),
        echo_beats=layer.echo_beats,
        trim_db=layer.trim_db,
    )


def placed(points: Sequence[Breakpoint], time: Timeline) -> Curve:
    """A recipe's curve in beats, ascending."""
    curve = (CurvePoint(beat=time.beat_of(p.at), value=p.value) for p in points)
    return tuple(sorted(curve, key=lambda point: point.beat))


def span_of(layer: RecipeLayer, time: Timeline) -> tuple[float, float]:
    """First and last beat of a layer, inside the plan."""
    start, end = time.beat_of(layer.start), time.beat_of(layer.end)
    return max(start, 0.0), min(end, time.end_beat)


def value_at(curve: Curve, beat: float, *, empty: float = 0.0) -> float:
    """Value of a curve at a beat, held flat outside its breakpoints.

    Examples
    --------
    >>> value_at((CurvePoint(beat=0, value=0.0), CurvePoint(beat=4, value=-8.0)), 1)
    -2.0
    """
    if not curve or beat <= curve[0].beat:
        return curve[0].value if curve else empty
    for a, b in pairwise(curve):
        if beat < b.beat:
            return a.value + (b.value - a.value) * (beat - a.beat) / (b.beat - a.beat)
    return curve[-1].value


def summed(a: Curve, b: Curve) -> Curve:
    """Two curves added up, with the breakpoints of both.

    Examples
    --------
    >>> ramp = (CurvePoint(beat=0, value=0.0), CurvePoint(beat=4, value=-8.0))
    >>> [p.value for p in summed(ramp, (CurvePoint(beat=2, value=-10.0),))]
    [-10.0, -14.0, -18.0]
    """
    beats = sorted({point.beat for point in chain(a, b)})
    return tuple(CurvePoint(beat=x, value=value_at(a, x) + value_at(b, x)) for x in beats)
