"""What a MIDI file is to hold, by beats: of one plan, or of many put after each other.

With the places of a plan that have a name: sections, bar one of the new song, the singer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from segue.music.key import Key
    from segue.plan import Plan
    from segue.plan.layer import Voicing
    from segue.plan.plan import ClickHit, CueNote

TICKS_A_BEAT: Final = 960  # division of the MIDI file: halves, thirds and fifths are whole ticks


@dataclass(frozen=True, slots=True, kw_only=True)
class Marker:
    """A named place.

    Parameters
    ----------
    beat : float
        Of the plan; beat 0 is where all files of a pack start.
    time_s : float
        From beat 0.
    """

    beat: float
    time_s: float
    name: str


def markers_of(
    plan: Plan, *, from_title: str, to_title: str, is_free: bool = False
) -> tuple[Marker, ...]:
    """Named places of a plan, in order.

    Parameters
    ----------
    is_free : bool
        Whether the new one starts without a pulse, and so has no bar one.

    Returns
    -------
    tuple of Marker
        Places within a thousandth of a beat of each other are one marker.
    """
    places: dict[float, list[str]] = {}
    has_bar = plan.enters_on_a_bar and not is_free
    entry = f"{to_title}, bar one" if has_bar else f"{to_title} starts"
    for beat, name in sorted(_places(plan, from_title, entry), key=lambda place: place[0]):
        places.setdefault(round(beat, 3), []).append(name)
    return tuple(
        Marker(beat=beat, time_s=plan.tempo.seconds_at(beat), name=", ".join(names))
        for beat, names in places.items()
    )


def _places(plan: Plan, from_title: str, entry: str) -> Iterator[tuple[float, str]]:
    yield 0.0, from_title
    if plan.entry_beat > plan.exit_beat:
        yield plan.exit_beat, "segue"
    first_click = min((hit.beat for hit in plan.click), default=None)
    if first_click is not None and first_click > 0:
        yield first_click, "click starts"
    yield plan.entry_beat, entry
    if plan.singer_beat is not None:
        yield plan.singer_beat, "singer"


@dataclass(frozen=True, slots=True, kw_only=True)
class MidiScore:
    """The contents of a MIDI file; beats count from its first tick.

    Parameters
    ----------
    ruler : tuple of (float, float)
        Beats, and the seconds at which the file's clock has to be there. Both
        ascend; the first is (0, 0), the last where the file ends.
    metres : tuple of (float, int, int)
        Beat, beats a bar and note value of every time signature.
    keys : tuple of (float, Key)
        Beat and key of every key signature.
    voicings : tuple of Voicing
        The pad's chords.
    """

    ruler: tuple[tuple[float, float], ...]
    metres: tuple[tuple[float, int, int], ...]
    keys: tuple[tuple[float, Key], ...]
    markers: tuple[tuple[float, str], ...]
    click: tuple[ClickHit, ...] = ()
    voicings: tuple[Voicing, ...] = ()
    cue: tuple[CueNote, ...] = ()

    @property
    def end_beat(self) -> float:
        """Where the file ends."""
        return self.ruler[-1][0]


def plan_score(
    plan: Plan, markers: Sequence[Marker], *, keys_heard: tuple[bool, bool] = (True, True)
) -> MidiScore:
    """The contents of one plan's file.

    Parameters
    ----------
    plan : Plan
        Tick 0 is beat 0.
    keys_heard : (bool, bool)
        Whether the old and the new song have a key to go by; a key that is only a guess is no
        signature.
    """
    keys = [(0.0, plan.key_from)] if keys_heard[0] else []
    if keys_heard[1] and (plan.entry_beat > 0 or not keys):
        keys.append((plan.entry_beat, plan.key_to))
    return MidiScore(
        ruler=tuple((beat, plan.tempo.seconds_at(beat)) for beat in plan_beats(plan)),
        metres=tuple(_metres(plan)),
        keys=tuple(keys),
        markers=tuple((marker.beat, marker.name) for marker in markers),
        click=plan.click,
        voicings=plan.voicings,
        cue=plan.cue,
    )


def plan_beats(plan: Plan) -> list[float]:
    """Whole beats, the beats at which a span of the tempo curve begins, and the end of a plan.

    Ascending, from 0; each falls on a tick.
    """
    edges = {float(beat) for beat in range(math.ceil(plan.end_beat))} | {plan.end_beat}
    beat = 0.0
    for span in plan.tempo.spans:
        edges.add(beat)
        beat += span.n_beats
    return [
        tick / TICKS_A_BEAT for tick in sorted({tick_of(e) for e in edges if e <= plan.end_beat})
    ]


def tick_of(beat: float) -> int:
    """Nearest tick of a beat."""
    return round(beat * TICKS_A_BEAT)


def notes_moved(score: MidiScore, by_beats: float) -> MidiScore:
    """Click, chords and cue of a score later by some beats; the rest as it is."""
    return replace(
        score,
        click=tuple(replace(hit, beat=hit.beat + by_beats) for hit in score.click),
        voicings=tuple(
            replace(v, start_beat=v.start_beat + by_beats, end_beat=v.end_beat + by_beats)
            for v in score.voicings
        ),
        cue=tuple(
            replace(n, start_beat=n.start_beat + by_beats, end_beat=n.end_beat + by_beats)
            for n in score.cue
        ),
    )


def _metres(plan: Plan) -> Iterator[tuple[float, int, int]]:
    metre = 0
    for line in plan.bar_lines:
        if line.metre != metre:
            metre = line.metre
            yield line.beat, metre, 4
