"""How much a client may ask, and how long it waits after wrong codes.

Clients are told apart by their address: cookies can be thrown away. All
figures are ours: far above what a page and a hand need, far below what a
laptop cannot bear.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Final

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

    Parameters
    ----------
    limits : Limits
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
