"""One recipe and two sets of facts become one plan.

From a recipe's layers to the plan's: each source has a module that lays it out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from segue.plan.guides import click_hits, cue_notes
from segue.plan.lead_ins import drum_layer, frozen_layer, reversed_layer, sweep_layer
from segue.plan.loops import loop_layers
from segue.plan.pads import pad_layer
from segue.plan.places_asked import PlacesAsked, clock, end_as_asked, start_as_asked
from segue.plan.plan import Plan
from segue.plan.played import played_layer
from segue.plan.shaping import Planned, Setting
from segue.plan.song_levels import bridge_curve, song_levels
from segue.plan.song_maps import LEAD_IN_S, song_layer
from segue.plan.timeline import Timeline, timeline
from segue.plan.words import notes, why

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.analysis.facts import EdgeFacts
    from segue.recipes.recipe import LayerSource, Recipe, RecipeLayer


def planned_layer(layer: RecipeLayer, setting: Setting) -> Planned:
    """What becomes of a layer of a recipe on the music bus.

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


def _song(layer: RecipeLayer, setting: Setting) -> Planned:
    return (loop_layers if layer.loop_bars else song_layer)(layer, setting)


_MAKERS: Final[dict[LayerSource, Callable[[RecipeLayer, Setting], Planned]]] = {
    "outgoing": _song,
    "incoming": _song,
    "pad": pad_layer,
    "comp": played_layer,
    "bass": played_layer,
    "drum bridge": drum_layer,
    "frozen tail": frozen_layer,
    "reverse tail": reversed_layer,
    "riser": sweep_layer,
    "swell": sweep_layer,
    "impact": sweep_layer,
}


def plan_segue(  # noqa: PLR0913 - the recipe, the pair, and what is known about the evening
    recipe: Recipe,
    outgoing: EdgeFacts,
    incoming: EdgeFacts,
    *,
    outgoing_has_stems: bool = False,
    incoming_has_stems: bool = False,
    talk_s: float | None = None,
    match: bool = False,
    seed: int = 0,
    asked: PlacesAsked | None = None,
    heard_s: float | None = None,
) -> Plan:
    """Plan one segue.

    Parameters
    ----------
    outgoing, incoming : EdgeFacts
        End of the old song, start of the new one.
    outgoing_has_stems, incoming_has_stems : bool
        Whether layers can name roles; else they fall back on parts of the mix.
    match : bool
        Bring both songs to one loudness; else they keep the levels they have.
    asked : PlacesAsked, optional
        Where the musician wants to leave and to enter, and the bars between.
    heard_s : float or None
        How much of either song is kept at least, for drafts; None is enough to know it again.

    Raises
    ------
    TempoTooFarError
        If the recipe cannot bridge the two tempos.
    OptionError
        If a place asked for is not in what was read.
    ValueError
        If the facts are of the wrong edges.
    """
    asked = asked or PlacesAsked()
    time = timeline(
        end_as_asked(outgoing, asked),
        start_as_asked(incoming, asked),
        recipe,
        talk_s=talk_s,
        asked_bars=asked.n_bars,
        heard_s=heard_s,
    )
    bar_lines = time.bar_lines()
    setting = Setting(
        time=time,
        recipe_layers=recipe.layers,
        outgoing_has_stems=outgoing_has_stems,
        incoming_has_stems=incoming_has_stems,
        on_purpose=recipe.on_purpose,
    )
    planned = [planned_layer(layer, setting) for layer in recipe.layers]
    layers = tuple(layer for made in planned for layer in made.layers)
    under_talk = talk_s is not None and recipe.suits.talk == "either"
    levels = song_levels(outgoing, incoming, match=match)
    return Plan(
        recipe=recipe.name,
        family=recipe.family,
        why=why(recipe, time, layers),
        tempo=time.tempo,
        lead_in_s=LEAD_IN_S,
        exit_beat=time.exit_beat,
        entry_beat=time.entry_beat,
        end_beat=time.end_beat,
        singer_beat=_singer_beat(time),
        key_from=outgoing.key.key,
        key_to=incoming.key.key,
        tempo_octave=time.tempo_octave,
        bar_lines=bar_lines,
        layers=layers,
        click=click_hits(time, bar_lines, recipe.layers),
        cue=cue_notes(time, incoming.key.key, time.incoming.facts.first_note, recipe.layers),
        target_lufs=levels.target_lufs,
        outgoing_gain_db=levels.outgoing_gain_db,
        incoming_gain_db=levels.incoming_gain_db,
        key_from_tuning_cents=outgoing.tuning_cents,
        key_to_tuning_cents=incoming.tuning_cents,
        seed=seed,
        talk_s=talk_s,
        bridge_lu=bridge_curve(recipe.level, time, under_talk=under_talk),
        stop_beats=recipe.level.stop_bars * time.metre,
        exit_source_s=time.outgoing.grid.seconds_at(time.exit_index),
        entry_source_s=time.incoming.grid.seconds_at(time.incoming.entry_index),
        notes=(
            *asked_notes(recipe, time, asked),
            *notes(time, talk_s=talk_s),
            *(n for made in planned for n in made.notes),
        ),
    )


def asked_notes(recipe: Recipe, time: Timeline, asked: PlacesAsked) -> tuple[str, ...]:
    """Sentences on what of the musician's places and bars was moved or clipped."""
    said = [time.outgoing.moved, time.incoming.moved]
    left = time.outgoing.left_index
    if left is not None and asked.leave is not None and time.exit_index != left:
        at_s = time.outgoing.grid.seconds_at(time.exit_index)
        said.append(
            f"Leave at {asked.leave.text}: '{recipe.name}' plays on with the old song, "
            f"so its bridge begins at {clock(at_s)}."
        )
    if asked.n_bars is not None and time.n_interlude_bars != asked.n_bars:
        least, most = recipe.length.least, recipe.length.most
        said.append(
            f"{asked.n_bars} bars asked: '{recipe.name}' can do {least} to {most}, "
            f"and takes {time.n_interlude_bars} here."
            if least < most
            else f"{asked.n_bars} bars asked: '{recipe.name}' takes {time.n_interlude_bars} here."
        )
    return tuple(sentence for sentence in said if sentence)


def _singer_beat(time: Timeline) -> float | None:
    first_note = time.incoming.facts.first_note
    if first_note is None:
        return None
    song = time.incoming
    after_s = first_note.time_s - song.grid.seconds_at(song.entry_index)
    beat = time.tempo.beat_at(time.tempo.seconds_at(time.entry_beat) + after_s)
    return beat if beat < time.end_beat else None
