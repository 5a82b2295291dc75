"""One recipe and two sets of facts become one plan."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from segue.music.interval import interval_name, relation
from segue.plan.edges import song_end, song_start
from segue.plan.guides import click_hits, cue_notes
from segue.plan.layers import LEAD_IN_S, pad_layer, song_layer
from segue.plan.plan import PadLayer, Plan
from segue.plan.timeline import entry_bpm, exit_bpm, timeline

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts
    from segue.plan.plan import Layer
    from segue.plan.recipe import Recipe, RecipeLayer
    from segue.plan.timeline import Timeline

TARGET_LUFS: Final = -16.0
"""Loudest level both songs are brought to: leaves room above for peaks, which stretching
raises by up to 6 dB, so that the limiter has almost nothing to do. Chosen on the demo songs."""

QUIETEST_LUFS: Final = -40.0
"""A song quieter than this (or silent) does not pull the other one down with it."""


def plan_segue(
    recipe: Recipe,
    outgoing: EdgeFacts,
    incoming: EdgeFacts,
    *,
    outgoing_has_stems: bool = False,
    incoming_has_stems: bool = False,
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
    seed : int
        For everything random in the render.

    Returns
    -------
    Plan

    Raises
    ------
    ValueError
        If the facts are of the wrong edges.
    """
    time = timeline(song_end(outgoing), song_start(incoming), recipe)
    bar_lines = time.bar_lines()
    stems = {"outgoing": outgoing_has_stems, "incoming": incoming_has_stems}
    layers = tuple(
        _layer(layer, time, outgoing, incoming)
        for layer in recipe.layers
        if _applies(layer, stems=stems.get(layer.source, True))
    )
    target = _target_lufs(outgoing, incoming)
    return Plan(
        recipe=recipe.name,
        family=recipe.family,
        why=_why(recipe, time, layers, outgoing, incoming),
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
        click=click_hits(time, bar_lines),
        cue=cue_notes(time, incoming.key.key, incoming.first_note),
        target_lufs=target,
        outgoing_gain_db=_gain_db(outgoing, target),
        incoming_gain_db=_gain_db(incoming, target),
        key_from_tuning_cents=outgoing.tuning_cents,
        key_to_tuning_cents=incoming.tuning_cents,
        seed=seed,
        notes=_notes(time, outgoing, incoming),
    )


def _layer(layer: RecipeLayer, time: Timeline, outgoing: EdgeFacts, incoming: EdgeFacts) -> Layer:
    if layer.source == "pad":
        return pad_layer(layer, time, old=outgoing.key.key, new=incoming.key.key)
    return song_layer(layer, time)


def _applies(layer: RecipeLayer, *, stems: bool) -> bool:
    return layer.only == "always" or (layer.only == "stems") == stems


def _target_lufs(outgoing: EdgeFacts, incoming: EdgeFacts) -> float:
    levels = [f.level.loudness_lufs for f in (outgoing, incoming)]
    return min([TARGET_LUFS, *(x for x in levels if x > QUIETEST_LUFS)])


def _gain_db(facts: EdgeFacts, target_lufs: float) -> float:
    loudness = facts.level.loudness_lufs
    return target_lufs - loudness if math.isfinite(loudness) and loudness > QUIETEST_LUFS else 0.0


def _singer_beat(time: Timeline) -> float | None:
    first_note = time.incoming.facts.first_note
    if first_note is None:
        return None
    song = time.incoming
    after_s = first_note.time_s - song.grid.seconds_at(song.entry_index)
    beat = time.tempo.beat_at(time.tempo.seconds_at(time.entry_beat) + after_s)
    return beat if beat < time.end_beat else None


def _why(
    recipe: Recipe,
    time: Timeline,
    layers: tuple[Layer, ...],
    outgoing: EdgeFacts,
    incoming: EdgeFacts,
) -> str:
    old_bpm, new_bpm = exit_bpm(time.outgoing), entry_bpm(time.incoming)
    seconds = time.tempo.seconds_at(time.entry_beat) - time.tempo.seconds_at(time.exit_beat)
    ramp_beats = sum(span.n_beats for span in time.tempo.spans if span.law != "hold")
    steps = abs(math.expm1(math.log(new_bpm / (old_bpm * time.tempo_octave)) / max(ramp_beats, 1)))
    symbols = dict.fromkeys(
        v.symbol for layer in layers if isinstance(layer, PadLayer) for v in layer.voicings
    )
    return recipe.why.format(
        key_from=outgoing.key.key,
        key_to=incoming.key.key,
        interval=interval_name(outgoing.key.key, incoming.key.key),
        relation=relation(outgoing.key.key, incoming.key.key),
        tempo_from=f"{old_bpm:.0f}",
        tempo_to=f"{new_bpm:.0f}",
        bars=time.n_interlude_bars,
        seconds=f"{seconds:.0f}",
        percent_a_beat=f"{100 * steps:.1f}",
        chords=" - ".join(symbols),
        ending=_ending_words(outgoing),
        opening=_opening_words(incoming),
    )


def _ending_words(facts: EdgeFacts) -> str:
    words = {
        "keeps going": "keeps going to the end",
        "cold stop": "stops cold",
        "ring-out": "rings out",
        "fade": "fades",
    }
    return words[facts.ending.kind] if facts.ending is not None else ""


def _opening_words(facts: EdgeFacts) -> str:
    words = {
        "on the beat": "starts on the beat",
        "pick-up": "starts on a pick-up",
        "free intro": "starts in free time",
    }
    return words[facts.opening.kind] if facts.opening is not None else ""


def _notes(time: Timeline, outgoing: EdgeFacts, incoming: EdgeFacts) -> tuple[str, ...]:
    notes = []
    if not time.outgoing.grid.is_heard:
        notes.append(f"No clear pulse at the end of '{outgoing.title}': its bars are only a ruler.")
    if not time.incoming.grid.is_heard:
        notes.append(
            f"No clear pulse at the start of '{incoming.title}': "
            "it enters where it starts to sound."
        )
    apart_cents = abs(outgoing.tuning_cents - incoming.tuning_cents)
    if apart_cents > TUNING_WARNING_CENTS:
        notes.append(
            f"The two songs are tuned {apart_cents:.0f} cents apart; the pad follows the new one."
        )
    return tuple(notes)


TUNING_WARNING_CENTS: Final = 25.0
"""Mistuning that listeners tolerate in a melody (P. Larrouy-Maestri, Music Perception 35(3),
2018): told when the songs are further apart."""
