"""The cue sheets of an evening: its running order, then one sheet a song change."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from segue.render.guide_sounds import CEILING_DBFS
from segue.setlist.lengths import clock
from segue.setlist.show.rows import free_times
from segue.setlist.tempo_map.places import hold_beat
from segue.stage.cue_sheet import CARE
from segue.stage.exposure import exposure_sentence
from segue.stage.in_evening import FrontPage, FrontRow, InEvening
from segue.stage.pack import sheet_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from segue.setlist.evening import Evening
    from segue.setlist.show.rows import EveningRows
    from segue.setlist.tempo_map.places import EveningMap
    from segue.stage.cue_sheet import CueSheet

SHEETS_NAME: Final = "cue sheets.html"


def sheets_of(
    rows: EveningRows,
    *,
    channels: tuple[str, ...] | None = None,
    in_ear_dba: float | None = None,
    where: Mapping[int, InEvening] | None = None,
) -> tuple[CueSheet, ...]:
    """One cue sheet for each join that has a way across.

    Parameters
    ----------
    channels : tuple of str, optional
        Order of the multichannel files; none for sheets that go with no files.
    in_ear_dba : float, optional
        A level measured in the ear.
    where : mapping of int to InEvening, optional
        By number of the join: its place in the evening, as from `places_of`.
    """
    where = where or {}
    return tuple(
        sheet_of(
            join.document,
            join.record,
            channels=channels,
            in_ear_dba=in_ear_dba,
            where=where.get(join.number),
        )
        for join in rows.joins
        if join.document is not None and join.record is not None
    )


def places_of(evening: Evening, played: EveningMap | None = None) -> dict[int, InEvening]:
    """What the sheet of each join is to say of the evening.

    Parameters
    ----------
    played : EveningMap, optional
        Its tempo map, for the bars.

    Returns
    -------
    dict of int to InEvening
        By number of the join; only joins that have a way across.
    """
    places = {}
    for join, song in zip(evening.joins, evening.songs[1:], strict=True):
        plan = join.plan
        if join.document is None or plan is None:
            continue
        # Times and bars of a sheet count from where its files start, before the exit.
        start_s = join.start_s - plan.tempo.seconds_at(plan.exit_beat)
        words = f"Segue {join.number} of {len(evening.joins)}: "
        words += f"starts at {clock(start_s)} of the evening"
        if played is not None:
            words += f" (bar {played.joins[join.number - 1].bar} of its tempo map)"
        places[join.number] = InEvening(
            words=words,
            singer=song.voice,
            talk_s=join.wanted_talk_s,
            changeover_s=join.wanted_changeover_s,
            held=free_times(join),
            hold_beat=hold_beat(plan, join.document.incoming),
        )
    return places


def front_page(
    rows: EveningRows, *, notes: Sequence[str] = (), in_ear_dba: float | None = None
) -> FrontPage:
    """The running order.

    Parameters
    ----------
    notes : sequence of str
        What the tempo map of the evening cannot know.
    in_ear_dba : float, optional
        A level measured in the ear.
    """
    care = [CARE.format(ceiling=CEILING_DBFS)]
    if in_ear_dba is not None:
        care.append(exposure_sentence(in_ear_dba))
    return FrontPage(
        title=rows.title,
        summary=rows.summary,
        rows=tuple(_rows(rows)),
        notes=(*rows.warnings, *notes),
        care=tuple(care),
    )


def _rows(rows: EveningRows) -> Iterator[FrontRow]:
    for song, join in zip(rows.songs, [*rows.joins, None], strict=True):
        yield FrontRow(
            clock=clock(song.start_s),
            what=f"{song.number}. {song.title}",
            key=song.key_words,
            tempo=song.tempo_words,
            starts=song.starts,
        )
        if join is not None:
            yield FrontRow(clock=clock(join.start_s), what=join.words, is_song=False)
