"""What a cue sheet says: who does what in which bar.

Bars are counted from 1 at the start of the pack's files, as in every file of it.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from segue.music.interval import relation
from segue.plan.layer import PadLayer, SongLayer
from segue.stage.exposure import exposure_sentence
from segue.stage.staff import StaffNote, staff_note

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.plan import Plan

_ON_THE_BAR: Final = 1.05
"""Beats up to here count as the bar line."""

CARE: Final = (
    "Start in-ears and headphones low and raise them only as far as needed; the click and the cue "
    "never exceed {ceiling:g} dBFS in these files. Hearing damage does not heal. House and local "
    "rules and a qualified engineer decide on levels."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CueRow:
    """One line: where, who, what.

    Parameters
    ----------
    bar : int
    beat_in_bar : float
        From 1; beyond the beats of the bar where a song in free time comes in after it.
    metre : int
        Beats of the bar.
    time_s : float
        From the start of the files.
    who, what : str
    """

    bar: int
    beat_in_bar: float
    metre: int
    time_s: float
    who: str
    what: str

    @property
    def place(self) -> str:
        """Bar, and beat where it is not the first: '9', '9, beat 3', or 'after 9'."""
        if self.beat_in_bar > self.metre + _ON_THE_BAR - 1.0:
            return f"after {self.bar}"
        if self.beat_in_bar < _ON_THE_BAR:
            return f"{self.bar}"
        return f"{self.bar}, beat {round(self.beat_in_bar * 4) / 4:g}"


@dataclass(frozen=True, slots=True, kw_only=True)
class CueSheet:
    """Everything on the page.

    Parameters
    ----------
    from_title, to_title : str
    recipe, why : str
    tempo_from, tempo_to, key_from, key_to, relation : str
    length : str
        Of the interlude, in bars and seconds.
    rows : tuple of CueRow
    note : StaffNote or None
        The singer's first note.
    channels : tuple of str
        Of the multichannel file, in order.
    care : tuple of str
    """

    from_title: str
    to_title: str
    recipe: str
    why: str
    tempo_from: str
    tempo_to: str
    key_from: str
    key_to: str
    relation: str
    length: str
    rows: tuple[CueRow, ...]
    note: StaffNote | None
    channels: tuple[str, ...]
    care: tuple[str, ...]


def cue_sheet(  # noqa: PLR0913 - the facts of a page that are not in the plan
    plan: Plan,
    *,
    from_title: str,
    to_title: str,
    first_note_midi: float | None,
    channels: tuple[str, ...],
    ceiling_dbfs: float,
    in_ear_dba: float | None = None,
) -> CueSheet:
    """The cue sheet of a plan.

    Parameters
    ----------
    plan : Plan
    from_title, to_title : str
        The two songs.
    first_note_midi : float or None
        What the singer enters on.
    channels : tuple of str
        Of the multichannel file, in order.
    ceiling_dbfs : float
        Highest peak of click and cue.
    in_ear_dba : float, optional
        A level measured in the ear, for the exposure line.

    Returns
    -------
    CueSheet
    """
    bars = round(sum(line.section == "interlude" for line in plan.bar_lines))
    seconds = plan.tempo.seconds_at(plan.entry_beat) - plan.tempo.seconds_at(plan.exit_beat)
    care = [CARE.format(ceiling=ceiling_dbfs)]
    if in_ear_dba is not None:
        care.append(exposure_sentence(in_ear_dba))
    note = None if first_note_midi is None else staff_note(first_note_midi, plan.key_to)
    rows = sorted(_rows(plan, from_title, to_title, note), key=lambda row: row.time_s)
    return CueSheet(
        from_title=from_title,
        to_title=to_title,
        recipe=plan.recipe,
        why=plan.why,
        tempo_from=f"{plan.tempo.bpm_at(max(plan.exit_beat - 1.0, 0.0)):.4g}",
        tempo_to=f"{plan.tempo.bpm_at(plan.entry_beat):.4g}",
        key_from=str(plan.key_from),
        key_to=str(plan.key_to),
        relation=relation(plan.key_from, plan.key_to),
        length=f"{bars} {'bar' if bars == 1 else 'bars'}, {seconds:.1f} s",
        rows=tuple(rows),
        note=note,
        channels=channels,
        care=tuple(care),
    )


def clock(seconds: float) -> str:
    """Minutes and seconds, such as '1:07.5'."""
    tenths = round(seconds * 10)
    minutes, rest = divmod(tenths, 600)
    return f"{minutes}:{rest / 10:04.1f}"


def table_of(sheet: CueSheet) -> tuple[tuple[str, str, str, str], ...]:
    """Bar, time, who and what of every row; a place is written once.

    Parameters
    ----------
    sheet : CueSheet

    Returns
    -------
    tuple of (str, str, str, str)
    """
    table = []
    last = ""
    for row in sheet.rows:
        is_new = row.place != last
        last = row.place
        table.append(
            (row.place if is_new else "", clock(row.time_s) if is_new else "", row.who, row.what)
        )
    return tuple(table)


def _rows(plan: Plan, from_title: str, to_title: str, note: StaffNote | None) -> Iterator[CueRow]:
    yield _row(plan, 0.0, "all", f"{from_title}: the files start here")
    yield from _old_song(plan, from_title)
    yield from _pads(plan)
    if plan.talk_s is not None:
        yield _row(plan, plan.exit_beat, "singer", f"talk, {plan.talk_s:.0f} s")
    if plan.click:
        yield _row(plan, plan.click[0].beat, "in ears", "click starts")
    if plan.cue:
        last = plan.cue[-1].midi
        what = "root and fifth of the new key" + (f", then {note.name}" if note and last else "")
        yield _row(plan, plan.cue[0].start_beat, "in ears", f"cue: {what}")
    tempo = plan.tempo.bpm_at(plan.entry_beat)
    yield _row(plan, plan.entry_beat, "band", f"{to_title}: {_start_words(plan)}, {tempo:.4g} BPM")
    if plan.singer_beat is not None:
        on = f" on {note.name}" if note else ""
        yield _row(plan, plan.singer_beat, "singer", f"comes in{on}")


def _start_words(plan: Plan) -> str:
    """Bar one, or where a song that starts in free time has its first bar line."""
    if plan.enters_on_a_bar:
        return "bar one"
    first = next((x.number for x in plan.bar_lines if x.beat > plan.entry_beat), None)
    return "starts freely" if first is None else f"starts freely, its bars from {first} on"


def _old_song(plan: Plan, title: str) -> Iterator[CueRow]:
    yield _row(plan, plan.exit_beat, "band", f"last bar of {title} is over; the segue begins")
    for layer in plan.layers:
        is_carried = isinstance(layer, SongLayer) and layer.song == "outgoing"
        if is_carried and plan.exit_beat + 1 < layer.end_beat < plan.end_beat:
            yield _row(plan, layer.end_beat, "track", f"out: {layer.name}")
    for a, b in pairwise(plan.tempo.spans):
        if a.law == "hold" and b.law != "hold":
            start = sum(span.n_beats for span in plan.tempo.spans[: plan.tempo.spans.index(b)])
            yield _row(
                plan,
                start,
                "drummer",
                f"tempo moves from {b.start_bpm:.4g} to {b.end_bpm:.4g} BPM "
                f"over {b.n_beats:g} beats",
            )


def _pads(plan: Plan) -> Iterator[CueRow]:
    for layer in plan.layers:
        if isinstance(layer, PadLayer):
            symbols = " - ".join(voicing.symbol for voicing in layer.voicings)
            yield _row(plan, max(layer.start_beat, 0.0), "track", f"{layer.name}: {symbols}")


def _row(plan: Plan, beat: float, who: str, what: str) -> CueRow:
    beats = [line.beat for line in plan.bar_lines]
    index = max(bisect_right(beats, beat + _ON_THE_BAR - 1.0) - 1, 0)
    return CueRow(
        bar=plan.bar_lines[index].number,
        beat_in_bar=max(beat - beats[index] + 1.0, 1.0),
        metre=plan.bar_lines[index].metre,
        time_s=plan.tempo.seconds_at(beat),
        who=who,
        what=what,
    )
