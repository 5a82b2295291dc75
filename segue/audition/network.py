"""Where a server is found: its socket, its address on the network, the names that are ours."""

from __future__ import annotations

import socket
from contextlib import suppress
from typing import Final

from segue.errors import OptionError

LOOPBACK: Final = "127.0.0.1"
EVERYWHERE: Final = "0.0.0.0"  # noqa: S104 - only with --lan, and behind a join code
_SOMEWHERE: Final = ("192.0.2.1", 9)
"""Reserved for documentation (RFC 5737): asking for the way there sends nothing."""
USUAL_PORT: Final = 8437
"""Tried first; not assigned to anything well known (from memory)."""


def listening_socket(host: str, port: int | None, *, usual: int = USUAL_PORT) -> socket.socket:
    """A socket to serve on.

    Parameters
    ----------
    host : str
        Address to bind.
    port : int or None
        None for the usual one, or any free one if that is taken.
    usual : int
        The usual one.

    Raises
    ------
    OptionError
        If the port cannot be had.
    """
    tried = (usual, 0) if port is None else (port,)
    problem = ""
    for number in tried:
        # Named as TCP, or the event loop leaves small answers to wait for one another (Nagle).
        sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        try:
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            sock.bind((host, number))
            sock.listen(2048)
        except OSError as error:
            sock.close()
            problem = error.strerror or str(error)
        else:
            return sock
    raise OptionError(f"port {tried[0]} cannot be had ({problem}): name another with --port.")


def allow_open_files(n: int) -> None:
    """Let this process hold many files open, as far as the system allows.

    A connection is one, a listener who is sent a sound holds two, a ballot has six; some systems
    begin with 256.
    """
    try:
        import resource
    except ModuleNotFoundError:  # Windows, which has no such limit
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = n if hard == resource.RLIM_INFINITY else min(n, hard)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        with suppress(ValueError, OSError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))


def lan_address() -> str | None:
    """Address of this machine on the network, or None if there is no network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        try:
            sock.connect(_SOMEWHERE)
        except OSError:
            return None
        address = str(sock.getsockname()[0])
    return None if address.startswith("127.") else address


def host_names() -> tuple[str, ...]:
    """Names by which this machine may be asked, in lower case."""
    name = socket.gethostname().lower()
    bare = name.partition(".")[0]
    return ("localhost", name, bare, f"{bare}.local")
