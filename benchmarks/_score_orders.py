"""Whether the score orders better and worse segues of real songs rightly, by kind of fault."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from benchmarks._score_better import Judged, comparisons
from benchmarks._score_real import drawn_songs, kept_segues, read_segue
from segue.score.card import card_of
from segue.score.listening_to import Listened, hear

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    from segue.score import Purpose, Scorecard

ALL_RIGHT, FAULT_RIGHT = 0.95, 0.90
LEAST_COMPARED: Final = 200
_SEED: Final = 7  # of the songs that are drawn


def judged_segues(
    folders: Sequence[Path], keep: Path, *, n_pairs: int, n_workers: int
) -> list[Judged]:
    """Every comparison that can be made of the segues between songs of some folders.

    Parameters
    ----------
    keep : Path
        Where renders are, and are put.
    """
    paths = kept_segues(drawn_songs(folders, n_pairs, seed=_SEED), keep)
    with ProcessPoolExecutor(n_workers) as pool:
        return [one for row in pool.map(_judged, paths) for one in row]


def _judged(path: Path) -> list[Judged]:
    segue = read_segue(path)
    plain = hear(segue.candidate, *segue.facts)  # the segue itself is in all of them
    changed, last = plain, segue.candidate
    known: dict[Purpose | None, Scorecard] = {}
    found = []
    for two in comparisons(segue):
        one = two.worse if two.better is segue.candidate else two.better
        if one is not last:  # the same may be asked for two purposes
            changed, last = hear(one, *segue.facts), one
        if two.purpose not in known:
            known[two.purpose] = _card(plain, two.purpose)
        cards = [known[two.purpose], _card(changed, two.purpose)]
        if two.worse is segue.candidate:
            cards.reverse()
        found.append(
            Judged(
                segue=two.segue,
                fault=two.fault,
                kind=two.kind,
                purpose=two.purpose or ("talk" if segue.is_for_talk else None),
                marks=(_marks(cards[0]), _marks(cards[1])),
                faults=(_faults(cards[0]), _faults(cards[1])),
            )
        )
    return found


def _card(heard: Listened, purpose: Purpose | None) -> Scorecard:
    return card_of(replace(heard, aim=purpose or heard.aim))


def _marks(card: Scorecard) -> dict[str, float]:
    return {measure.name: measure.score for measure in card.measures}


def _faults(card: Scorecard) -> tuple[str, ...]:
    return tuple(fault.name for fault in card.faults)


def ordered(
    judged: Iterable[Judged], ratios: Mapping[str, float] | None = None
) -> dict[str, tuple[int, int]]:
    """For each single fault, and for 'all' of them, how many are ordered rightly and of how many.

    Parameters
    ----------
    ratios : mapping, optional
        To the weights of the table.
    """
    found: dict[str, tuple[int, int]] = {"all": (0, 0)}
    for one in judged:
        is_right = one.is_right(dict(ratios or {}))
        for name in ("all", one.fault):
            right, n = found.get(name, (0, 0))
            found[name] = (right + is_right, n + 1)
    return found
