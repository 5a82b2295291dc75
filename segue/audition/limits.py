"""How much a client may ask, and how long it waits after wrong codes.

Clients are told apart by their address: cookies can be thrown away. All
figures are ours: far above what a page and a hand need, far below what a
laptop cannot bear.

What every request must pass, and what every answer carries.

A foreign page in the same browser is kept out three times: by the ``Host``
header (a name that was pointed at this machine is not ours), by the
``Origin`` header (only our own page may post), and by the cookie
(``SameSite=Strict``).
"""

from __future__ import annotations

import time
from collections import OrderedDict
from dataclasses import dataclass, field
from ipaddress import ip_address
from typing import TYPE_CHECKING, Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

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


class RequestRefusalError(Exception):
    """A request that cannot be granted; its text is one sentence for the one who asks.

    Parameters
    ----------
    status : int
        Of the answer, as HTTP has it.
    """

    def __init__(self, problem: str, *, status: int) -> None:
        self.status = status
        super().__init__(problem)


class Gate:
    """Middleware around the whole server.

    Parameters
    ----------
    names : tuple of str
        Host names that are ours, without port; addresses are checked against the connection.
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
                headers.setdefault(name, value)
            headers.setdefault("cache-control", "no-store")
        await send(message)

    return sending


MOST_CLIENTS: Final = 4096
"""Addresses remembered; the one unseen for longest is forgotten first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What one address may do.

    Parameters
    ----------
    requests_a_second, burst : float
        Requests on the long run, and at once.
    body_bytes : int
        Of one request.
    body_s : float
        Until a body must have arrived.
    streams : int
        Open streams of results.
    free_tries : int
        Wrong codes without a wait.
    first_wait_s, longest_wait_s : float
        After the next wrong code, doubled with each.
    """

    requests_a_second: float = 20.0
    burst: float = 60.0
    body_bytes: int = 4096
    body_s: float = 10.0
    streams: int = 8
    free_tries: int = 3
    first_wait_s: float = 1.0
    longest_wait_s: float = 300.0


@dataclass(slots=True)
class _Client:
    tokens: float
    seen_s: float
    wrong: int = 0
    blocked_until_s: float = 0.0


@dataclass(slots=True)
class ClientLimits:
    """Keeps every address within its limits.

    Times come from the caller's clock, in seconds, and never go back.
    """

    limits: Limits
    _clients: OrderedDict[str, _Client] = field(default_factory=OrderedDict)

    def wait_s(self, address: str, now_s: float) -> float:
        """Count a request; 0 if it may pass, else how long to wait before the next.

        Examples
        --------
        >>> clients = ClientLimits(Limits(requests_a_second=2.0, burst=1.0))
        >>> [clients.wait_s("192.0.2.1", t) for t in (0.0, 0.0, 0.5)]
        [0.0, 0.5, 0.0]
        """
        client = self._client(address, now_s)
        gained = (now_s - client.seen_s) * self.limits.requests_a_second
        client.tokens = min(client.tokens + gained, self.limits.burst)
        client.seen_s = now_s
        if client.tokens >= 1.0:
            client.tokens -= 1.0
            return 0.0
        return (1.0 - client.tokens) / self.limits.requests_a_second

    def code_wait_s(self, address: str, now_s: float) -> float:
        """How long an address must not try another code."""
        return max(self._client(address, now_s).blocked_until_s - now_s, 0.0)

    def note_wrong_code(self, address: str, now_s: float) -> None:
        """Count a wrong code."""
        client = self._client(address, now_s)
        client.wrong += 1
        n_over = client.wrong - self.limits.free_tries
        if n_over > 0:
            wait_s = self.limits.first_wait_s * 2.0 ** min(n_over - 1, 20)
            client.blocked_until_s = now_s + min(wait_s, self.limits.longest_wait_s)

    def note_right_code(self, address: str, now_s: float) -> None:
        """Forget the wrong codes of an address."""
        client = self._client(address, now_s)
        client.wrong, client.blocked_until_s = 0, 0.0

    def _client(self, address: str, now_s: float) -> _Client:
        client = self._clients.get(address)
        if client is None:
            client = _Client(tokens=self.limits.burst, seen_s=now_s)
            self._clients[address] = client
            if len(self._clients) > MOST_CLIENTS:
                self._clients.popitem(last=False)
        self._clients.move_to_end(address)
        return client
