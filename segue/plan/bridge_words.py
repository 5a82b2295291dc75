"""What happens in a bridge, in one line, and the places where it is heard.

Both are read off the plan, before any sound: they say what is played, never how it sounds.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from segue.errors import counted, listed
from segue.music.tempo import bpm_number
from segue.plan.grid import SAME_BEAT
from segue.plan.layer import Layer, SongLayer
from segue.plan.words import is_at_home

if TYPE_CHECKING:
    from segue.plan.plan import Plan

SECTION_WORDS: Final[dict[str, str]] = {
    "outgoing": "old song",
    "interlude": "bridge",
    "incoming": "new song",
}
"""What the parts of a segue are called."""
MOST_MOMENTS: Final = 3
"""More places to tap are no help on a phone. Set by judgement."""
_MOST_NAMES: Final = 3  # of what sounds in a bridge; a line on a phone has room for no more
_LEAST_BEATS: Final = 0.5  # what sounds for less in the bridge only leads in or out of it
_SAME_TEMPO: Final = 0.005  # share of a tempo that nobody feels; by judgement
_COPY: Final = re.compile(r"( \d+| \([^)]*\))+$")
"""Numbers and remarks behind a layer's name: 'new drums 2' is new drums."""


def bridge_line(plan: Plan, *, has_keys: bool) -> str:
    """What is played between the songs, in one line.

    Parameters
    ----------
    has_keys : bool
        Whether both songs have a key; a guess is not told.

    Returns
    -------
    str
        Such as 'Old drums, bass and chords; slowing from 124 to 96 BPM over 8 bars; F minor from
        bar 9.'
    """
    tempo, key = _tempo(plan), _key(plan) if has_keys else ""
    head, _, place = key.rpartition(" from ")
    if head and tempo.endswith(f" from {place}"):  # both at one bar line: told once
        tempo, key = tempo.removesuffix(f" from {place}"), ""
        tempo = f"{tempo} and {head} from {place}"
    line = "; ".join(part for part in (_who(plan), tempo, key) if part)
    return f"{line[:1].upper()}{line[1:]}."


def length_words(n_bars: int, seconds: float) -> str:
    """How long a bridge is.

    Examples
    --------
    >>> length_words(1, 2.51)
    '1 bar, 2.5 s'
    """
    return f"{counted(n_bars, 'bar')}, {seconds:.1f} s"


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """A place to listen to.

    Parameters
    ----------
    beat : float
        Of the plan.
    bar : int
        Number of the bar it lies in.
    words : str
        What happens there, such as 'new song'.
    """

    beat: float
    bar: int
    words: str


def moments_of(plan: Plan, *, has_keys: bool) -> tuple[Moment, ...]:
    """Where to listen: two or three places, in order of time; see `bridge_line`."""
    found = [(plan.exit_beat, "bridge"), (plan.entry_beat, "new song")]
    arrival = _key_beat(plan) if has_keys else None
    bars = {_bar_at(plan, beat) for beat, _ in found}
    if arrival is not None and _bar_at(plan, arrival) not in bars:
        found.append((arrival, "new key"))
    elif plan.singer_beat is not None and plan.singer_beat > plan.entry_beat + SAME_BEAT:
        found.append((plan.singer_beat, "first note"))
    if plan.entry_beat - plan.exit_beat < _LEAST_BEATS:  # nothing between: one place, not two
        found = found[1:]
    moments = [Moment(beat=b, bar=_bar_at(plan, b), words=words) for b, words in sorted(found)]
    return tuple(moments[:MOST_MOMENTS])


def _who(plan: Plan) -> str:
    if plan.entry_beat - plan.exit_beat < _LEAST_BEATS:
        return "straight into the new song"
    names = dict.fromkeys(_COPY.sub("", layer.name) for layer in plan.layers if _is_in(layer, plan))
    told = list(names)
    if len(told) > _MOST_NAMES:
        told = [*told[: _MOST_NAMES - 1], "more"]
    return listed(told) or "the old song rings on"


def _is_in(layer: Layer, plan: Plan) -> bool:
    """Whether a layer sounds in the bridge; a whole song that only reaches into it does not."""
    start, end = max(layer.start_beat, plan.exit_beat), min(layer.end_beat, plan.entry_beat)
    bridge = plan.entry_beat - plan.exit_beat
    whole = isinstance(layer, SongLayer) and layer.name in ("old song", "new song")
    return end - start >= (bridge / 2 if whole else min(_LEAST_BEATS, bridge))


def _tempo(plan: Plan) -> str:
    """How the tempo gets from the old song's to the new one's; nothing where nobody counts."""
    if not plan.click:
        return ""
    old, new = plan.tempo.bpm_at(0.0), plan.tempo.bpm_at(plan.end_beat)
    if abs(new / old - 1) < _SAME_TEMPO:
        return f"{bpm_number(new)} BPM throughout"
    beat, moves = 0.0, []
    for span in plan.tempo.spans:
        if span.law != "hold":
            moves.append((beat, beat + span.n_beats))
        beat += span.n_beats
    if not moves:
        beat = 0.0
        for span in plan.tempo.spans:
            if abs(span.start_bpm / new - 1) < _SAME_TEMPO:
                break
            beat += span.n_beats
        return f"{bpm_number(new)} BPM from bar {_bar_at(plan, beat)}"
    first, last = moves[0][0], moves[-1][1]
    n_bars = sum(first - SAME_BEAT <= line.beat < last - SAME_BEAT for line in plan.bar_lines)
    does = "slowing" if new < old else "speeding up"
    return f"{does} from {bpm_number(old)} to {bpm_number(new)} BPM over {counted(n_bars, 'bar')}"


def _key(plan: Plan) -> str:
    if plan.key_from == plan.key_to:
        return f"stays in {plan.key_to}"
    beat = _key_beat(plan)
    return f"{plan.key_to} from bar {_bar_at(plan, plan.entry_beat if beat is None else beat)}"


def _key_beat(plan: Plan) -> float | None:
    """Where the new key is played for the first time with nothing of the old one alone after it."""
    if plan.key_from == plan.key_to:
        return None
    beats = [*_new_chords(plan), *_new_harmony(plan)]
    if not beats:
        return None
    first = max(min(beats), plan.exit_beat)
    # an attack is let in a little before its beat
    return first if first < plan.entry_beat - _LEAST_BEATS else plan.entry_beat


def _new_chords(plan: Plan) -> list[float]:
    """The start of the first chord of the new key alone after which none is of the old alone."""
    arrival: list[float] = []
    for voicing in plan.voicings:
        is_old = is_at_home(voicing.notes_midi, plan.key_from)
        is_new = is_at_home(voicing.notes_midi, plan.key_to)
        if is_old and not is_new:
            arrival = []
        elif is_new and not is_old and not arrival:
            arrival = [voicing.start_beat]
    return arrival


def _new_harmony(plan: Plan) -> list[float]:
    """Where the new song's own notes begin, as far as more than its drums play."""
    return [
        layer.start_beat
        for layer in plan.layers
        if isinstance(layer, SongLayer)
        and layer.song == "incoming"
        and layer.part != "percussive"
        and layer.roles != ("drums",)
    ]


def _bar_at(plan: Plan, beat: float) -> int:
    begun = [line.number for line in plan.bar_lines if line.beat <= beat + SAME_BEAT]
    return begun[-1] if begun else 1
