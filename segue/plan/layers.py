"""From a recipe's layers to the plan's: each source has a module that lays it out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from segue.plan.drums import drum_layer
from segue.plan.frozen import frozen_layer
from segue.plan.pads import pad_layer
from segue.plan.shaping import Planned
from segue.plan.song_layers import song_layer
from segue.plan.sweeps import reversed_layer, sweep_layer

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.plan.recipe import LayerSource, RecipeLayer
    from segue.plan.shaping import Setting


def planned_layer(layer: RecipeLayer, setting: Setting) -> Planned:
    """What becomes of a layer of a recipe on the music bus.

    Parameters
    ----------
    layer : RecipeLayer
    setting : Setting

    Returns
    -------
    Planned
        Nothing for the click and the cue, which have buses of their own, for a
        layer that is meant for stems where there are none, or the reverse, and
        for one that has no room between these songs.
    """
    start, end = setting.time.beat_of(layer.start), setting.time.beat_of(layer.end)
    if not _applies(layer, setting) or min(end, setting.time.end_beat) <= max(start, 0.0):
        return Planned()
    make = _MAKERS.get(layer.source)
    return Planned() if make is None else make(layer, setting)


def _applies(layer: RecipeLayer, setting: Setting) -> bool:
    if layer.only == "always":
        return True
    side = layer.source if layer.source in ("outgoing", "incoming") else layer.of
    has_stems = setting.outgoing_has_stems if side == "outgoing" else setting.incoming_has_stems
    return (layer.only == "stems") == has_stems


_MAKERS: Final[dict[LayerSource, Callable[[RecipeLayer, Setting], Planned]]] = {
    "outgoing": song_layer,
    "incoming": song_layer,
    "pad": pad_layer,
    "drum bridge": drum_layer,
    "frozen tail": frozen_layer,
    "reverse tail": reversed_layer,
    "riser": sweep_layer,
    "swell": sweep_layer,
}
