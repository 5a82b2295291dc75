"""What is said in a ballot: listeners, their votes, and the result.

Writes to the ballot one batch at a time, so that many votes share one wait for the disk.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from segue.audition.limits import RequestRefusalError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from segue.audition.ballot import Ballot
    from segue.runfolder import CandidateRecord

_Answer = TypeVar("_Answer")
_Job = tuple["Callable[[], Any]", "asyncio.Future[Any]"]


class Recorder:
    """Runs jobs that write, in order, each batch in one transaction."""

    def __init__(self, ballot: Ballot) -> None:
        self._ballot = ballot
        self._jobs: asyncio.Queue[_Job] = asyncio.Queue()

    async def do(self, job: Callable[[], _Answer]) -> _Answer:
        """Run a job; its answer comes when what it wrote is on the disk.

        Parameters
        ----------
        job : callable
            Writes to the ballot. Refuses before it has written anything.

        Raises
        ------
        BallotRefusalError
            If the job refuses, or the file is gone.
        """
        done: asyncio.Future[_Answer] = asyncio.get_running_loop().create_future()
        await self._jobs.put((job, done))
        return await done

    async def run(self) -> None:
        """Work until cancelled."""
        while True:
            batch = [await self._jobs.get()]
            while not self._jobs.empty():
                batch.append(self._jobs.get_nowait())
            try:
                answers = await asyncio.to_thread(self._written, [job for job, _ in batch])
            except Exception as error:  # noqa: BLE001 - told to everyone who waits
                answers = [error] * len(batch)
            for (_, done), answer in zip(batch, answers, strict=True):
                _settle(done, answer)

    def _written(self, jobs: list[Callable[[], Any]]) -> list[Any]:
        answers: list[Any] = []
        with self._ballot.transaction():
            for job in jobs:
                try:
                    answers.append(job())
                except BallotRefusalError as refusal:
                    answers.append(refusal)
        return answers


def _settle(done: asyncio.Future[Any], answer: object) -> None:
    if done.done():  # whoever asked has gone
        return
    if isinstance(answer, Exception):
        done.set_exception(answer)
    else:
        done.set_result(answer)


class BallotRefusalError(RequestRefusalError):
    """A request that a ballot cannot grant.

    Parameters
    ----------
    kept : Vote or None
        The vote that stands instead, if there is one.
    """

    def __init__(self, problem: str, *, status: int, kept: Vote | None = None) -> None:
        self.kept = kept
        super().__init__(problem, status=status)


@dataclass(frozen=True, slots=True, kw_only=True)
class Listener:
    """Somebody with a cookie of this round.

    Parameters
    ----------
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
    heard : tuple of int
        Ranks of all that were heard through their join, ascending.
    """

    choice: int
    confidence: int
    words: str
    heard: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """Free words, with the name of who said them and about which candidate."""

    listener: str
    choice: int
    confidence: int
    words: str


def result_values(
    records: Sequence[CandidateRecord],
    tally: Mapping[int, int],
    said: Sequence[Remark],
    *,
    choice: int | None,
) -> dict[str, object]:
    """The result as values for JSON.

    Parameters
    ----------
    choice : int or None
        What the closed vote chose; None while it is open.
    """
    names = {record.rank: _name(record) for record in records}
    labels = {record.rank: record.label for record in records}
    return {
        "n_votes": sum(tally.values()),
        "is_closed": choice is not None,
        "choice": choice,
        "tally": [
            {"rank": rank, "label": labels[rank], "name": name, "n_votes": tally.get(rank, 0)}
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


def _name(record: CandidateRecord) -> str:
    """Its recipe; of a version, also what it is called."""
    name = record.plan.recipe
    return name if record.version is None else f"{name} ({record.label})"
