"""Which of what was heard is a question to the song's owner.

A question has two or three answers, and each answer is what would be written beside the song.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, get_args

from segue.analysis.doubts import rival_tempi_bpm
from segue.analysis.facts import SURE_CONFIDENCE
from segue.audio.clip import EndingKind, OpeningKind

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts, KeyFact, PulseFact

_UNSURE: Final = 0.5  # confidence below which a kind or a bar line is asked about; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One answer to a question.

    Parameters
    ----------
    field : str
        Of `EndToml`, as it is written down.
    value : str or float
        What is written.
    click_bpm : float or None
        Tempo at which a click is heard with it.
    chord : tuple of int
        Notes of a chord that is heard with it, as MIDI numbers.
    """

    words: str
    field: str
    value: str | float
    click_bpm: float | None = None
    chord: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A doubt of the ears, with its answers; the likeliest comes first."""

    words: str
    answers: tuple[Answer, ...] = ()


def questions_of(facts: EdgeFacts) -> tuple[Question, ...]:
    """Doubts about an end that its owner can settle, the weightiest first."""
    found = [_about_key(facts.key), _about_tempo(facts.pulse)]
    if facts.pulse.is_known and facts.pulse.downbeat_confidence < _UNSURE:
        found.append(Question(words="Is bar one right? Play with the click, and nudge it if not."))
    ending, opening = facts.ending, facts.opening
    if ending is not None and ending.confidence < _UNSURE:
        found.append(_about_kind("How does it end?", "ending", ending.kind, get_args(EndingKind)))
    if opening is not None and opening.confidence < _UNSURE:
        kinds = get_args(OpeningKind)
        found.append(_about_kind("How does it start?", "opening", opening.kind, kinds))
    return tuple(question for question in found if question is not None)


def _about_key(fact: KeyFact) -> Question | None:
    if fact.source == "given" or (fact.is_known and fact.confidence >= SURE_CONFIDENCE):
        return None
    keys = dict.fromkeys([fact.key, *(runner.key for runner in fact.runners_up)])
    answers = tuple(
        Answer(
            words=str(key),
            field="key",
            value=str(key),
            chord=tuple(60 + (key.tonic + n) % 12 for n in (0, 3 if key.mode == "minor" else 4, 7)),
        )
        for key in list(keys)[:3]
    )
    return Question(words="Which key is it?", answers=answers)


def _about_tempo(pulse: PulseFact) -> Question | None:
    if pulse.source == "given" or (pulse.is_known and pulse.confidence >= SURE_CONFIDENCE):
        return None
    tempi = list(dict.fromkeys([pulse.tempo_bpm, *rival_tempi_bpm(pulse)]))[:3]
    answers = tuple(
        Answer(words=f"{bpm:.0f} BPM", field="tempo_bpm", value=round(bpm, 3), click_bpm=bpm)
        for bpm in tempi
    )
    return Question(words="Which tempo do you count?", answers=answers)


def _about_kind(words: str, name: str, heard: str, kinds: tuple[str, ...]) -> Question:
    likely = [heard, *(kind for kind in kinds if kind != heard)][:3]
    return Question(
        words=words,
        answers=tuple(Answer(words=kind, field=name, value=kind) for kind in likely),
    )
