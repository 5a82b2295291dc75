"""How the phones in the room find this machine."""

from __future__ import annotations

import socket
from typing import Final

LOOPBACK: Final = "127.0.0.1"
EVERYWHERE: Final = "0.0.0.0"  # noqa: S104 - only with --lan, and behind a join code
_SOMEWHERE: Final = ("192.0.2.1", 9)
"""Reserved for documentation (RFC 5737): asking for the way there sends nothing."""


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


def qr_text(url: str) -> str:
    """A QR code of an address, as text for the terminal."""
    import io

    import segno

    out = io.StringIO()
    segno.make(url, error="m", micro=False).terminal(out, compact=True)
    return out.getvalue()
