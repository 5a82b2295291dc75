"""What a plan says about itself: why it suits the pair, and what it cannot do."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from segue.music.interval import interval_name, relation
from segue.plan.layer import PadLayer
from segue.plan.tempo_spans import entry_bpm, exit_bpm

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts
    from segue.plan.layer import Layer
    from segue.plan.recipe import Recipe
    from segue.plan.timeline import Timeline

TUNING_WARNING_CENTS: Final = 25.0
"""Mistuning that listeners tolerate in a melody (P. Larrouy-Maestri, Music Perception 35(3),
2018): told when the songs are further apart."""


def why(recipe: Recipe, time: Timeline, layers: tuple[Layer, ...]) -> str:
    """The recipe's sentence on why it suits a pair, with the pair's own facts.

    Parameters
    ----------
    recipe : Recipe
    time : Timeline
    layers : tuple of Layer
        The pads among them give the chords.

    Returns
    -------
    str
    """
    outgoing, incoming = time.outgoing.facts, time.incoming.facts
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


def notes(time: Timeline, *, talk_s: float | None) -> tuple[str, ...]:
    """Sentences on what a plan cannot do or is unsure of.

    Parameters
    ----------
    time : Timeline
    talk_s : float or None
        What the singer wants for talking.

    Returns
    -------
    tuple of str
    """
    outgoing, incoming = time.outgoing.facts, time.incoming.facts
    said = []
    if not time.outgoing.grid.is_heard:
        said.append(f"No clear pulse at the end of '{outgoing.title}': its bars are only a ruler.")
    if not time.incoming.grid.is_heard:
        said.append(
            f"No clear pulse at the start of '{incoming.title}': "
            "it enters where it starts to sound."
        )
    apart_cents = abs(outgoing.tuning_cents - incoming.tuning_cents)
    if apart_cents > TUNING_WARNING_CENTS:
        said.append(
            f"The two songs are tuned {apart_cents:.0f} cents apart; the pad follows the new one."
        )
    there_s = time.tempo.seconds_at(time.entry_beat) - time.tempo.seconds_at(time.exit_beat)
    if talk_s is not None and there_s < talk_s:
        said.append(
            f"Only {there_s:.0f} of the {talk_s:.0f} seconds of talk fit in: "
            "this recipe does not wait for the singer."
        )
    return tuple(said)


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
