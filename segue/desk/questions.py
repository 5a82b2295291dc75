"""Which of what was heard is a question to the song's owner.

A question has two or three answers, and each answer is what would be written beside the song.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, get_args

from segue.analysis.doubts import Settling, rival_tempi_bpm, settling
from segue.analysis.facts import SURE_CONFIDENCE, EdgeFacts, FirstNote, KeyFact, PulseFact
from segue.audio.clip import EndingKind, OpeningKind
from segue.music.key import Key, note_in
from segue.music.tempo import bpm_number

_UNSURE: Final = 0.5  # confidence below which a kind or a bar line is asked about; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One answer to a question.

    Parameters
    ----------
    field : str
        Of `EndToml`, as it is written down.
    click_bpm : float or None
        Tempo at which a click is heard with it.
    bar_one_s : float or None
        Where the click counts one with it.
    metre : int or None
        Beats a bar that the click counts with it.
    chord : tuple of int
        Notes of a chord that is heard with it, as MIDI numbers.
    """

    words: str
    field: str
    value: str | float
    click_bpm: float | None = None
    bar_one_s: float | None = None
    metre: int | None = None
    chord: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A doubt of the ears, with its answers; the likeliest comes first.

    Parameters
    ----------
    hear_from_s : float or None
        From where the song itself tells the answer; None where each answer is heard by itself.
    """

    words: str
    answers: tuple[Answer, ...] = ()
    hear_from_s: float | None = None


def questions_of(facts: EdgeFacts) -> tuple[Question, ...]:
    """Doubts about an end that its owner can settle, the weightiest first."""
    found = [_about_key(facts.key), _about_tempo(facts.pulse), *_about_bars(facts.pulse)]
    ending, opening, note = facts.ending, facts.opening, facts.first_note
    if ending is not None and ending.confidence < _UNSURE:
        from_s = max(ending.last_hit_s - _BEFORE_THE_END_S, facts.edge_start_s)
        asked = _about_kind("How does it end?", "ending", ending.kind, get_args(EndingKind))
        found.append(replace(asked, hear_from_s=from_s))
    if opening is not None and opening.confidence < _UNSURE:
        kinds = get_args(OpeningKind)
        asked = _about_kind("How does it start?", "opening", opening.kind, kinds)
        found.append(replace(asked, hear_from_s=facts.edge_start_s))
    if note is not None and note.confidence < _UNSURE:
        found.append(_about_note(note, facts.key.key))
    return tuple(question for question in found if question is not None)


def remarks_of(facts: EdgeFacts) -> tuple[str, ...]:
    """Doubts that no answer settles: to be read, and listened for."""
    return tuple(d for d in facts.doubts if not set(settling(facts, d)) & _ASKED)


_ASKED: Final[frozenset[Settling]] = frozenset(
    {"key", "tempo", "downbeat", "metre", "ending", "opening"}
)
"""What questions are asked about."""
_BEFORE_THE_END_S: Final = 8.0  # of the song before its last hit; by judgement


def _about_key(fact: KeyFact) -> Question | None:
    if fact.source == "given" or (fact.is_known and fact.confidence >= SURE_CONFIDENCE):
        return None
    keys = dict.fromkeys(
        [fact.key, *(runner.key for runner in fact.runners_up), _relative(fact.key)]
    )
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


def _relative(key: Key) -> Key:
    """The key of the same notes: what a key is most easily misheard for."""
    if key.mode == "minor":
        return Key(tonic=key.relative_major_tonic, mode="major")
    return Key(tonic=(key.tonic - 3) % 12, mode="minor")


def _about_tempo(pulse: PulseFact) -> Question | None:
    if pulse.source == "given" or (pulse.is_known and pulse.confidence >= SURE_CONFIDENCE):
        return None
    tempi = list(dict.fromkeys([pulse.tempo_bpm, *rival_tempi_bpm(pulse)]))[:3]
    answers = tuple(
        Answer(
            words=f"{bpm_number(bpm)} BPM", field="tempo_bpm", value=round(bpm, 3), click_bpm=bpm
        )
        for bpm in tempi
    )
    return Question(words="Which tempo do you count?", answers=answers)


def _about_bars(pulse: PulseFact) -> list[Question]:
    """Which beat is one, and how many there are."""
    if not pulse.is_known or pulse.downbeat_confidence >= _UNSURE or not pulse.downbeats_s:
        return []
    one_s = pulse.downbeats_s[len(pulse.downbeats_s) // 2]
    ones = [
        Answer(
            words=words,
            field="first_downbeat_s",
            value=round(one_s + n * pulse.beat_s, 4),
            bar_one_s=one_s + n * pulse.beat_s,
            metre=pulse.metre,
        )
        for n, words in ((0, "as it is drawn"), (1, "a beat later"), (-1, "a beat earlier"))
    ]
    others = [n for n in _COMMON_METRES if n != pulse.metre][:1]
    metres = [
        Answer(words=f"{n} beats a bar", field="metre", value=n, bar_one_s=one_s, metre=n)
        for n in (pulse.metre, *others)
    ]
    return [
        Question(words="Which beat is one?", answers=tuple(ones)),
        Question(words="How many beats has a bar?", answers=tuple(metres)),
    ]


_COMMON_METRES: Final = (4, 3)  # the two most songs have; common practice, no source


def _about_note(note: FirstNote, key: Key) -> Question:
    midi = round(note.midi)
    answers = tuple(
        Answer(words=note_in(m, key), field="first_note", value=note_in(m, key), chord=(m,))
        for m in (midi, midi - _OCTAVE, midi + _OCTAVE)
    )
    return Question(words="Which note does the singer begin on?", answers=answers)


_OCTAVE: Final = 12  # semitones; a pitch is most easily misheard by one


def _about_kind(words: str, name: str, heard: str, kinds: tuple[str, ...]) -> Question:
    likely = [heard, *(kind for kind in kinds if kind != heard)][:3]
    return Question(
        words=words, answers=tuple(Answer(words=kind, field=name, value=kind) for kind in likely)
    )
