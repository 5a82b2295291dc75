"""What every request must pass, and what every answer carries.

A foreign page in the same browser is kept out three times: by the ``Host``
header (a name that was pointed at this machine is not ours), by the
``Origin`` header (only our own page may post), and by the cookie
(``SameSite=Strict``).
"""

from __future__ import annotations

import time
from ipaddress import ip_address
from typing import TYPE_CHECKING, Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

    from segue.audition.limits import ClientLimits

POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
    "img-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS: Final = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}
SAFE_METHODS: Final = ("GET", "HEAD")


class Gate:
    """Middleware around the whole server.

    Parameters
    ----------
    app : ASGI application
    names : tuple of str
        Host names that are ours, without port; addresses are checked against the connection.
    clients : ClientLimits
    """

    def __init__(self, app: ASGIApp, *, names: tuple[str, ...], clients: ClientLimits) -> None:
        self._app, self._names, self._clients = app, names, clients

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or answer it here."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # an upgrade that nothing here offers: the connection is closed
        answer = self._refusal(scope) or self._app
        await answer(scope, receive, _with_headers(send))

    def _refusal(self, scope: Scope) -> ASGIApp | None:
        wait_s = self._clients.wait_s(client_address(scope), time.monotonic())
        if wait_s > 0:
            return refusal("Too many requests: wait a moment.", status=429, wait_s=wait_s)
        headers = Headers(scope=scope)
        hosts = headers.getlist("host")
        if len(hosts) != 1 or not self._is_ours(hosts[0], scope):
            return refusal("This server does not go by that name.", status=421)
        if scope["method"] in SAFE_METHODS:
            return None
        if headers.getlist("origin") != [f"http://{hosts[0]}"]:
            return refusal("Only the page of this server may send that.", status=403)
        return None

    def _is_ours(self, host: str, scope: Scope) -> bool:
        address, port = scope["server"]
        name, _, host_port = host.rpartition(":") if ":" in host else (host, "", "80")
        if host_port != str(port):
            return False
        return name == address or name.lower() in self._names or _is_address(name, address)


def client_address(scope: Scope) -> str:
    """Address of the one who asks."""
    client = scope.get("client")
    return str(client[0]) if client else ""


def refusal(problem: str, *, status: int, wait_s: float = 0.0) -> JSONResponse:
    """An answer that says no, in one sentence."""
    headers = {"retry-after": str(int(wait_s) + 1)} if wait_s > 0 else None
    return JSONResponse({"problem": problem}, status_code=status, headers=headers)


def _is_address(name: str, address: str) -> bool:
    try:
        return ip_address(name) == ip_address(address)
    except ValueError:
        return False


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers[name] = value
            headers.setdefault("cache-control", "no-store")
        await send(message)

    return sending
