"""Where everything of an evening is: bars, songs, ways across and free time on one ruler."""

from __future__ import annotations

from typing import TYPE_CHECKING

from segue.setlist.evening_pen import Pen
from segue.setlist.evening_places import exit_s

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.setlist.evening_places import Crossing, EveningMap, PlayedSong


def evening_map(songs: Sequence[PlayedSong], crossings: Sequence[Crossing]) -> EveningMap:
    """Lay an evening on one ruler.

    Parameters
    ----------
    songs : sequence of PlayedSong
        In order; at least one.
    crossings : sequence of Crossing
        One fewer.

    Returns
    -------
    EveningMap

    Raises
    ------
    OptionError
        If a song is left before its bar one.
    """
    pen = Pen()
    pen.begin(songs[0])
    ends = [
        exit_s(song.end, crossing.plan)
        if crossing.leave_s is None
        else min(crossing.leave_s, exit_s(song.end, None))
        for song, crossing in zip(songs, crossings, strict=False)
    ] + [exit_s(songs[-1].end, None)]
    for number, crossing in enumerate(crossings):
        pen.lay_song(songs[number], ends[number])
        pen.cross(crossing, songs[number], songs[number + 1], ends[number + 1])
    pen.lay_song(songs[-1], ends[-1])
    pen.end(songs[-1])
    return pen.result()
