"""What to do about a weak place: options of ``segue change`` that go at what a measure found.

A remedy is only offered where the recipe allows it. Whether it helps is told by the version that it
makes: its card lies beside the first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, TypeAlias

from segue.errors import SegueError
from segue.recipes.changed_recipe import (
    BRIDGE,
    with_bars,
    with_cadence,
    with_pad_sound,
    with_ramp,
    with_trim,
    without,
)
from segue.score.leaving import bar_to_enter_on, bar_to_leave_on, placed_on_phrases, source_s

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts
    from segue.plan.plan import Plan
    from segue.recipes.recipe import Recipe
    from segue.runfolder.run_records import CandidateRecord, RunDocument
    from segue.score import Measure

WEAK_MARK: Final = 0.75
"""From here down a finding is worth a remedy. Chosen by eye."""
_SAME_S: Final = 1e-3  # for rounding at a bar line
_RAMPS: Final = ("linear", "geometric")
_FEWEST_BARS: Final = 2  # shorter than that a bridge is a cut
_MOST_BARS: Final = 16  # longer bridges are nobody's remedy
_FULL_LU: Final = 3.0  # a bridge so near to the songs' level is full enough
_BED_LU: Final = 14.0  # where a talk bed lies best below the songs
_DRIVEN: Final = {
    "It does not lift": "build",
    "It does not calm": "dissolve",
    "It sags before bar one": "fill and go",
}
"""Recipes that go where a bridge should, by how the finding begins. Set by judgement."""
_MOST_LU: Final = 6.0  # of one change of level; more is another recipe's business


_TURNED: Final = ("--bars", "--level", "--enter", "--leave")  # what has one place at a time


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """A change that goes at a weak place.

    Parameters
    ----------
    words : str
        What it does: 'make the bridge longer'.
    options : tuple of str
        What the command takes for it: ('--bars', '8').
    command : {'change', 'between'}
        ``segue change DIR 2``, or ``segue between`` where the whole run is to be made again.
    """

    words: str
    options: tuple[str, ...]
    command: Literal["change", "between"] = "change"

    def contradicts(self, other: Remedy) -> bool:
        """Whether the other turns the same thing to another place."""
        one, two = self.options[:1], other.options[:1]
        return one == two and one[0] in _TURNED and self.options != other.options


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    measure: Measure
    plan: Plan
    facts: tuple[EdgeFacts, EdgeFacts]
    is_matched: bool  # whether both songs are at one loudness already
    recipe: Recipe
    n_bars: int
    is_late: bool  # whether it is nearer to the entry than to the exit


_Way: TypeAlias = Callable[[_Case], Remedy | None]


def remedies_of(
    document: RunDocument, record: CandidateRecord, costliest_first: Iterable[Measure]
) -> tuple[Remedy | None, ...]:
    """A remedy for each measure, None where there is none.

    One that would undo another, of a measure that costs more, is left out.
    """
    found: list[Remedy | None] = []
    for measure in costliest_first:
        remedy = remedy_of(document, record, measure)
        is_undoing = remedy is not None and any(
            remedy.contradicts(other) for other in found if other is not None
        )
        found.append(None if is_undoing else remedy)
    return tuple(found)


def remedy_of(document: RunDocument, record: CandidateRecord, measure: Measure) -> Remedy | None:
    """The first remedy that the recipe allows; None where the finding has none, or is no weak one.

    Runs of before there were versions have none: nothing of them can be changed.
    """
    if record.made is None or measure.score >= WEAK_MARK:
        return None
    n_bars = sum(bar.section == "interlude" for bar in record.bars)
    middle = (record.plan.exit_beat + record.plan.entry_beat) / 2.0
    case = _Case(
        measure=measure,
        plan=record.plan,
        facts=(document.outgoing, document.incoming),
        is_matched=document.sources is not None and document.sources.match,
        recipe=record.made.recipe,
        n_bars=n_bars,
        is_late=measure.worst_beat is not None and measure.worst_beat > middle,
    )
    for way in _WAYS.get(measure.name, ()):
        try:
            found: Remedy | None = way(case)
        except SegueError:  # this recipe does not allow it
            continue
        if found is not None:
            return found
    return None


def bar_of(record: CandidateRecord, measure: Measure) -> int | None:
    """Number of the bar in which a measure was worst; None where it has no place."""
    if measure.worst_beat is None:
        return None
    time_s = record.plan.seconds_at(measure.worst_beat)
    begun = [bar.number for bar in record.bars if bar.time_s <= time_s + _SAME_S]
    return begun[-1] if begun else None


def _longer(case: _Case) -> Remedy | None:
    n_bars = min(2 * case.n_bars, _MOST_BARS)
    if n_bars <= max(case.n_bars, 1):
        return None
    with_bars(case.recipe, n_bars)
    return Remedy(words="make the bridge longer", options=("--bars", f"{n_bars}"))


def _shorter(case: _Case) -> Remedy | None:
    n_bars = case.n_bars // 2
    if n_bars < _FEWEST_BARS or case.recipe.tempo.move in _RAMPS:
        return None  # a ramp would be squeezed
    with_bars(case.recipe, n_bars)
    return Remedy(words="make the bridge shorter", options=("--bars", f"{n_bars}"))


def _slower_ramp(case: _Case) -> Remedy | None:
    bars = min(2 * max(case.n_bars - case.recipe.tempo.steady_bars, 1), _MOST_BARS // 2)
    with_ramp(case.recipe, bars, None)
    return Remedy(words="let the tempo move over more bars", options=("--ramp", f"{bars}"))


def _bridge_by(case: _Case, by_lu: float) -> Remedy | None:
    wanted = max(min(round(by_lu), _MOST_LU), -_MOST_LU)
    if not wanted:
        return None
    with_trim(case.recipe, BRIDGE, wanted)
    side = "louder" if wanted > 0 else "softer"
    words = f"make the bridge {abs(wanted):g} LU {side}"
    return Remedy(words=words, options=("--level", f"{BRIDGE} {wanted:+g}"))


def _against_the_step(case: _Case) -> Remedy | None:
    """Half of a step between bridge and song: a fall into the bridge is met by a louder one."""
    step = case.measure.value
    return _bridge_by(case, (step if case.is_late else -step) / 2)


def _as_full_as_the_songs(case: _Case) -> Remedy | None:
    below = case.measure.value
    return _bridge_by(case, below) if abs(below) > _FULL_LU else None


def _under_words(case: _Case) -> Remedy | None:
    return _bridge_by(case, case.measure.value - _BED_LU)


def _the_way_it_should_go(case: _Case) -> Remedy | None:
    """What goes at the drive: by what was asked of the bridge."""
    told = case.measure.sentence
    if told.startswith("It lets the floor go"):
        return _bridge_by(case, case.measure.value / 2)
    for beginning, name in _DRIVEN.items():
        if told.startswith(beginning):
            return _recipe(name)(case)
    return None


def _without(word: str) -> _Way:
    def way(case: _Case) -> Remedy | None:
        without(case.recipe, word)
        return Remedy(words=f"leave out the {word}", options=("--without", word))

    return way


def _recipe(name: str) -> _Way:
    def way(case: _Case) -> Remedy | None:
        if case.recipe.name == name:
            return None
        return Remedy(words=f"take the recipe '{name}'", options=("--recipe", name))

    return way


def _cadence(case: _Case) -> Remedy | None:
    with_cadence(case.recipe, "dominant")
    words = "lead home with the dominant"
    return Remedy(words=words, options=("--cadence", "dominant"))


def _soft_pad(case: _Case) -> Remedy | None:
    if all(layer.sound == "warm" for layer in case.recipe.layers if layer.source == "pad"):
        return None
    with_pad_sound(case.recipe, "warm")
    return Remedy(words="play the pad warm", options=("--pad", "warm"))


def _leave_last_chord(case: _Case) -> Remedy | None:
    _ = case
    words = "leave on the last chord and let it ring"
    return Remedy(words=words, options=("--leave", "last chord"))


def _match(case: _Case) -> Remedy | None:
    if case.is_matched:
        return None
    words = "bring both songs to one loudness"
    return Remedy(words=words, options=("--match",), command="between")


def _on_phrase_starts(case: _Case) -> Remedy | None:
    """Both songs to the phrase starts that they were left or entered beside."""
    left, entered = placed_on_phrases(case.plan, case.facts)
    options: list[str] = []
    told = []
    if left is not None and left.mark < 1.0:
        options += ["--leave", bar_to_leave_on(case.plan, case.facts[0], left.phrase_s)]
        told.append("leave")
    if entered is not None and entered.mark < 1.0:
        options += ["--enter", bar_to_enter_on(case.facts[1], entered.phrase_s)]
        told.append("enter")
    if not told:
        return None
    return Remedy(words=f"{' and '.join(told)} on a phrase start", options=tuple(options))


def _bar_one_on_the_accent(case: _Case) -> Remedy | None:
    """Bars counted from the beat that is heard as beat one: that is a fact of the whole run."""
    facts, n_late = case.facts[1], round(case.measure.value)
    at_s = source_s(case.plan, "incoming", case.plan.entry_beat)
    if at_s is None or not 0 < n_late < facts.pulse.metre:
        return None
    words = f"take beat {n_late + 1} for beat 1, if that is where you count it"
    accent_s = f"{at_s + n_late * facts.pulse.beat_s:.2f}"
    return Remedy(words=words, options=("--new-downbeat", accent_s), command="between")


_WAYS: Final[dict[str, tuple[_Way, ...]]] = {
    "tonal_path": (_longer, _recipe("pivot-chord vamp")),
    "landing": (_longer, _recipe("pivot-chord vamp")),
    "key_arrival": (_longer,),
    "old_key": (_longer,),
    "runway": (_longer,),
    "cadence": (_cadence, _recipe("turnaround")),
    "consonance": (_without("pad"), _shorter),
    "tuning": (_without("pad"), _without("freeze"), _without("chords")),
    "tempo_change": (_slower_ramp, _recipe("tempo ramp")),
    "steady_beats": (_slower_ramp,),
    "level_match": (_match,),
    "bar_line": (_bar_one_on_the_accent,),
    "phrase": (_on_phrase_starts,),
    "pulse": (_recipe("groove in first"), _recipe("fill and go")),
    "fill": (_recipe("fill and go"),),
    "groove_clash": (_without("drums"), _shorter),
    "hole": (_shorter, _recipe("loop and hand over")),
    "cliff": (_against_the_step, _shorter),
    "bar_one": (_against_the_step,),
    "drive": (_the_way_it_should_go,),
    "fullness": (_as_full_as_the_songs, _recipe("walk the bass")),
    "speech_level": (_under_words,),
    "speech_room": (_without("drums"), _soft_pad, _recipe("talk bed")),
    "talk_length": (_longer,),
    "low_end": (_without("bass"), _shorter),
    "voices": (_shorter,),
    "last_chord": (_leave_last_chord,),
    "own_music": (_recipe("loop and hand over"),),
}
"""For each measure what goes at it, the best first. Set by judgement."""
