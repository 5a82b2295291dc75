"""What the desk shows of the end of a song, its bar lines named as musicians name places."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, get_args

from segue.audio.clip import EndingKind, OpeningKind
from segue.desk.questions import Question, questions_of, remarks_of
from segue.music.key import MAJOR_TONICS, MINOR_TONICS, note_in
from segue.plan.edges import SongEnd, SongStart, song_end, song_start
from segue.plan.heard_words import first_note_name, key_words, tempo_words

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.analysis.facts import EdgeFacts
    from segue.audio.song_toml import EndToml
    from segue.desk.ears import OpenedEnd
    from segue.plan.grid import BeatGrid


MOST_LINES: Final = 400  # bar lines that are drawn; far beyond use
_SAME_S: Final = 0.02  # two places nearer than this are one bar line
_BESIDE_S: Final = 0.12  # how far a fact may lie from the bar line it belongs to; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeBar:
    """A bar line of an end.

    Parameters
    ----------
    name : str
        Such as '-8' in the old song, '9' in the new one; empty where it has none.
    place : str
        As `segue.plan.places_asked` reads it.
    level_lufs : float or None
        Of the bar that starts there; None where it was not measured.
    """

    time_s: float
    name: str
    place: str
    is_phrase: bool
    level_lufs: float | None


def old_lines(end: SongEnd) -> tuple[EdgeBar, ...]:
    """Bar lines of the old song, counted back from its last bar; none without beats."""
    grid, facts = end.grid, end.facts
    if not grid.is_heard or facts.ending is None:
        return ()
    line_s = facts.ending.last_bar_line_s
    last = grid.bar_line_before(
        grid.index_at(facts.ending.last_hit_s if line_s is None else line_s)
    )

    def name_of(index: int) -> str:
        number = (index - last) // grid.metre - 1
        return str(number) if number < 0 else ""

    return _lines(grid, facts, name_of)


def new_lines(start: SongStart) -> tuple[EdgeBar, ...]:
    """Bar lines of the new song, counted from its bar one; none where no beats were heard."""
    grid = start.grid
    if not grid.is_heard:
        return ()
    first = grid.bar_line_after(start.entry_index)

    def name_of(index: int) -> str:
        number = (index - first) // grid.metre + 1
        return str(number) if number > 0 else ""

    return _lines(grid, start.facts, name_of)


def _lines(grid: BeatGrid, facts: EdgeFacts, name_of: Callable[[int], str]) -> tuple[EdgeBar, ...]:
    index = grid.bar_line_after(grid.index_at(facts.edge_start_s))
    found: list[EdgeBar] = []
    while len(found) < MOST_LINES:
        time_s = grid.seconds_at(index)
        if time_s > facts.edge_end_s + _SAME_S:
            break
        name = name_of(index)
        bars = [b.level_lufs for b in facts.bars if abs(b.start_s - time_s) < _BESIDE_S]
        found.append(
            EdgeBar(
                time_s=time_s,
                name=name,
                place=f"bar {name}" if name else f"{max(time_s, 0.0):.2f}s",
                is_phrase=any(abs(s - time_s) < _BESIDE_S for s in facts.phrases.starts_s),
                level_lufs=bars[0] if bars else None,
            )
        )
        index += grid.metre
    return tuple(found)


LOWEST_NOTE, HIGHEST_NOTE = 40, 84  # E2 to C6, what a singer may begin on; MIDI note numbers
METRES: Final = (2, 3, 4, 5, 6, 7, 9, 12)
"""Beats a bar that are offered."""
ALL_KEYS: Final = (
    *(f"{tonic} major" for tonic in MAJOR_TONICS),
    *(f"{tonic} minor" for tonic in MINOR_TONICS),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class EndView:
    """One end as the desk shows it.

    Parameters
    ----------
    said : EndToml
        What is written beside the song about this end.
    usual_s : float
        Where Segue itself would leave or enter.
    """

    facts: EdgeFacts
    said: EndToml
    usual_s: float
    lines: tuple[EdgeBar, ...]
    questions: tuple[Question, ...]
    opened: OpenedEnd
    remarks: tuple[str, ...] = ()

    @property
    def key_choices(self) -> tuple[str, ...]:
        """Keys likeliest first: the one that counts, and its runners-up."""
        key = self.facts.key
        return tuple(dict.fromkeys(str(k) for k in (key.key, *(r.key for r in key.runners_up))))

    @property
    def other_keys(self) -> tuple[str, ...]:
        """All the others."""
        return tuple(key for key in ALL_KEYS if key not in self.key_choices)

    @property
    def tempo(self) -> str:
        """Tempo to two places, without noughts at its end."""
        return f"{self.facts.pulse.tempo_bpm:.2f}".rstrip("0").rstrip(".")

    @property
    def summary(self) -> str:
        """Key, tempo, metre and kind in a line."""
        facts = self.facts
        pulse = facts.pulse
        metre = f"{pulse.metre} beats a bar" if pulse.is_known else ""
        said = [key_words(facts.key), tempo_words(pulse), metre, self.kind]
        return " · ".join(words for words in said if words)

    @property
    def kinds(self) -> tuple[str, ...]:
        """How a song may end, or start."""
        return get_args(EndingKind if self.facts.edge == "end" else OpeningKind)

    @property
    def kind(self) -> str:
        """How it ends or starts."""
        facts = self.facts
        return facts.ending.kind if facts.ending else facts.opening.kind if facts.opening else ""

    @property
    def first_note(self) -> str:
        """Name of the first note; empty where none was heard."""
        return first_note_name(self.facts) or ""

    @property
    def note_choices(self) -> tuple[str, ...]:
        """Notes that a singer may begin on, spelled in the key."""
        key = self.facts.key.key
        return tuple(note_in(m, key) for m in range(LOWEST_NOTE, HIGHEST_NOTE + 1))


def end_view(opened: OpenedEnd, facts: EdgeFacts, said: EndToml) -> EndView:
    """What is shown of an end.

    Parameters
    ----------
    facts : EdgeFacts
        As the planner sees them: counted together with the other song, where there is one.
    """
    if facts.edge == "end":
        end = song_end(facts)
        usual_s, lines = end.grid.seconds_at(end.leaving_index), old_lines(end)
    else:
        start = song_start(facts)
        usual_s, lines = start.grid.seconds_at(start.entry_index), new_lines(start)
    return EndView(
        facts=facts,
        said=said,
        usual_s=usual_s,
        lines=lines,
        questions=questions_of(facts),
        opened=opened,
        remarks=remarks_of(facts),
    )


def script_values(view: EndView) -> dict[str, object]:
    """What the page's script needs to draw and play an end, as values for JSON."""
    facts = view.facts
    pulse = facts.pulse
    return {
        "edge": facts.edge,
        "title": facts.title,
        "from_s": round(facts.edge_start_s, 4),
        "to_s": round(facts.edge_end_s, 4),
        "usual_s": round(view.usual_s, 4),
        "sound": view.opened.sound.name,
        "outline": base64.b64encode(view.opened.outline).decode(),
        "beats": [round(b, 4) for b in pulse.beats_s] if pulse.is_known else [],
        "downbeats": [round(b, 4) for b in pulse.downbeats_s] if pulse.is_known else [],
        "tempo_bpm": pulse.tempo_bpm,
        "metre": pulse.metre,
        "lines": [
            {
                "s": round(line.time_s, 4),
                "name": line.name,
                "place": line.place,
                "phrase": line.is_phrase,
                "lufs": None if line.level_lufs is None else round(line.level_lufs, 1),
            }
            for line in view.lines
        ],
    }
