"""What a review could not tell, and why: silence on it would be false comfort."""

from __future__ import annotations

from typing import TYPE_CHECKING

from segue.review.report import SINGER_UNTOLD

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.review.report import Review


def notes_of(
    review: Review,
    *,
    has_singer: bool,
    knows_voice: bool,
    knows_parts: bool,
    stopped_s: float | None,
) -> tuple[str, ...]:
    """What could not be told of a try, and why.

    Parameters
    ----------
    has_singer : bool
        Whether the plan has one.
    knows_voice, knows_parts : bool
        Whether the stem of the voice, and those of the songs, are at hand.
    stopped_s : float or None
        Time of the plan from which on nothing of it is played.
    """
    notes = []
    if review.first_bar > review.bars[0].number:
        notes.append(f"The recording starts in bar {review.first_bar - 1}.")
    if review.last_bar < review.bars[-1].number:
        notes.append(f"The recording ends in bar {review.last_bar + 1}.")
    if stopped_s is not None:
        notes.append(f"Nothing of the plan is played from bar {review.bar_at(stopped_s)} on.")
    if review.untold_bars:
        notes.append(f"Not told: how late {_bars_words(review.untold_bars)}.")
    if review.gain_ratio > 1:
        notes.append("The recorder rode the gain by itself: levels are not judged.")
    if has_singer and review.missing_singer is None:
        notes += _of_singer(review, knows_voice=knows_voice)
    if not knows_parts:
        notes.append(
            "Who rests is told for the drums and the low notes alone, and roughly: "
            "the stems of the songs are not at hand."
        )
    return tuple(notes)


def _of_singer(review: Review, *, knows_voice: bool) -> Iterator[str]:
    if review.singer is None or not review.singer.is_sure:
        yield SINGER_UNTOLD
    if not knows_voice:
        yield (
            "Whether the singer was there was not told: "
            "that needs the voice's stem at hand, and a voice that stands out."
        )


def _bars_words(numbers: tuple[int, ...]) -> str:
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    told = ", ".join(f"{r[0]} to {r[-1]}" if len(r) > 1 else str(r[0]) for r in runs)
    return f"bar {told} is" if len(numbers) == 1 else f"bars {told} are"
