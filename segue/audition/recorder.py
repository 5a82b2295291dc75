"""Writes to the ballot one batch at a time, so that many votes share one wait for the disk."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any, TypeVar

from segue.audition.votes import BallotRefusalError

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.audition.ballot import Ballot

_Answer = TypeVar("_Answer")
_Job = tuple["Callable[[], Any]", "asyncio.Future[Any]"]


class Recorder:
    """Runs jobs that write, in order, each batch in one transaction.

    Parameters
    ----------
    ballot : Ballot
    """

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
