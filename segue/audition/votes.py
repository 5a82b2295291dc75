"""What is said in a ballot: listeners, their votes, and the result."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from segue.runfolder import CandidateRecord


class BallotRefusalError(Exception):
    """A request that a ballot cannot grant; its text is one sentence for the listener.

    Parameters
    ----------
    problem : str
    status : int
        Of the answer, as HTTP has it.
    kept : Vote or None
        The vote that stands instead, if there is one.
    """

    def __init__(self, problem: str, *, status: int, kept: Vote | None = None) -> None:
        self.status = status
        self.kept = kept
        super().__init__(problem)


@dataclass(frozen=True, slots=True, kw_only=True)
class Listener:
    """Somebody with a cookie of this round.

    Parameters
    ----------
    number : int
        In the ballot file.
    name : str
        As typed; may be empty.
    seed : int
        Of the order in which the candidates are met.
    is_host : bool
        Whether they may close the vote.
    """

    number: int
    name: str
    seed: int
    is_host: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Vote:
    """What a listener says, once in a round.

    Parameters
    ----------
    choice : int
        Rank of a candidate; 0 is the anchor.
    confidence : int
        1 a guess, 2 fairly sure, 3 certain.
    words : str
    heard : tuple of int
        Ranks of all that were heard through their join, ascending.
    """

    choice: int
    confidence: int
    words: str
    heard: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """Free words, with the name of who said them and about which candidate."""

    listener: str
    choice: int
    confidence: int
    words: str


def result_values(
    records: Sequence[CandidateRecord],
    tally: Mapping[int, int],
    said: Sequence[Said],
    *,
    choice: int | None,
) -> dict[str, object]:
    """The result as values for JSON.

    Parameters
    ----------
    records : sequence of CandidateRecord
        All that could be voted for.
    tally : mapping of int to int
        Votes by rank.
    said : sequence of Said
    choice : int or None
        What the closed vote chose; None while it is open.

    Returns
    -------
    dict
    """
    names = {record.rank: record.plan.recipe for record in records}
    return {
        "n_votes": sum(tally.values()),
        "is_closed": choice is not None,
        "choice": choice,
        "tally": [
            {"rank": rank, "name": name, "n_votes": tally.get(rank, 0)}
            for rank, name in names.items()
        ],
        "words": [
            {
                "listener": s.listener,
                "name": names[s.choice],
                "confidence": s.confidence,
                "words": s.words,
            }
            for s in said
        ],
    }
