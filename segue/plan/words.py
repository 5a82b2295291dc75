"""What a plan says about itself: why it suits the pair, and what it cannot do.

What is told of a pad's chords: in which of the two keys they are at home.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Final

from segue.analysis.facts import EdgeFacts, KeyFact, have_keys
from segue.errors import listed
from segue.music.chord import own_chords
from segue.music.interval import interval_name, relation
from segue.music.key import N_PITCH_CLASSES, Key
from segue.music.tempo import bpm_number, percent
from segue.music.tonal_space import collection
from segue.plan.heard_words import ENDING_WORDS, OPENING_WORDS, keys_sentence
from segue.plan.layer import Layer, PadLayer, PlayedLayer, Voicing
from segue.plan.tempo_spans import entry_bpm, exit_bpm

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.plan.timeline import Timeline
    from segue.recipes.recipe import Recipe


def home_words(voicings: Sequence[Voicing], old: KeyFact, new: KeyFact) -> str:
    """Which of the chords are at home in which key, to follow the chords themselves.

    Parameters
    ----------
    old, new : KeyFact
        As the join was planned from.

    Returns
    -------
    str
        Such as 'all at home in A minor and in C major', or 'of which C is at home
        in E minor and in F minor'. Chords of only one key are told where none
        is of both. Empty where no chord is at home in either key.
    """
    if not old.is_known and not new.is_known:
        return "a guess, as no key was heard"
    by_place: dict[str, list[str]] = {}
    for symbol, notes_midi in {v.symbol: v.notes_midi for v in voicings}.items():
        by_place.setdefault(_place(notes_midi, old.key, new.key), []).append(symbol)
    if len(by_place) == 1 and "" not in by_place:
        return f"all at home in {next(iter(by_place))}"
    by_place.pop("", None)
    both = _both(old.key, new.key)
    told = {both: by_place[both]} if both in by_place else by_place
    homes = [f"{listed(symbols)} in {place}" for place, symbols in told.items()]
    if not homes:
        return ""
    verb = "is" if len(next(iter(told.values()))) == 1 else "are"
    return f"of which {', '.join(homes).replace(' in ', f' {verb} at home in ', 1)}"


def _place(notes_midi: tuple[int, ...], old: Key, new: Key) -> str:
    """Where a chord is at home, in words; empty for nowhere."""
    is_old, is_new = is_at_home(notes_midi, old), is_at_home(notes_midi, new)
    if is_old and is_new:
        return _both(old, new)
    return str(old) if is_old else str(new) if is_new else ""


def _both(old: Key, new: Key) -> str:
    return str(new) if old == new else f"{old} and in {new}"


def is_at_home(notes_midi: tuple[int, ...], key: Key) -> bool:
    """Whether it is a triad of the key, with nothing added but tones of its scale."""
    tones = {note % N_PITCH_CLASSES for note in notes_midi}
    triads = [set(chord.pitch_classes) for chord in own_chords(key)]
    return any(triad <= tones and tones - triad <= collection(key) for triad in triads)


TUNING_WARNING_CENTS: Final = 25.0
"""Mistuning that listeners tolerate in a melody (P. Larrouy-Maestri, Music Perception 35(3),
2018): told when the songs are further apart."""
_GUESS_CONFIDENCE: Final = 0.5
"""Below this a key is more likely wrong than right."""


def why(recipe: Recipe, time: Timeline, layers: tuple[Layer, ...]) -> str:
    """The recipe's sentence on why it suits a pair, with the pair's own facts.

    Parameters
    ----------
    layers : tuple of Layer
        The pads among them give the chords.
    """
    outgoing, incoming = time.outgoing.facts, time.incoming.facts
    old_bpm, new_bpm = exit_bpm(time.outgoing), entry_bpm(time.incoming)
    seconds = time.tempo.seconds_at(time.entry_beat) - time.tempo.seconds_at(time.exit_beat)
    ramp_beats = sum(span.n_beats for span in time.tempo.spans if span.law != "hold")
    steps = abs(math.expm1(math.log(new_bpm / (old_bpm * time.tempo_octave)) / max(ramp_beats, 1)))
    voicings = [
        v for layer in layers if isinstance(layer, PadLayer | PlayedLayer) for v in layer.voicings
    ]
    key_from, key_to = _key_words(outgoing, incoming)
    sentence = recipe.why.format(
        key_from=key_from,
        key_to=key_to,
        interval=interval_name(outgoing.key.key, incoming.key.key),
        relation=_relation(outgoing, incoming),
        tempo_from=bpm_number(old_bpm) if time.outgoing.grid.is_heard else "free time",
        tempo_to=bpm_number(new_bpm),
        bars=time.n_interlude_bars,
        seconds=f"{seconds:.0f}",
        percent_a_beat=f"{100 * steps:.1f}",
        chords=" - ".join(dict.fromkeys(v.symbol for v in voicings)),
        at_home=home_words(voicings, outgoing.key, incoming.key),
        ending=_ending_words(outgoing),
        opening=_opening_words(incoming),
    )
    sentence = _ONE_BAR.sub("1 bar", sentence)  # recipes say '{bars} bars'
    return sentence[:1].upper() + sentence[1:]


_ONE_BAR: Final = re.compile(r"\b1 bars\b")


def notes(time: Timeline, *, talk_s: float | None) -> tuple[str, ...]:
    """Sentences on what a plan cannot do or is unsure of.

    Parameters
    ----------
    talk_s : float or None
        What the singer wants for talking.
    """
    outgoing, incoming = time.outgoing.facts, time.incoming.facts
    said = []
    if not time.outgoing.grid.is_heard:
        said.append(f"No clear pulse at the end of '{outgoing.title}': its bars are a guess.")
    if not time.incoming.grid.is_heard:
        said.append(
            f"No clear pulse at the start of '{incoming.title}': it enters where its sound starts."
        )
    if time.incoming.fades_in:
        said.append(
            f"'{incoming.title}' fades in or starts softly: it comes up under the bridge, which "
            "ends where it is up, and not where it is hardly heard."
        )
    said += [*_about_key(outgoing, incoming), *_about_key(incoming, outgoing)]
    apart_cents = abs(outgoing.tuning_cents - incoming.tuning_cents)
    if apart_cents > TUNING_WARNING_CENTS:
        said.append(
            f"The two songs are tuned {apart_cents:.0f} cents apart: the pad glides from the one "
            "tuning to the other, the songs themselves keep theirs."
        )
    there_s = time.tempo.seconds_at(time.entry_beat) - time.tempo.seconds_at(time.exit_beat)
    if talk_s is not None and there_s < talk_s:
        said.append(
            f"Only {there_s:.0f} of the {talk_s:.0f} seconds of talk fit in: "
            "this recipe does not wait for the singer."
        )
    return tuple(said)


def _about_key(facts: EdgeFacts, other: EdgeFacts) -> list[str]:
    """What is to be said where the chords of the join rest on a guess."""
    fact, end = facts.key, "end" if facts.edge == "end" else "start"
    sentence = ""
    if not fact.is_known and other.key.is_known:
        sentence = f"{keys_sentence(facts, other)}, the key of '{other.title}'."
    elif not fact.is_known:
        sentence = f"No key was heard at the {end} of '{facts.title}': its chords are a guess."
    elif fact.source == "heard" and fact.confidence < _GUESS_CONFIDENCE:
        sentence = (
            f"The key at the {end} of '{facts.title}' is a guess ({fact.key}, "
            f"{percent(fact.confidence)}), and so are the chords."
        )
    return [sentence] if sentence else []


def _key_words(outgoing: EdgeFacts, incoming: EdgeFacts) -> tuple[str, str]:
    """What leads where: keys that were heard, or else the song; no key leads to itself."""
    old, new = outgoing.key, incoming.key
    is_same = have_keys(outgoing, incoming) and old.key == new.key
    return (
        str(old.key) if old.is_known and not is_same else "the old song",
        str(new.key) if new.is_known else "the new song",
    )


def _relation(outgoing: EdgeFacts, incoming: EdgeFacts) -> str:
    """How the keys lie to each other, where both songs have one."""
    if have_keys(outgoing, incoming):
        return relation(outgoing.key.key, incoming.key.key)
    if outgoing.key.is_known or incoming.key.is_known:  # each was given the other's
        return f"{incoming.key.key} is the only key that was heard"
    return f"'{outgoing.title}' and '{incoming.title}' have no key that was heard"


def _ending_words(facts: EdgeFacts) -> str:
    return ENDING_WORDS[facts.ending.kind] if facts.ending is not None else ""


def _opening_words(facts: EdgeFacts) -> str:
    return OPENING_WORDS[facts.opening.kind] if facts.opening is not None else ""
