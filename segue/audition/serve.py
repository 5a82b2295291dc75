"""A vote from start to end: make the page, open the ballot, serve until stopped.

The server is Starlette and uvicorn: small, well kept, and no more than is needed. They come
with the extra ``segue[serve]``; nothing else in Segue imports this module. It answers on this
machine only, or to the phones in the room.
"""

from __future__ import annotations

import asyncio
import io
import tempfile
from contextlib import AbstractAsyncContextManager, asynccontextmanager, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Final

import uvicorn
from starlette.applications import Starlette
from starlette.middleware import Middleware

from segue.audition.limits import ClientLimits, Gate
from segue.audition.network import (
    EVERYWHERE,
    LOOPBACK,
    BoundedHeads,
    allow_open_files,
    host_names,
    lan_address,
    listening_socket,
)
from segue.audition.poll import VotedRun
from segue.audition.routes import routes
from segue.audition.secrets import Secrets, new_secrets
from segue.audition.sitting import Sitting, open_evening, open_sitting
from segue.audition.sound import served_files
from segue.errors import OptionError

if TYPE_CHECKING:
    import socket
    from collections.abc import AsyncIterator, Callable, Iterator, Sequence
    from types import FrameType

    from starlette.routing import BaseRoute

    from segue.audition.messages import Live
    from segue.audition.page import ToVoteOn

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
    """Where a vote is held, and who is told of its end.

    Parameters
    ----------
    port : int or None
        None for the usual one, or any free one.
    on_lan : bool
        Whether other machines may connect, with a join code.
    on_chosen : callable
        Called with a run folder when its vote was closed and the choice is in it.
    """

    port: int | None
    on_lan: bool
    on_chosen: Callable[[Path], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenVote:
    """A vote that is ready to be served."""

    server: LiveServer
    sock: socket.socket
    addresses: Addresses

    def serve(self) -> None:
        """Answer until the server is told to stop."""
        self.server.run(sockets=[self.sock])


@contextmanager
def open_vote(voted: ToVoteOn, hall: Hall) -> Iterator[OpenVote]:
    """Make a vote ready, for the time of a `with` block.

    Raises
    ------
    SegueError
        If there is no network, the port is taken, or a folder cannot be used.
    """
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
        sitting = _sitting(voted, Path(sounds), secrets, hall)
        names = host_names() if hall.on_lan else ("localhost",)
        yield OpenVote(
            server=vote_server(sitting, names=names),
            sock=sock,
            addresses=_addresses(sock, address, secrets, sitting.n_votes),
        )


def _sitting(voted: ToVoteOn, sounds: Path, secrets: Secrets, hall: Hall) -> Sitting:
    runs = []
    for n, (run, view) in enumerate(voted.runs):
        place = sounds / str(n)
        place.mkdir()
        files = served_files(run, view, place)
        told = partial(hall.on_chosen, run)
        runs.append(VotedRun(folder=run, view=view, files=files, on_chosen=told))
    if voted.title is None:
        return open_sitting(runs[0], secrets=secrets)
    return open_evening(voted.folder, voted.title, runs, secrets=secrets)


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


class LiveServer(uvicorn.Server):
    """uvicorn, which ends the streams of news before it waits for connections to end."""

    def __init__(self, app: Starlette, live: Live) -> None:
        self._live = live
        super().__init__(
            uvicorn.Config(
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
        )

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """End the streams, then everything."""
        self._live.stop()
        super().handle_exit(sig, frame)


def application(
    routes: Sequence[BaseRoute],
    *,
    names: tuple[str, ...],
    clients: ClientLimits,
    lifespan: Callable[[Starlette], AbstractAsyncContextManager[None]],
) -> Starlette:
    """Routes behind the gate that every request passes, as an ASGI application."""
    gate = Middleware(Gate, names=names, clients=clients)
    app = Starlette(routes=routes, middleware=[gate], lifespan=lifespan)
    app.router.redirect_slashes = False
    return app


def vote_server(sitting: Sitting, *, names: tuple[str, ...]) -> LiveServer:
    """The server of a sitting, whose ballots are closed when it ends."""

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

    app = application(routes(), names=names, clients=sitting.clients, lifespan=lifespan)
    app.state.sitting = sitting
    return LiveServer(app, sitting.live)


def qr_text(url: str) -> str:
    """A QR code of an address, as text for the terminal."""
    import segno

    out = io.StringIO()
    segno.make(url, error="m", micro=False).terminal(out, compact=True)
    return out.getvalue()


def qr_svg(url: str) -> bytes:
    """A QR code of an address as a picture."""
    import segno

    out = io.BytesIO()
    code = segno.make(url, error="m", micro=False)
    code.save(out, kind="svg", scale=5, border=4, light="#fff", dark="#000", xmldecl=False)
    return out.getvalue()
