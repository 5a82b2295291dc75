"""What a tempo map does not know of a song: what lies between its two heard edges."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from segue.analysis.facts import have_pulses
from segue.plan.edges import song_end, song_start

if TYPE_CHECKING:
    from segue.setlist.evening_places import PlayedSong
    from segue.setlist.evening_ruler import Fill

SAME_TEMPO_RATIO: Final = 0.005
"""Edges whose tempos differ by less have one tempo: a third of what is noticed at best
(C. Drake and M.-C. Botte, Perception & Psychophysics 54(3), 1993, 277-286)."""

SAME_S: Final = 0.05
"""Lengths that differ by less are one."""


def fill_notes(song: PlayedSong, fill: Fill, *, before_bpm: float, after: int) -> list[str]:
    """What is to be said of the part of a song that was not heard.

    Parameters
    ----------
    song : PlayedSong
    fill : Fill
        How that part is laid.
    before_bpm : float
        Tempo of the last beat that was heard before it.
    after : int
        Number of the first bar that was heard after it.

    Returns
    -------
    list of str
        Sentences.
    """
    notes = []
    is_heard = song_start(song.start).grid.is_heard and song_end(song.end).grid.is_heard
    if not is_heard:
        notes.append(f"{song.title} has no clear pulse: its bars are only a ruler.")
    if fill.n_beats:
        bars = -(-fill.n_beats // fill.metre)
        drift_s = abs(fill.seconds - 60.0 * fill.n_beats / before_bpm)
        given = " (as long as its length says)" if abs(song.longer_s) > SAME_S else ""
        words = (
            f"{song.title}: the {fill.seconds:.0f} s that were not heard{given} are laid as "
            f"{_bars_words(after - bars, after - 1)} at {fill.bpm:.2f} BPM; "
        )
        words += (
            f"they may drift, {drift_s:.2f} s if its first tempo holds, and the clock is right "
            f"again from bar {after} on."
            if is_heard
            else f"the clock is right again from bar {after} on."
        )
        if fill.short_bar_beats:
            words += f" Bar {after - 1} has {fill.short_bar_beats} beats: whole bars do not fit."
        notes.append(words)
    start_bpm, end_bpm = song.start.pulse.tempo_bpm, song.end.pulse.tempo_bpm
    is_told = have_pulses(song.start, song.end)
    if is_told and abs(end_bpm / start_bpm - 1.0) > SAME_TEMPO_RATIO:
        notes.append(
            f"{song.title} starts at {start_bpm:.4g} and ends at {end_bpm:.4g} BPM: the change "
            f"is written at bar {after}, the first of its heard end; where in the song it is, "
            "is not known."
        )
    return notes


def _bars_words(first: int, last: int) -> str:
    """Such as 'bars 9 to 12, 4 even ones' or 'bar 9'."""
    return (
        f"bar {first}"
        if first == last
        else f"bars {first} to {last}, {last - first + 1} even ones,"
    )
