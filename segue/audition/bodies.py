"""What clients may send, checked before anything looks at it."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeVar

from annotated_types import MaxLen
from pydantic import TypeAdapter, ValidationError

from segue.audition.limits import RequestRefusalError
from segue.audition.page import MOST_NAME, MOST_WORDS

if TYPE_CHECKING:
    from starlette.requests import Request

    from segue.audition.limits import Limits

_MOST_HEARD = 64  # candidates that a ballot may list; far beyond use
_MOST_CODE = 64  # letters of a code or a token; far beyond use
_Body = TypeVar("_Body")
_ADAPTERS: dict[type, TypeAdapter[Any]] = {}
# Status codes of HTTP (RFC 9110)
BAD_REQUEST, TIMEOUT, TOO_LARGE, WRONG_TYPE, INVALID = 400, 408, 413, 415, 422


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

    Parameters
    ----------
    kind : type
        A dataclass of this module.
    limits : Limits
        Of size and time.

    Returns
    -------
    object
        Of that kind.

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
