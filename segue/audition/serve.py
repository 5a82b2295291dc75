"""A vote from start to end: make the page, open the ballot, serve until stopped.

The server is Starlette and uvicorn: small, well kept, and no more than is needed. They come
with the extra ``segue[serve]``; nothing else in Segue imports this module. It answers on this
machine only, or to the phones in the room.
"""

from __future__ import annotations

import asyncio
import tempfile
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import uvicorn
from starlette.applications import Starlette
from starlette.middleware import Middleware

from segue.audition.bounded_heads import BoundedHeads
from segue.audition.limits import Gate
from segue.audition.network import (
    EVERYWHERE,
    LOOPBACK,
    allow_open_files,
    host_names,
    lan_address,
    listening_socket,
)
from segue.audition.poll import VotedRun
from segue.audition.routes import routes
from segue.audition.secrets import Secrets, new_secrets
from segue.audition.served_files import served_files
from segue.audition.sitting import open_evening, open_sitting
from segue.errors import OptionError

if TYPE_CHECKING:
    import socket
    from collections.abc import AsyncIterator, Callable, Sequence
    from types import FrameType

    from segue.audition.page import PageView
    from segue.audition.sitting import Sitting

_MOST_CONNECTIONS: Final = 1000  # at once; more are told to come back
_IDLE_S: Final = 20  # seconds after which a silent connection is closed
_LEAVE_S: Final = 2  # seconds that open pages get when the vote ends


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Hall:
    """Where a vote is held, and who is told.

    Parameters
    ----------
    port : int or None
        None for the usual one, or any free one.
    on_lan : bool
        Whether other machines may connect, with a join code.
    announce : callable
        Told the addresses before the first request is answered.
    on_chosen : callable
        Called with a run folder when its vote was closed and the choice is in it.
    """

    port: int | None
    on_lan: bool
    announce: Callable[[Addresses], None]
    on_chosen: Callable[[Path], None]


def serve_vote(folder: Path, view: PageView, hall: Hall) -> None:
    """Serve a vote until the process is told to stop.

    Parameters
    ----------
    folder : Path
        The run folder.

    Raises
    ------
    SegueError
        If there is no network, the port is taken, or the run folder cannot be used.
    """

    def opened(sounds: Path, secrets: Secrets) -> Sitting:
        return open_sitting(_voted(folder, view, sounds, hall), secrets=secrets)

    _serve(hall, opened)


def serve_evening(
    folder: Path, title: str, runs: Sequence[tuple[Path, PageView]], hall: Hall
) -> None:
    """Serve the votes on all segues of an evening until the process is told to stop.

    Parameters
    ----------
    folder : Path
        Of the evening.
    runs : sequence of (Path, PageView)
        Its run folders, in order.

    Raises
    ------
    SegueError
        If there is no network, the port is taken, or a folder cannot be used.
    """

    def opened(sounds: Path, secrets: Secrets) -> Sitting:
        voted = []
        for n, (run, view) in enumerate(runs):
            (sounds / str(n)).mkdir()
            voted.append(_voted(run, view, sounds / str(n), hall))
        return open_evening(folder, title, voted, secrets=secrets)

    _serve(hall, opened)


def _voted(folder: Path, view: PageView, sounds: Path, hall: Hall) -> VotedRun:
    files = served_files(folder, view, sounds)
    return VotedRun(folder=folder, view=view, files=files, on_chosen=lambda: hall.on_chosen(folder))


def _serve(hall: Hall, opened: Callable[[Path, Secrets], Sitting]) -> None:
    address = lan_address() if hall.on_lan else LOOPBACK
    if address is None:
        raise OptionError(
            "--lan needs a network, and this machine has none: join one, or vote without --lan."
        )
    secrets = new_secrets(needs_code=hall.on_lan)
    allow_open_files(4 * _MOST_CONNECTIONS)
    with (
        tempfile.TemporaryDirectory(prefix="segue-sound-") as sounds,
        listening_socket(EVERYWHERE if hall.on_lan else LOOPBACK, hall.port) as sock,
    ):
        sitting = opened(Path(sounds), secrets)
        names = host_names() if hall.on_lan else ("localhost",)
        hall.announce(_addresses(sock, address, secrets, sitting.n_votes))
        VoteServer(sitting, names=names).run(sockets=[sock])


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


def server_config(app: Starlette) -> uvicorn.Config:
    """How uvicorn is to serve an application of ours."""
    return uvicorn.Config(
        app,
        http=BoundedHeads,
        log_config=None,
        log_level="error",
        access_log=False,
        proxy_headers=False,  # who asks is who connected
        server_header=False,
        ws="none",
        lifespan="on",
        limit_concurrency=_MOST_CONNECTIONS,
        timeout_keep_alive=_IDLE_S,
        timeout_graceful_shutdown=_LEAVE_S,
    )


class VoteServer(uvicorn.Server):
    """uvicorn, which ends the streams of results before it waits for connections to end.

    Parameters
    ----------
    names : tuple of str
        Host names that are ours.
    """

    def __init__(self, sitting: Sitting, *, names: tuple[str, ...]) -> None:
        self._live = sitting.live
        super().__init__(server_config(application(sitting, names=names)))

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """End the streams, then everything."""
        self._live.stop()
        super().handle_exit(sig, frame)


def application(sitting: Sitting, *, names: tuple[str, ...]) -> Starlette:
    """The server as an ASGI application.

    Parameters
    ----------
    sitting : Sitting
        Its ballots are closed when the application ends.
    names : tuple of str
        Host names that are ours.
    """

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        writing = [asyncio.create_task(recorder.run()) for recorder in sitting.recorders]
        try:
            yield
        finally:
            for task in writing:
                task.cancel()
            await asyncio.gather(*writing, return_exceptions=True)
            sitting.close()

    gate = Middleware(Gate, names=names, clients=sitting.clients)
    app = Starlette(routes=routes(), middleware=[gate], lifespan=lifespan)
    app.router.redirect_slashes = False
    app.state.sitting = sitting
    return app


def qr_text(url: str) -> str:
    """A QR code of an address, as text for the terminal."""
    import io

    import segno

    out = io.StringIO()
    segno.make(url, error="m", micro=False).terminal(out, compact=True)
    return out.getvalue()
