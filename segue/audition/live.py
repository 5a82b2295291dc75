"""Results as they come in: server-sent events, to each listener what they may know.

Changes are gathered for a moment before they are sent, so that two hundred
votes at once are a few messages and not two hundred for everybody.
"""

from __future__ import annotations

import asyncio
import json
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable

GATHER_S: Final = 0.5  # changes within this time are told together
STILL_HERE_S: Final = 15.0
"""Sent into silence, so that a dead connection is noticed."""


def event_text(name: str, value: object) -> str:
    r"""An event of a stream.

    Examples
    --------
    >>> event_text("count", {"n_votes": 2})
    'event: count\ndata: {"n_votes": 2}\n\n'
    """
    return f"event: {name}\ndata: {json.dumps(value)}\n\n"


def only_news(message: Callable[[], str]) -> Callable[[], str]:
    """A message that is empty where it says what it said before."""
    told = ""

    def news() -> str:
        nonlocal told
        text = message()
        if text == told:
            return ""
        told = text
        return text

    return news


class Live:
    """Tells the open streams that something has changed."""

    def __init__(self) -> None:
        self.version = 0
        self.is_stopped = False
        self._news = asyncio.Event()
        self._is_due = False
        self._streams: dict[str, int] = {}

    def changed(self) -> None:
        """Wake all streams, in a moment."""
        if not self._is_due:
            self._is_due = True
            asyncio.get_running_loop().call_later(GATHER_S, self._wake)

    def stop(self) -> None:
        """End all streams."""
        self.is_stopped = True
        self._wake()

    def _wake(self) -> None:
        self._is_due = False
        self.version += 1
        self._news.set()
        self._news = asyncio.Event()

    def has_room(self, address: str, most: int) -> bool:
        """Whether an address may open one more stream."""
        return self._streams.get(address, 0) < most

    async def messages(self, address: str, message: Callable[[], str]) -> AsyncIterator[str]:
        """The stream of one listener.

        Parameters
        ----------
        address : str
            Of the client, whose streams are counted.
        message : callable
            What the listener may know now, see `event_text`; empty for nothing new.

        Yields
        ------
        str
            Events as text (WHATWG HTML, section 9.2, from memory).
        """
        self._streams[address] = self._streams.get(address, 0) + 1
        try:
            yield "retry: 2000\n\n"
            sent = -1
            while not self.is_stopped:
                if sent != self.version:
                    sent = self.version
                    if text := message():
                        yield text
                elif not await self._has_news(sent):
                    yield ": still here\n\n"
        finally:
            self._streams[address] -= 1
            if not self._streams[address]:
                del self._streams[address]

    async def _has_news(self, sent: int) -> bool:
        news = self._news
        if sent != self.version:
            return True
        try:
            await asyncio.wait_for(news.wait(), STILL_HERE_S)
        except TimeoutError:
            return False
        return True
