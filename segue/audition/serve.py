"""A vote from start to end: make the page, open the ballot, serve until stopped."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from segue.audition.desk import open_desk
from segue.audition.lan import EVERYWHERE, LOOPBACK, host_names, lan_address
from segue.audition.secrets import Secrets, new_secrets
from segue.audition.served_files import served_files
from segue.audition.server import VoteServer, listening_socket
from segue.errors import OptionError

if TYPE_CHECKING:
    import socket
    from collections.abc import Callable

    from segue.audition.view import PageView


@dataclass(frozen=True, slots=True, kw_only=True)
class Addresses:
    """Where a vote is found.

    Parameters
    ----------
    host_url : str
        For the one who runs it, on this machine; ends with the token.
    listen_url : str
        For the listeners; with --lan, on the network.
    join_url : str or None
        The same with the join code behind it.
    n_votes : int
        Kept from before the server was stopped.
    """

    host_url: str
    listen_url: str
    join_url: str | None
    join_code: str | None
    n_votes: int


def serve_vote(
    folder: Path,
    view: PageView,
    *,
    port: int | None,
    on_lan: bool,
    announce: Callable[[Addresses], None],
    on_chosen: Callable[[], None],
) -> None:
    """Serve a vote until the process is told to stop.

    Parameters
    ----------
    folder : Path
        The run folder.
    port : int or None
        None for the usual one, or any free one.
    on_lan : bool
        Whether other machines may connect, with a join code.
    announce : callable
        Told the addresses before the first request is answered.
    on_chosen : callable
        Called when the vote was closed and the choice is in the run folder.

    Raises
    ------
    SegueError
        If there is no network, the port is taken, or the run folder cannot be used.
    """
    address = lan_address() if on_lan else LOOPBACK
    if address is None:
        raise OptionError(
            "--lan needs a network, and this machine has none: join one, or vote without --lan."
        )
    secrets = new_secrets(needs_code=on_lan)
    with (
        tempfile.TemporaryDirectory(prefix="segue-sound-") as sounds,
        listening_socket(EVERYWHERE if on_lan else LOOPBACK, port) as sock,
    ):
        files = served_files(folder, view, Path(sounds))
        desk = open_desk(folder, view, files=files, secrets=secrets, on_chosen=on_chosen)
        names = host_names() if on_lan else ("localhost",)
        announce(_addresses(sock, address, secrets, sum(desk.ballot.tally.values())))
        VoteServer(desk, names=names).run(sockets=[sock])


def _addresses(sock: socket.socket, address: str, secrets: Secrets, n_votes: int) -> Addresses:
    port = sock.getsockname()[1]
    listen_url = f"http://{address}:{port}/"
    code = secrets.join_code
    return Addresses(
        host_url=f"http://{LOOPBACK}:{port}/host#{secrets.host_token}",
        listen_url=listen_url,
        join_url=None if code is None else f"{listen_url}#{code}",
        join_code=code,
        n_votes=n_votes,
    )
