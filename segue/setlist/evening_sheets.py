"""The cue sheets of an evening: its running order, then one sheet a song change."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from segue.render.guides import CEILING_DBFS
from segue.setlist.lengths import clock
from segue.stage.cue_sheet import CARE
from segue.stage.exposure import exposure_sentence
from segue.stage.front_page import FrontPage, FrontRow
from segue.stage.pack import CHANNELS, sheet_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from segue.setlist.evening_rows import EveningRows
    from segue.stage.cue_sheet import CueSheet

SHEETS_NAME: Final = "cue sheets.html"


def sheets_of(
    rows: EveningRows,
    *,
    channels: tuple[str, ...] = CHANNELS,
    in_ear_dba: float | None = None,
) -> tuple[CueSheet, ...]:
    """One cue sheet for each join that has a way across.

    Parameters
    ----------
    rows : EveningRows
    channels : tuple of str
        Order of the multichannel files.
    in_ear_dba : float, optional
        A level measured in the ear.

    Returns
    -------
    tuple of CueSheet
    """
    return tuple(
        sheet_of(join.document, join.record, channels=channels, in_ear_dba=in_ear_dba)
        for join in rows.joins
        if join.document is not None and join.record is not None
    )


def front_page(
    rows: EveningRows, *, notes: Sequence[str] = (), in_ear_dba: float | None = None
) -> FrontPage:
    """The running order.

    Parameters
    ----------
    rows : EveningRows
    notes : sequence of str
        What the tempo map of the evening cannot know.
    in_ear_dba : float, optional
        A level measured in the ear.

    Returns
    -------
    FrontPage
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
