"""What a cue sheet says: who does what in which bar.

Bars are counted from 1 at the start of the pack's files, as in every file of it.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from segue.music.tempo import bpm_number
from segue.plan.bridge_words import length_words
from segue.plan.grid import ON_THE_LINE_BEATS
from segue.plan.heard_words import NO_KEY, NO_PULSE, keys_sentence
from segue.plan.layer import PadLayer, PlayedLayer, SongLayer
from segue.plan.places_asked import clock
from segue.stage.exposure import care_words
from segue.stage.staff import StaffNote, staff_note

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.analysis.facts import EdgeFacts
    from segue.plan import Plan

SINGER: Final = "singer"
"""Who sings, where no name is known."""

FILES: Final = (
    "music.wav is stereo, 1 left and 2 right, for the room. click.wav and cue.wav have one channel "
    "each. Click and cue are for ears only; they are not in the music. Give each an output of its "
    "own that does not feed the room."
)
TOGETHER: Final = (
    "Channels of all channels.wav: {channels}. It is only for a player with an output for each: "
    "others mix all of them into two, and the room hears the click."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CueRow:
    """One line: where, who, what.

    Parameters
    ----------
    beat_in_bar : float
        From 1; beyond the beats of the bar where a song in free time comes in after it.
    metre : int
        Beats of the bar.
    time_s : float
        From the start of the files.
    """

    bar: int
    beat_in_bar: float
    metre: int
    time_s: float
    who: str
    what: str

    @property
    def place(self) -> str:
        """Bar, and count where it is not the first: '9', '9, beat 3', '9, the "and" of 3'.

        'after 9' where the bar is over and no other has begun. Smaller parts of a beat are not
        told apart: nobody counts them from a sheet.
        """
        if self.beat_in_bar >= self.metre + 1.0 - ON_THE_LINE_BEATS:
            return f"after {self.bar}"
        count = math.floor(self.beat_in_bar + ON_THE_LINE_BEATS)
        if self.beat_in_bar - count > ON_THE_LINE_BEATS:
            return f'{self.bar}, the "and" of {count}'
        return f"{self.bar}" if count == 1 else f"{self.bar}, beat {count}"


@dataclass(frozen=True, slots=True, kw_only=True)
class CueSheet:
    """Everything on the page.

    Parameters
    ----------
    tempo, key : str
        Before and after, such as 'E minor → F minor'; in words where none was heard.
    relation : str
        How the keys lie to each other, or what the segue goes by where one has none.
    channels : tuple of str or None
        Of the multichannel file, in order; empty where there is none. None for a sheet that goes
        with no files.
    singer : str
        Who sings the new song.
    place : str
        Where in an evening the sheet belongs; empty for a song change on its own.
    """

    from_title: str
    to_title: str
    recipe: str
    why: str
    tempo: str
    key: str
    relation: str
    length: str
    rows: tuple[CueRow, ...]
    note: StaffNote | None
    channels: tuple[str, ...] | None
    care: tuple[str, ...]
    singer: str = SINGER
    place: str = ""

    @property
    def table(self) -> tuple[tuple[str, str, str, str], ...]:
        """Place, time, who and what of every row; a place is written once."""
        above = ("", *(row.place for row in self.rows))
        return tuple(
            ("", "", row.who, row.what)
            if row.place == last
            else (row.place, clock(row.time_s), row.who, row.what)
            for row, last in zip(self.rows, above, strict=False)
        )

    @property
    def channel_words(self) -> str:
        """What is in which file and on which channel, and for whom; empty without files."""
        if self.channels is None:
            return ""
        words = FILES
        if self.channels:
            channels = ", ".join(f"{n} {name}" for n, name in enumerate(self.channels, start=1))
            words += f" {TOGETHER.format(channels=channels)}"
        return words


def cue_sheet(
    plan: Plan,
    *,
    outgoing: EdgeFacts,
    incoming: EdgeFacts,
    channels: tuple[str, ...] | None,
    in_ear_dba: float | None = None,
) -> CueSheet:
    """The cue sheet of a plan.

    Parameters
    ----------
    outgoing, incoming : EdgeFacts
        That it was planned from.
    channels : tuple of str or None
        As in `CueSheet`.
    in_ear_dba : float, optional
        A level measured in the ear, for the exposure line.
    """
    bars = round(sum(line.section == "interlude" for line in plan.bar_lines))
    seconds = plan.tempo.seconds_at(plan.entry_beat) - plan.tempo.seconds_at(plan.exit_beat)
    note = _first_note(plan, outgoing, incoming)
    start = "bars count from here" if channels is None else "the files start here"
    first = cue_row(plan, 0.0, "all", f"{outgoing.title}: {start}")
    rows = sorted((first, *_rows(plan, outgoing, incoming, note)), key=lambda row: row.time_s)
    return CueSheet(
        from_title=outgoing.title,
        to_title=incoming.title,
        recipe=plan.recipe,
        why=plan.why,
        tempo=_tempos(plan, outgoing, incoming),
        key=_keys(plan, outgoing, incoming),
        relation=_relation(plan, outgoing, incoming),
        length=length_words(bars, seconds),
        rows=tuple(rows),
        note=note,
        channels=channels,
        care=care_words(in_ear_dba),
    )


def _tempos(plan: Plan, outgoing: EdgeFacts, incoming: EdgeFacts) -> str:
    """Tempo before and after, such as '124 → 96 BPM'; in words where none was heard."""
    old = bpm_number(plan.tempo.bpm_at(max(plan.exit_beat - 1.0, 0.0)))
    new = bpm_number(plan.tempo.bpm_at(plan.entry_beat))
    match outgoing.pulse.is_known, incoming.pulse.is_known:
        case True, True:
            return f"{old} → {new} BPM"
        case True, False:
            return f"{old} BPM → {NO_PULSE}"
        case False, True:
            return f"{NO_PULSE} → {new} BPM"
        case _:
            return NO_PULSE


def _keys(plan: Plan, outgoing: EdgeFacts, incoming: EdgeFacts) -> str:
    """Key before and after, such as 'E minor → F minor'; in words where none was heard."""
    if not outgoing.key.is_known and not incoming.key.is_known:
        return NO_KEY
    old = str(plan.key_from) if outgoing.key.is_known else NO_KEY
    new = str(plan.key_to) if incoming.key.is_known else NO_KEY
    return f"{old} → {new}"


def _relation(plan: Plan, outgoing: EdgeFacts, incoming: EdgeFacts) -> str:
    """How the keys lie to each other as they are played: the plan's, which a shift has moved."""
    old = replace(outgoing, key=replace(outgoing.key, key=plan.key_from))
    new = replace(incoming, key=replace(incoming.key, key=plan.key_to))
    return keys_sentence(old, new)


