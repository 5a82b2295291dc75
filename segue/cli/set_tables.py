"""The evening as it is printed: a table of songs and joins, warnings, and a better order."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from rich.console import Console
from rich.table import Table

from segue.cli.hints import print_sentence
from segue.setlist.cautions import slot_cautions
from segue.setlist.lengths import clock
from segue.setlist.show.rows import (
    running_words,
    song_row,
    step_words,
    uncovered_times,
    wanted_times,
)

if TYPE_CHECKING:
    from segue.setlist.evening import Evening, EveningJoin, EveningSong
    from segue.setlist.order.better_order import BetterOrder
    from segue.setlist.set_list import SetSong

_NARROW = 90
"""Columns of a terminal below which a join is told under its songs, not beside them."""


def print_evening(evening: Evening) -> None:
    """Print songs and joins in order, then the running time and all warnings."""
    console = Console(soft_wrap=False)
    is_narrow = console.width < _NARROW
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("at", justify="right", no_wrap=True)
    for heading in ("song", "key", "BPM"):
        table.add_column(heading, overflow="fold")
    if not is_narrow:
        table.add_column("to the next", overflow="fold")
    for song, join in zip(evening.songs, [*evening.joins, None], strict=True):
        words = "" if join is None else join_words(join, evening)
        cells = [clock(song.start_s), f"{song.number} {song.title}", _keys(song), _tempos(song)]
        table.add_row(*cells, *([] if is_narrow else [words]))
        if is_narrow and words:
            table.add_row("", f"  {words}", "", "")
    console.print(table, markup=False, highlight=False)
    words = running_words(evening.running_s, evening.slot_s)
    console.print(f"\n{words[0].upper()}{words[1:]}", markup=False, highlight=False)
    for sentence in all_warnings(evening):
        print_sentence(console, "  ! ", sentence)


def join_words(join: EveningJoin, evening: Evening) -> str:
    """Distance in key and tempo, and what happens, in a line."""
    old, new = evening.songs[join.number - 1], evening.songs[join.number]
    parts = [*step_words(join, old, new)]
    free = [f"{name} {seconds:.0f} s" for name, seconds in uncovered_times(join)]
    if join.recipe:
        wanted = "".join(f", {name} {seconds:.0f} s" for name, seconds in wanted_times(join))
        parts.append(f"{join.recipe}, {join.interlude_s:.0f} s{wanted}")
        free = [f"of these without music: {', '.join(free)}"] if free else []
    else:
        parts.append("no segue made" if join.is_segue else "stop")
    parts += free
    return "; ".join(parts)


def all_warnings(evening: Evening) -> list[str]:
    """Of the joins, in order, then of the evening, each once."""
    sentences = [words for join in evening.joins for words in join.warnings]
    sentences += [*slot_cautions(evening), *evening.warnings]
    told = {song.problem for song in evening.songs}
    sentences += [
        f"Join {join.number} was not made: {join.problem}"
        for join in evening.joins
        if join.problem and join.problem not in told
    ]
    return list(dict.fromkeys(sentences))


def print_order(better: BetterOrder, songs: tuple[SetSong, ...]) -> None:
    """Print the order that is proposed, what it costs, and why it is taken to be good.

    Parameters
    ----------
    songs : tuple of SetSong
        As written.
    """
    console = Console(soft_wrap=True)
    console.print(order_words(better), markup=False, highlight=False)
    for place, n in enumerate(better.order, start=1):
        moved = "" if n + 1 == place else f"  (was {n + 1})"
        console.print(f"  {place:2d} {songs[n].title}{moved}", markup=False, highlight=False)
    console.print("")


def order_words(better: BetterOrder) -> str:
    """What the order costs and what is proven of it, in sentences."""
    old = "breaks a pin" if math.isinf(better.old_cost) else f"costs {better.old_cost:.2f}"
    if better.order == tuple(range(len(better.order))):
        words = f"The order as written stays: it {old}."
    else:
        words = f"Proposed order: it costs {better.new_cost:.2f}; the one as written {old}."
    if better.is_exact:
        return f"{words} No order that keeps the pins costs less."
    return f"{words} No order costs less than {better.least_cost:.2f}: a gap of {better.gap:.0%}."


def evening_report(evening: Evening) -> dict[str, Any]:
    """An evening as JSON values, without the facts in full."""
    return {
        "title": evening.title,
        "running_s": round(evening.running_s, 3),
        "slot_s": evening.slot_s,
        "songs": [
            {
                "number": song.number,
                "title": song.title,
                "keys": _keys(song),
                "tempos_bpm": _tempos(song),
                "start_s": round(song.start_s, 3),
                "end_s": round(song.end_s, 3),
                "energy": song.energy,
                "voice": song.voice,
            }
            for song in evening.songs
        ],
        "joins": [
            {
                "number": join.number,
                "folder": join.folder,
                "recipe": join.recipe,
                "is_segue": join.is_segue,
                "key_distance": join.key_distance,
                "tempo_ratio": join.tempo_ratio,
                "interlude_s": round(join.interlude_s, 3),
                "talk_s": join.talk_s,
                "changeover_s": join.changeover_s,
                "problem": join.problem,
            }
            for join in evening.joins
        ],
        "warnings": all_warnings(evening),
    }


def _keys(song: EveningSong) -> str:
    return song_row(song).key_words or "?"


def _tempos(song: EveningSong) -> str:
    return song_row(song).tempo_words or "?"
