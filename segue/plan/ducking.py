"""Room for the singer's voice: what plays in the interlude steps back while there is talk."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from segue.plan.layer import Curve, CurvePoint, SongLayer
from segue.plan.shaping import summed

if TYPE_CHECKING:
    from segue.plan.layer import Layer
    from segue.plan.timeline import Timeline

TALK_DUCK_DB: Final = -14.0
"""What plays under a talk that it was not written for is brought down this much: with the few
decibels of its own below the songs, to 15 LU under them. Set by judgement."""


def ducked(layers: tuple[Layer, ...], time: Timeline) -> tuple[Layer, ...]:
    """The layers with everything but the songs themselves down for talk until the last bar.

    Parameters
    ----------
    layers : tuple of Layer
    time : Timeline

    Returns
    -------
    tuple of Layer
    """
    duck = _duck(time)
    return tuple(
        layer
        if isinstance(layer, SongLayer) and (layer.start_beat < time.exit_beat - time.metre)
        else _lower(layer, duck, time)
        for layer in layers
    )


def _lower(layer: Layer, duck: Curve, time: Timeline) -> Layer:
    if layer.start_beat >= time.entry_beat - time.metre:
        return layer
    return replace(layer, gain_db=summed(layer.gain_db, duck))


def _duck(time: Timeline) -> Curve:
    """Down within half a bar from the exit, up again over the first half of the last bar."""
    half = time.metre / 2
    last_bar = time.entry_beat - time.metre
    return (
        CurvePoint(beat=time.exit_beat, value=0.0),
        CurvePoint(beat=time.exit_beat + half, value=TALK_DUCK_DB),
        CurvePoint(beat=last_bar, value=TALK_DUCK_DB),
        CurvePoint(beat=last_bar + half, value=0.0),
    )
