"""A vote on the phones in the room, beside the desk: its own server, with its own code."""

from __future__ import annotations

import io
import tempfile
import threading
from contextlib import ExitStack
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from segue.audition.network import (
    EVERYWHERE,
    LOOPBACK,
    host_names,
    lan_address,
    listening_socket,
)
from segue.audition.page import page_view
from segue.audition.poll import VotedRun
from segue.audition.secrets import code_to_read, new_secrets
from segue.audition.serve import VoteServer
from segue.audition.served_files import served_files
from segue.audition.sitting import open_evening, open_sitting
from segue.runfolder import read_document
from segue.setlist.show.evening_votes import evening_votes

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.audition.secrets import Secrets
    from segue.audition.sitting import Sitting

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
    _server: VoteServer
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

    def qr_svg(self) -> bytes:
        """The address of the phones as a QR code."""
        import segno

        out = io.BytesIO()
        code = segno.make(self.join_url, error="m", micro=False)
        code.save(out, kind="svg", scale=5, border=4, light="#fff", dark="#000", xmldecl=False)
        return out.getvalue()


def host_poll(
    folder: Path, run: str, *, is_blind: bool, on_chosen: Callable[[Path], None]
) -> PollHost:
    """Open a vote on a run folder to the phones in the room, or to this machine alone.

    Parameters
    ----------
    run : str
        What the desk calls the folder.
    on_chosen : callable
        Called with the folder when the vote was closed and the choice is in it.

    Raises
    ------
    SegueError
        If the run folder cannot be read, or votes cannot be kept in it.
    """
    view = page_view(folder, read_document(folder), is_blind=is_blind, wants_anchor=False)

    def opened(sounds: Path, secrets: Secrets) -> Sitting:
        files = served_files(folder, view, sounds)
        told = partial(on_chosen, folder)
        voted = VotedRun(folder=folder, view=view, files=files, on_chosen=told)
        return open_sitting(voted, secrets=secrets)

    return _hosted(run, opened)


def host_evening(
    folder: Path, name: str, *, is_blind: bool, on_chosen: Callable[[Path], None]
) -> PollHost:
    """Open one ballot on every segue of an evening that is made.

    Parameters
    ----------
    folder : Path
        Of the evening.
    name : str
        Of its set file.
    on_chosen : callable
        Called with a run folder when its vote was closed and the choice is in it.

    Raises
    ------
    SegueError
        If nothing is made yet, a folder cannot be read, or votes cannot be kept in it.
    """
    title, runs = evening_votes(folder, is_blind=is_blind)

    def opened(sounds: Path, secrets: Secrets) -> Sitting:
        voted = []
        for n, (run, view) in enumerate(runs):
            place = sounds / str(n)
            place.mkdir()
            files = served_files(run, view, place)
            told = partial(on_chosen, run)
            voted.append(VotedRun(folder=run, view=view, files=files, on_chosen=told))
        return open_evening(folder, title, voted, secrets=secrets)

    return _hosted(name, opened)


def _hosted(on: str, opened: Callable[[Path, Secrets], Sitting]) -> PollHost:
    """A sitting that is served by a thread of its own."""
    address = lan_address()
    secrets = new_secrets(needs_code=address is not None)
    with ExitStack() as stack:
        sounds = stack.enter_context(tempfile.TemporaryDirectory(prefix="segue-sound-"))
        sock = stack.enter_context(
            listening_socket(LOOPBACK if address is None else EVERYWHERE, None)
        )
        names = ("localhost",) if address is None else host_names()
        server = VoteServer(opened(Path(sounds), secrets), names=names)
        thread = threading.Thread(
            target=server.run, kwargs={"sockets": [sock]}, name="vote", daemon=True
        )
        thread.start()
        port = sock.getsockname()[1]
        url = f"http://{address or LOOPBACK}:{port}/"
        code = secrets.join_code
        return PollHost(
            on=on,
            join_url=url if code is None else f"{url}#{code}",
            code="" if code is None else code_to_read(code),
            host_url=f"http://{LOOPBACK}:{port}/host#{secrets.host_token}",
            _server=server,
            _thread=thread,
            _held=stack.pop_all(),
        )
