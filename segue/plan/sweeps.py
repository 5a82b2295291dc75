"""What leads into the entry: risers, swells, the new song's first bar backwards, an impact."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

from segue.music.key import N_PITCH_CLASSES
from segue.plan.grid import SAME_BEAT
from segue.plan.layer import ReversedLayer, SweepLayer
from segue.plan.shaping import Planned, shaping, span_of
from segue.plan.song_levels import starts_softly
from segue.plan.song_maps import pickup_beat

if TYPE_CHECKING:
    from segue.plan.shaping import Setting
    from segue.recipes.recipe import RecipeLayer

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
    An impact falls to the new key's tonic. Neither is played into a song that starts softly: a
    riser that is over by the entry and an impact call a hit that does not come.

    Parameters
    ----------
    layer : RecipeLayer
        With source 'riser', 'swell' or 'impact'.
    """
    time, new = setting.time, setting.time.incoming.facts
    start, end = span_of(layer, time)
    if layer.source != "swell" and starts_softly(time.outgoing.facts, new):
        name = layer.name or layer.source
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
        return Planned(notes=(f"'{layer.name or layer.source}' gives way to the pick-up.",))
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
