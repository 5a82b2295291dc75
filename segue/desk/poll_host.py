"""A vote on the phones in the room, beside the desk: its own server, with its own code."""

from __future__ import annotations

import threading
from contextlib import ExitStack
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from segue.audition.network import lan_address
from segue.audition.secrets import code_to_read
from segue.audition.serve import Hall, LiveServer, open_vote

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from segue.audition.page import ToVoteOn

_LEAVE_S = 5.0  # seconds that a vote gets to end


@dataclass(slots=True)
class PollHost:
    """A vote that is on.

    Parameters
    ----------
    on : str
        Name of the run folder that is voted on, or of the set file of an evening.
    join_url : str
        For the phones.
    code : str
        To type; empty where only this machine can vote, for want of a network.
    host_url : str
        For the one who closes the vote.
    """

    on: str
    join_url: str
    code: str
    host_url: str
    _server: LiveServer
    _thread: threading.Thread
    _held: ExitStack = field(default_factory=ExitStack)

    @property
    def is_on(self) -> bool:
        """Whether phones can still vote."""
        return self._thread.is_alive()

    def stop(self) -> None:
        """End the vote; every vote is kept."""
        self._server.handle_exit(2, None)
        self._thread.join(_LEAVE_S)
        self._held.close()


def host_vote(voted: ToVoteOn, on: str, on_chosen: Callable[[Path], None]) -> PollHost:
    """Open a vote to the phones in the room, or to this machine alone, in a thread of its own.

    Parameters
    ----------
    on : str
        What the desk calls it.
    on_chosen : callable
        Called with a run folder when its vote was closed and the choice is in it.

    Raises
    ------
    SegueError
        If a run folder cannot be read, or votes cannot be kept in it.
    """
    hall = Hall(port=None, on_lan=lan_address() is not None, on_chosen=on_chosen)
    with ExitStack() as stack:
        vote = stack.enter_context(open_vote(voted, hall))
        thread = threading.Thread(target=vote.serve, name="vote", daemon=True)
        thread.start()
        found = vote.addresses
        return PollHost(
            on=on,
            join_url=found.join_url or found.listen_url,
            code="" if found.join_code is None else code_to_read(found.join_code),
            host_url=found.host_url,
            _server=vote.server,
            _thread=thread,
            _held=stack.pop_all(),
        )
