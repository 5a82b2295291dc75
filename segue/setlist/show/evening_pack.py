"""The cue sheets of an evening and its pack: one tempo map, all sheets, a pack for every join."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from segue.errors import InputError, SegueError
from segue.music.tempo import clock
from segue.runfolder import whole_folder
from segue.setlist.show.rows import EveningRows, JoinRow, free_times, rows_of
from segue.setlist.tempo_map.evening_map import evening_map
from segue.setlist.tempo_map.laid_songs import Crossing, EveningMap, PlayedSong, hold_beat
from segue.stage.exposure import care_words
from segue.stage.in_evening import FrontPage, FrontRow, InEvening
from segue.stage.midi import score_bytes
from segue.stage.pack import (
    PACK_MARK,
    StageRequest,
    check_pack_place,
    markers_json,
    sheet_of,
    stage_pack,
)
from segue.stage.sheet_pages import sheets_html, sheets_pdf

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from segue.setlist.evening import Evening, EveningSong
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
    where : mapping of int to InEvening, optional
        By number of the join: its place in the evening, as from `places_of`.
    """
    where = where or {}
    return tuple(
        sheet_of(
            row.document,
            row.record,
            channels=channels,
            in_ear_dba=in_ear_dba,
            where=where.get(row.join.number),
        )
        for row in rows.joins
        if row.document is not None and row.record is not None
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
    """
    return FrontPage(
        title=rows.evening.title,
        summary=rows.summary,
        rows=tuple(_rows(rows)),
        notes=(*rows.warnings, *notes),
        care=care_words(in_ear_dba),
    )


def _rows(rows: EveningRows) -> Iterator[FrontRow]:
    for row, gap in zip(rows.songs, [*rows.joins, None], strict=True):
        yield FrontRow(
            clock=clock(row.song.start_s),
            what=f"{row.song.number}. {row.song.title}",
            key=row.key_words,
            tempo=row.tempo_words,
            starts=row.starts,
        )
        if gap is not None:
            yield FrontRow(clock=clock(gap.join.start_s), what=gap.words, is_song=False)


MAP_NAME: Final = "tempo map.mid"


@dataclass(frozen=True, slots=True, kw_only=True)
class EveningPack:
    """What was written.

    Parameters
    ----------
    notes : tuple of str
        What the pack does not know, and which joins are not chosen yet.
    running_s : float
        Of the evening, as on its page: from the start of the first song's file.
    """

    files: tuple[str, ...]
    map: EveningMap
    notes: tuple[str, ...]
    running_s: float

    @property
    def duration_s(self) -> float:
        """Length of the tempo map, from bar one of the first song to the last sound."""
        return self.map.score.ruler[-1][1]


def evening_pack(request: StageRequest, evening: Evening) -> EveningPack:
    """Write the pack of an evening.

    Parameters
    ----------
    request : StageRequest
        Its `run` is the evening's folder, with the run folders of its joins.

    Raises
    ------
    RunFolderError
        If a run folder cannot be read, or the pack not written.
    InputError
        If a sound file of a run cannot be read, or a song was not heard.
    SegueError
        If a song could not be read.
    OptionError
        If a song is too short for the ways across before and after it.
    """
    check_pack_place(request.out)
    rows = rows_of(evening)
    played = map_of(evening)
    where = places_of(evening, played)
    notes = (*_not_made(evening), *_choices(rows), *played.notes)
    sheets = sheets_of(rows, channels=request.channels, in_ear_dba=request.in_ear_dba, where=where)
    front = front_page(rows, notes=notes, in_ear_dba=request.in_ear_dba)
    files = {
        MAP_NAME: score_bytes(played.score),
        SHEETS_NAME: sheets_html(sheets, front=front).encode(),
        "cue sheets.pdf": sheets_pdf(sheets, paper=request.paper, front=front),
        PACK_MARK: markers_json(played.markers),
    }
    with whole_folder(request.out) as folder:
        check_pack_place(request.out)  # again, now that nobody else can write
        names = [
            *files,
            *(name for row in rows.joins for name in _pack(row, request, folder, where)),
        ]
        for name, content in files.items():
            (folder / name).write_bytes(content)
    return EveningPack(files=tuple(names), map=played, notes=notes, running_s=evening.running_s)


def map_of(evening: Evening) -> EveningMap:
    """The tempo map of an evening; see `segue.setlist.tempo_map.evening_map.evening_map`."""
    songs = [_played(song) for song in evening.songs]
    crossings = [
        Crossing(
            plan=join.plan,
            free=free_times(join),
            leave_s=join.leave_s if join.document is None else None,
            enter_s=join.enter_s if join.document is None else None,
        )
        for join in evening.joins
    ]
    return evening_map(songs, crossings)


def _played(song: EveningSong) -> PlayedSong:
    if song.start is None or song.end is None:
        if song.problem is not None:
            raise SegueError(song.problem)  # a whole sentence, which begins with the path
        raise InputError(song.path, "was not heard: run 'segue set' again.")
    longer_s = song.length_s - song.end.duration_s
    return PlayedSong(start=song.start, end=song.end, longer_s=longer_s)


def _pack(
    row: JoinRow, request: StageRequest, folder: Path, where: Mapping[int, InEvening]
) -> list[str]:
    """The pack of one join inside the evening's; the names of its files."""
    if row.record is None:
        return []
    name = row.join.folder
    pack = stage_pack(
        replace(
            request,
            run=request.run / name,
            out=folder / name,
            rank=row.record.rank,
            where=where.get(row.join.number),
        )
    )
    return [f"{name}/{file}" for file in pack.files]


def _not_made(evening: Evening) -> list[str]:
    return [
        f"Segue {join.number} is not made yet: the pack has no sound for it until 'segue set' has "
        "made it."
        for join in evening.joins
        if join.is_segue and join.document is None
    ]


def _choices(rows: EveningRows) -> list[str]:
    return [
        f"Segue {row.join.number} is not chosen yet: the best marked one counts, "
        f"{row.record.plan.recipe}."
        for row in rows.joins
        if row.record is not None and not row.is_chosen
    ]
