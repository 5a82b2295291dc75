"""One recipe and two sets of facts become one plan."""

from __future__ import annotations

from typing import TYPE_CHECKING

from segue.plan.ducking import ducked
from segue.plan.edges import song_end, song_start
from segue.plan.guides import click_hits, cue_notes
from segue.plan.layers import planned_layer
from segue.plan.levels import song_levels
from segue.plan.plan import Plan
from segue.plan.shaping import Setting
from segue.plan.song_maps import LEAD_IN_S
from segue.plan.timeline import timeline
from segue.plan.words import notes, why

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts
    from segue.plan.recipe import Recipe
    from segue.plan.timeline import Timeline


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
) -> Plan:
    """Plan one way across.

    Parameters
    ----------
    recipe : Recipe
    outgoing, incoming : EdgeFacts
        End of the old song, start of the new one.
    outgoing_has_stems, incoming_has_stems : bool
        Whether layers can name roles; else they fall back on parts of the mix.
    talk_s : float or None
        What the singer wants for talking inside the interlude.
    match : bool
        Bring both songs to one loudness; else they keep the levels they have.
    seed : int
        For everything random in the render.

    Returns
    -------
    Plan

    Raises
    ------
    TempoTooFarError
        If the recipe cannot bridge the two tempos.
    ValueError
        If the facts are of the wrong edges.
    """
    time = timeline(song_end(outgoing), song_start(incoming), recipe, talk_s=talk_s)
    bar_lines = time.bar_lines()
    setting = Setting(
        time=time,
        outgoing_has_stems=outgoing_has_stems,
        incoming_has_stems=incoming_has_stems,
        on_purpose=recipe.on_purpose,
    )
    planned = [planned_layer(layer, setting) for layer in recipe.layers]
    layers = tuple(layer for made in planned for layer in made.layers)
    if talk_s is not None and recipe.suits.talk == "either":
        layers = ducked(layers, time)
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
        cue=cue_notes(time, incoming.key.key, incoming.first_note, recipe.layers),
        target_lufs=levels.target_lufs,
        outgoing_gain_db=levels.outgoing_gain_db,
        incoming_gain_db=levels.incoming_gain_db,
        key_from_tuning_cents=outgoing.tuning_cents,
        key_to_tuning_cents=incoming.tuning_cents,
        seed=seed,
        talk_s=talk_s,
        notes=(*notes(time, talk_s=talk_s), *(n for made in planned for n in made.notes)),
    )


def _singer_beat(time: Timeline) -> float | None:
    first_note = time.incoming.facts.first_note
    if first_note is None:
        return None
    song = time.incoming
    after_s = first_note.time_s - song.grid.seconds_at(song.entry_index)
    beat = time.tempo.beat_at(time.tempo.seconds_at(time.entry_beat) + after_s)
    return beat if beat < time.end_beat else None
