"""The evening as it is printed: a table of songs and segues, warnings, and a better order."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from rich.console import Console

from segue.cli.hints import plain_table, print_sentence
from segue.music.tempo import clock
from segue.setlist.cautions import slot_cautions
from segue.setlist.show.rows import capital, rows_of, running_words

if TYPE_CHECKING:
    from segue.setlist.evening import Evening
    from segue.setlist.order.better_order import BetterOrder
    from segue.setlist.set_list import SetSong

_NARROW = 90
"""Columns of a terminal below which a join is told under its songs, not beside them."""


def print_evening(evening: Evening) -> None:
    """Print songs and segues in order, then the running time and all warnings."""
    console = Console(soft_wrap=False)
    is_narrow = console.width < _NARROW
    table = plain_table()
    table.add_column("at", justify="right", no_wrap=True)
    for heading in ("song", "key", "BPM"):
        table.add_column(heading, overflow="fold")
    if not is_narrow:
        table.add_column("to the next", overflow="fold")
    rows = rows_of(evening)
    for row, gap in zip(rows.songs, [*rows.joins, None], strict=True):
        words = "" if gap is None else gap.line
        told = row.key_words or "?", row.tempo_words or "?"
        cells = [clock(row.song.start_s), f"{row.song.number} {row.song.title}", *told]
        table.add_row(*cells, *([] if is_narrow else [words]))
        if is_narrow and words:
            table.add_row("", f"  {words}", "", "")
    console.print(table, markup=False, highlight=False)
    words = running_words(evening.running_s, evening.slot_s)
    for sentence in (f"\n{capital(words)}", *filter(None, [rows.open_words])):
        console.print(sentence, markup=False, highlight=False)
    for sentence in all_warnings(evening):
        print_sentence(console, "  ! ", sentence)


def all_warnings(evening: Evening) -> list[str]:
    """Of the joins, in order, then of the evening, each once."""
    sentences = [words for join in evening.joins for words in join.warnings]
    sentences += [caution.words for caution in slot_cautions(evening)]
    sentences += evening.warnings
    told = {song.problem for song in evening.songs}
    sentences += [
        f"Segue {join.number} was not made: {join.problem}"
        for join in evening.joins
        if join.problem and join.problem not in told
    ]
    return list(dict.fromkeys(sentences))


def print_order(better: BetterOrder, songs: tuple[SetSong, ...]) -> None:
    """Print the order that is proposed, what it costs, and why it is taken to be good."""
    print(order_words(better))
    for place, n in enumerate(better.order, start=1):
        moved = "" if n + 1 == place else f"  (was {n + 1})"
        print(f"  {place:2d} {songs[n].title}{moved}")
    print()


def order_words(better: BetterOrder) -> str:
    """What the order costs and what is proven of it, in sentences."""
    kept = "that keeps your fixed places"
    is_same = better.order == tuple(range(len(better.order)))
    if is_same:
        words, effort = "Your order stays.", f"{better.new_cost:.2f}"
    else:
        words = "A better order is proposed."
        was = "yours breaks a fixed place" if math.isinf(better.old_cost) else None
        was = was or f"yours {better.old_cost:.2f}"
        effort = f"{better.new_cost:.2f}; {was}"
    if better.is_exact:
        words = (
            f"Your order is already the best {kept}."
            if is_same
            else f"{words[:-1]}, the best {kept}."
        )
        return f"{words} Effort of all its changes: {effort}."
    return (
        f"{words} Effort of all its changes: {effort}; no order {kept} needs less than "
        f"{better.least_cost:.2f}."
    )


def evening_report(evening: Evening) -> dict[str, Any]:
    """An evening as JSON values, without the facts in full."""
    rows = rows_of(evening)
    return {
        "title": evening.title,
        "running_s": round(evening.running_s, 3),
        "slot_s": evening.slot_s,
        "songs": [
            {
                "number": song.number,
                "title": song.title,
                "keys": row.key_words or "?",
                "tempos_bpm": row.tempo_words or "?",
                "start_s": round(song.start_s, 3),
                "end_s": round(song.end_s, 3),
                "energy": song.energy,
                "voice": song.voice,
            }
            for song, row in zip(evening.songs, rows.songs, strict=True)
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
