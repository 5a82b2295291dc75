"""A chord path for people (a table) and for machines (a JSON object)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rich.console import Console

from segue.cli.hints import plain_table
from segue.music.chord import fit, tonic_triad
from segue.music.chord_path import PathStep
from segue.music.interval import difficulty_words, effort, reads_as, relation
from segue.music.tonal_space import key_distance
from segue.music.transposition import (
    FAR_DISTANCE,
    Advice,
    Move,
    n_open_chords,
    signature,
    transposition_advice,
)
from segue.music.voicing import voiced

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from segue.music.key import Key


@dataclass(frozen=True, slots=True, kw_only=True)
class PathSheet:
    """A path with everything that is told about it.

    Parameters
    ----------
    steps : tuple of PathStep
        The path, then the tonic it arrives at.
    voicings : tuple of tuple of int
        MIDI notes of each step, the bass first.
    """

    old: Key
    new: Key
    steps: tuple[PathStep, ...]
    voicings: tuple[tuple[int, ...], ...]

    @property
    def keys(self) -> tuple[Key, Key]:
        """Old and new key."""
        return self.old, self.new

    @property
    def distance(self) -> float:
        """Distance of the two keys, 0..1."""
        return key_distance(self.old, self.new)

    @property
    def sentence(self) -> str:
        """How the keys lie to each other."""
        gesture = reads_as(self.old, self.new)
        felt = "" if gesture == "neither" else f", which reads as a {gesture}"
        return f"{relation(self.old, self.new)}{felt}: {difficulty_words(self.old, self.new)}."

    @property
    def advice(self) -> Advice | None:
        """What moving the new song would do, where the keys are far apart."""
        if self.distance < FAR_DISTANCE:
            return None
        return transposition_advice(self.old, self.new)


def path_sheet(old: Key, new: Key, steps: Sequence[PathStep]) -> PathSheet:
    """A path with its arrival, voiced."""
    whole = (*steps, PathStep(chord=tonic_triad(new), key=new))
    return PathSheet(old=old, new=new, steps=whole, voicings=voiced([step.chord for step in whole]))


def print_path(sheet: PathSheet) -> None:
    """Print the chords, then what moving a song would do where the keys are far apart."""
    console = Console(soft_wrap=False)
    _print_sentence(console, f"{sheet.sentence}\n")
    keys = f"in {sheet.old}", f"in {sheet.new}"
    table = plain_table("", "chord", *keys, "notes, bass first", "")
    n_chords = len(sheet.steps) - 1
    for n, (step, notes) in enumerate(zip(sheet.steps, sheet.voicings, strict=True)):
        table.add_row(
            str(n + 1) if n < n_chords else "bar one",
            step.symbol,
            _numeral(step, sheet.old),
            _numeral(step, sheet.new),
            " ".join(_note_names(step, notes)),
            "pivot" if step.pivot_from is not None else "",
        )
    console.print(table, markup=False)
    if any(fit(step.chord, key) == "foreign" for step in sheet.steps for key in sheet.keys):
        _print_sentence(console, "(in brackets: foreign to that key)")
    if sheet.advice is not None:
        _print_advice(console, sheet.advice)


def path_report(sheet: PathSheet, out: Path | None) -> dict[str, Any]:
    """A path as JSON values.

    The last chord is the tonic of the entry.
    """
    return {
        "from": str(sheet.old),
        "to": str(sheet.new),
        "relation": relation(sheet.old, sheet.new),
        "reads_as": reads_as(sheet.old, sheet.new),
        "distance": round(sheet.distance, 4),
        "chords": [
            {
                "symbol": step.symbol,
                "roman_from": step.chord.roman(sheet.old),
                "roman_to": step.chord.roman(sheet.new),
                "fit_from": fit(step.chord, sheet.old),
                "fit_to": fit(step.chord, sheet.new),
                "is_pivot": step.pivot_from is not None,
                "notes": _note_names(step, notes),
                "notes_midi": list(notes),
            }
            for step, notes in zip(sheet.steps, sheet.voicings, strict=True)
        ],
        "out": None if out is None else str(out),
        "transposition": None if sheet.advice is None else _advice_report(sheet.advice),
    }


def _numeral(step: PathStep, key: Key) -> str:
    numeral = step.chord.roman(key)
    return f"({numeral})" if fit(step.chord, key) == "foreign" else numeral


def _note_names(step: PathStep, notes: Sequence[int]) -> list[str]:
    return [step.chord.note_in(midi, step.spelling_key) for midi in notes]


def _print_advice(console: Console, advice: Advice) -> None:
    _print_sentence(console, f"\n{advice.sentence}")
    for cost in advice.best.costs:
        _print_sentence(console, f"- {cost.sentence}")
    table = plain_table(
        "new song", "key", "change (1 is hardest)", "signature", "open guitar chords"
    )
    for move in advice.moves:
        table.add_row(
            f"{move.semitones:+d}" if move.semitones else "as it is",
            str(move.key),
            f"{effort(move.distance)} {move.distance:.2f}",
            signature(move.key),
            f"{n_open_chords(move.key)} of 3",
        )
    console.print()
    console.print(table, markup=False)


def _print_sentence(console: Console, sentence: str) -> None:
    """Print a sentence: wrapped between words on a terminal, on one line for other programs."""
    console.print(sentence, markup=False, highlight=False, soft_wrap=not console.is_terminal)


def _advice_report(advice: Advice) -> dict[str, Any]:
    return {
        "sentence": advice.sentence,
        "best_semitones": advice.best.semitones,
        "moves": [_move_report(move) for move in advice.moves],
    }


def _move_report(move: Move) -> dict[str, Any]:
    return {
        "semitones": move.semitones,
        "key": str(move.key),
        "distance": round(move.distance, 4),
        "sentence": move.sentence,
        "costs": [
            {"who": cost.who, "weight": round(cost.weight, 4), "sentence": cost.sentence}
            for cost in move.costs
        ],
    }