def _first_note(plan: Plan, outgoing: EdgeFacts, incoming: EdgeFacts) -> StaffNote | None:
    """The singer's, spelled in the key of the join."""
    note = incoming.first_note
    is_led = outgoing.key.is_known or incoming.key.is_known
    return None if note is None else staff_note(note.midi, plan.key_to if is_led else None)


def _rows(
    plan: Plan, outgoing: EdgeFacts, incoming: EdgeFacts, note: StaffNote | None
) -> Iterator[CueRow]:
    yield from _old_song(plan, outgoing)
    yield from _pads(plan)
    if plan.talk_s is not None:
        yield cue_row(plan, plan.exit_beat, SINGER, f"talk, {plan.talk_s:.0f} s")
    if plan.click:
        yield cue_row(plan, plan.click[0].beat, "in ears", "click starts")
    if plan.cue:
        last = plan.cue[-1].midi
        what = _cue_words(plan, outgoing, incoming)
        what += f", then {note.name}" if note and last else ""
        yield cue_row(plan, plan.cue[0].start_beat, "in ears", f"cue: {what}")
    starts = _start_words(plan, incoming)
    yield cue_row(plan, plan.entry_beat, "band", f"{incoming.title}: {starts}")
    if plan.singer_beat is not None:
        on = f" on {note.name}" if note else ""
        yield cue_row(plan, plan.singer_beat, SINGER, f"comes in{on}")


def _cue_words(plan: Plan, outgoing: EdgeFacts, incoming: EdgeFacts) -> str:
    if incoming.key.is_known:
        return "root and fifth of the new key"
    whose = "the old song's key" if outgoing.key.is_known else "a guess"
    return f"root and fifth of {plan.key_to}, {whose}"


def _start_words(plan: Plan, incoming: EdgeFacts) -> str:
    """Bar one, or where a song that starts freely has its first bar line, and its tempo."""
    if not incoming.pulse.is_known:
        return f"starts, in {NO_PULSE}"
    tempo = f"{bpm_number(plan.tempo.bpm_at(plan.entry_beat))} BPM"
    if plan.enters_on_a_bar:
        return f"bar one, {tempo}"
    first = next((x.number for x in plan.bar_lines if x.beat > plan.entry_beat), None)
    starts = "starts freely" if first is None else f"starts freely, its bars from {first} on"
    return f"{starts}, {tempo}"


def _old_song(plan: Plan, outgoing: EdgeFacts) -> Iterator[CueRow]:
    done = f"last bar of {outgoing.title}" if outgoing.pulse.is_known else outgoing.title
    yield cue_row(plan, plan.exit_beat, "band", f"{done} is over; the segue begins")
    for layer in plan.layers:
        is_carried = isinstance(layer, SongLayer) and layer.song == "outgoing"
        if is_carried and plan.exit_beat + 1 < layer.end_beat < plan.end_beat:
            yield cue_row(plan, layer.end_beat, "track", f"out: {layer.name}")
    for a, b in pairwise(plan.tempo.spans):
        if a.law == "hold" and b.law != "hold":
            start = sum(span.n_beats for span in plan.tempo.spans[: plan.tempo.spans.index(b)])
            yield cue_row(
                plan,
                start,
                "drummer",
                f"tempo moves from {bpm_number(b.start_bpm)} to {bpm_number(b.end_bpm)} BPM "
                f"over {b.n_beats:g} beats",
            )


def _pads(plan: Plan) -> Iterator[CueRow]:
    for layer in plan.layers:
        if isinstance(layer, PadLayer | PlayedLayer):
            symbols = " - ".join(voicing.symbol for voicing in layer.voicings)
            yield cue_row(plan, max(layer.start_beat, 0.0), "track", f"{layer.name}: {symbols}")


def cue_row(plan: Plan, beat: float, who: str, what: str) -> CueRow:
    """A line at a beat of a plan."""
    beats = [line.beat for line in plan.bar_lines]
    index = max(bisect_right(beats, beat + ON_THE_LINE_BEATS) - 1, 0)
    return CueRow(
        bar=plan.bar_lines[index].number,
        beat_in_bar=max(beat - beats[index] + 1.0, 1.0),
        metre=plan.bar_lines[index].metre,
        time_s=plan.tempo.seconds_at(beat),
        who=who,
        what=what,
    )
