"""What goes over the wire: bodies that clients send, checked; events that they are sent.

Results come in as server-sent events, to each listener what they may know. Changes are gathered for
a moment before they are sent, so that two hundred votes at once are a few messages and not two
hundred for everybody.
"""

from __future__ import annotations

import asyncio
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal, TypeVar

from annotated_types import MaxLen
from pydantic import TypeAdapter, ValidationError
from starlette.responses import Response, StreamingResponse

from segue.audition.limits import Limits, RequestRefusalError, client_address, refusal
from segue.audition.page import MOST_NAME, MOST_WORDS

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable

    from starlette.requests import Request


_MOST_HEARD = 64  # candidates that a ballot may list; far beyond use
_MOST_CODE = 64  # letters of a code or a token; far beyond use
_Body = TypeVar("_Body")
_ADAPTERS: dict[type, TypeAdapter[Any]] = {}
# Status codes of HTTP (RFC 9110 and 6585)
BAD_REQUEST, TIMEOUT, TOO_LARGE, WRONG_TYPE, INVALID, BUSY = 400, 408, 413, 415, 422, 429


@dataclass(frozen=True, slots=True, kw_only=True)
class JoinBody:
    """Wants to listen."""

    name: Annotated[str, MaxLen(MOST_NAME)] = ""
    code: Annotated[str, MaxLen(_MOST_CODE)] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HostBody:
    """Wants to run the vote."""

    token: Annotated[str, MaxLen(_MOST_CODE)]


@dataclass(frozen=True, slots=True, kw_only=True)
class VoteBody:
    """Votes."""

    choice: int
    confidence: Literal[1, 2, 3]
    heard: Annotated[tuple[int, ...], MaxLen(_MOST_HEARD)]
    words: Annotated[str, MaxLen(MOST_WORDS)] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CloseBody:
    """Closes the vote."""

    rank: int
    why: Annotated[str, MaxLen(MOST_WORDS)] = ""


async def body_of(request: Request, kind: type[_Body], limits: Limits) -> _Body:
    """The body of a request, as what it should be.

    Raises
    ------
    RequestRefusalError
        If it is no JSON of that kind, too long, or does not arrive.
    """
    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        raise RequestRefusalError("Only JSON is taken here.", status=WRONG_TYPE)
    try:
        async with asyncio.timeout(limits.body_s):
            raw = await _bounded(request, limits.body_bytes)
    except TimeoutError as error:
        raise RequestRefusalError("The request did not arrive in time.", status=TIMEOUT) from error
    try:
        return _adapter(kind).validate_json(raw, strict=True, extra="forbid")
    except ValidationError as error:
        first = error.errors(include_input=False)[0]
        if first["type"] == "json_invalid":
            raise RequestRefusalError("That is no JSON.", status=BAD_REQUEST) from error
        place = ".".join(str(part) for part in first["loc"])[:MOST_NAME]
        raise RequestRefusalError(
            f"What was sent does not hold together at '{place}' ({first['msg']}).", status=INVALID
        ) from error


def _adapter(kind: type[_Body]) -> TypeAdapter[_Body]:
    """Made once for every kind: making one takes longer than answering."""
    if kind not in _ADAPTERS:
        _ADAPTERS[kind] = TypeAdapter(kind)
    return _ADAPTERS[kind]


async def _bounded(request: Request, most_bytes: int) -> bytes:
    raw = bytearray()
    async for chunk in request.stream():
        raw += chunk
        if len(raw) > most_bytes:
            raise RequestRefusalError(
                f"That is too long: at most {most_bytes} bytes.", status=TOO_LARGE
            )
    return bytes(raw)


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


def stream_of(request: Request, live: Live, limits: Limits, message: Callable[[], str]) -> Response:
    """An answer that goes on: what `message` has to say, now and after every change."""
    address = client_address(request.scope)
    if not live.has_room(address, limits.streams):
        return refusal("Too many open pages: close one.", status=BUSY)
    return StreamingResponse(live.messages(address, message), media_type="text/event-stream")
