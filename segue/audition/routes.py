"""What can be asked of the server."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.responses import (
    FileResponse,
    HTMLResponse,
    JSONResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Route

from segue.audition.bodies import CloseBody, HostBody, JoinBody, VoteBody, body_of
from segue.audition.limits import RequestRefusalError, client_address, refusal
from segue.audition.page import SCRIPTS, STYLES
from segue.audition.poll import Poll
from segue.audition.secrets import code_as_drawn, new_cookie, new_seed
from segue.audition.served_files import named_file
from segue.audition.votes import BallotRefusalError, Vote
from segue.pages import filled, joined
from segue.runfolder import Choice

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from starlette.requests import Request

    from segue.audition.votes import Listener

COOKIE_S = 30 * 24 * 3600  # a listener is known for thirty days
UNKNOWN, FORBIDDEN, NOT_FOUND, BUSY = 401, 403, 404, 429  # status codes of HTTP (RFC 9110 and 6585)
SOUND_TYPES = {".mp3": "audio/mpeg", ".wav": "audio/wav"}


def routes() -> list[Route]:
    """Every address of the server."""
    return [
        Route("/", _page),
        Route("/host", _host_page),
        Route("/host", _answering(_host), methods=["POST"]),
        Route("/join", _answering(_join), methods=["POST"]),
        Route("/vote", _answering(_vote), methods=["POST"]),
        Route("/close", _answering(_close), methods=["POST"]),
        Route("/events", _events),
        Route("/joined", _joined),
        Route("/sound/{name}", _sound),
        Route("/favicon.ico", _no_icon),
        *_fixed_routes(),
    ]


def _fixed_routes() -> list[Route]:
    texts = {
        "/page.css": ("text/css", STYLES),
        "/page.js": ("text/javascript", SCRIPTS),
        "/join.js": ("text/javascript", ("join.js",)),
        "/host.js": ("text/javascript", ("post.js", "results.js", "host.js")),
    }
    return [Route(path, _fixed(joined(names), kind)) for path, (kind, names) in texts.items()]


def _fixed(text: str, kind: str) -> Callable[[Request], Awaitable[Response]]:
    async def answer(_: Request) -> Response:
        return Response(text, media_type=kind)

    return answer


def _answering(
    answer: Callable[[Request], Awaitable[Response]],
) -> Callable[[Request], Awaitable[Response]]:
    """Refusals become an answer with one sentence."""

    async def answered(request: Request) -> Response:
        try:
            return await answer(request)
        except RequestRefusalError as error:
            vote = error.kept if isinstance(error, BallotRefusalError) else None
            kept = {} if vote is None else _own_vote(request, vote)
            return JSONResponse({"problem": str(error), **kept}, status_code=error.status)

    return answered


async def _page(request: Request) -> Response:
    poll, listener = _poll(request), _listener(request)
    if listener is not None:
        return HTMLResponse(poll.page_for(listener))
    needs_code = poll.secrets.join_code is not None
    return HTMLResponse(filled("join.html", {"needs_code": needs_code}))


async def _joined(request: Request) -> Response:
    return JSONResponse({"is_joined": _listener(request) is not None})


async def _no_icon(_: Request) -> Response:
    return Response(status_code=204)


async def _host_page(_: Request) -> Response:
    return HTMLResponse(filled("host.html", {}))


async def _join(request: Request) -> Response:
    poll = _poll(request)
    body = await body_of(request, JoinBody, poll.clients.limits)
    if _listener(request) is not None:
        return JSONResponse({})
    code = poll.secrets.join_code
    if code is not None and not poll.is_right(
        code, code_as_drawn(body.code), client_address(request.scope)
    ):
        return refusal("That is not the code in the terminal.", status=FORBIDDEN)
    return await _let_in(poll, name=" ".join(body.name.split()), is_host=False)


async def _host(request: Request) -> Response:
    poll = _poll(request)
    body = await body_of(request, HostBody, poll.clients.limits)
    if not poll.is_right(poll.secrets.host_token, body.token, client_address(request.scope)):
        return refusal("Open the address that the terminal shows.", status=FORBIDDEN)
    listener = _listener(request)
    if listener is None:
        return await _let_in(poll, name="", is_host=True)
    await poll.recorder.do(lambda: poll.ballot.make_host(listener))
    return JSONResponse({})


async def _let_in(poll: Poll, *, name: str, is_host: bool) -> Response:
    cookie = new_cookie()
    await poll.recorder.do(
        lambda: poll.ballot.add_listener(cookie, name=name, seed=new_seed(), is_host=is_host)
    )
    response = JSONResponse({})
    response.set_cookie(
        poll.cookie_name, cookie, max_age=COOKIE_S, path="/", httponly=True, samesite="strict"
    )
    return response


async def _vote(request: Request) -> Response:
    poll, listener = _poll(request), _known(request)
    body = await body_of(request, VoteBody, poll.clients.limits)
    vote = Vote(
        choice=body.choice,
        confidence=body.confidence,
        words=body.words.strip(),
        heard=body.heard,
    )
    return JSONResponse(_own_vote(request, await poll.cast(listener, vote)))


def _own_vote(request: Request, vote: Vote) -> dict[str, object]:
    """A vote in the numbers of the one who asks, and the ranks behind them, now that it stands."""
    poll, listener = _poll(request), _known(request)
    ranks = {"ranks": poll.ranks_by_number(listener)} if poll.view.is_blind else {}
    return {"vote": poll.vote_values(listener, vote), **ranks}


async def _close(request: Request) -> Response:
    poll, listener = _poll(request), _known(request)
    if not listener.is_host:
        return refusal("Only the one who runs the vote may close it.", status=FORBIDDEN)
    body = await body_of(request, CloseBody, poll.clients.limits)
    await poll.close(Choice(rank=body.rank, why=body.why.strip()))
    return JSONResponse({})


async def _events(request: Request) -> Response:
    poll, listener = _poll(request), _listener(request)
    address = client_address(request.scope)
    if listener is None:
        return refusal("Join first.", status=UNKNOWN)
    if not poll.live.has_room(address, poll.clients.limits.streams):
        return refusal("Too many open pages: close one.", status=BUSY)
    stream = poll.live.messages(address, lambda: poll.message_for(listener))
    return StreamingResponse(stream, media_type="text/event-stream")


async def _sound(request: Request) -> Response:
    poll, listener = _poll(request), _listener(request)
    if listener is None:
        return refusal("Join first.", status=UNKNOWN)
    asked = request.path_params["name"]
    path = named_file(poll.files, poll.own_name(listener, asked))
    if path is None:
        return refusal("There is no such sound.", status=NOT_FOUND)
    # The usual tag is made of size and time of the file, and would be the same for all listeners.
    alike = {"etag": f'"{asked}"', "last-modified": "Thu, 01 Jan 1970 00:00:00 GMT"}
    headers = alike if poll.view.is_blind else {}
    return FileResponse(path, media_type=SOUND_TYPES[path.suffix], headers=headers)


def _poll(request: Request) -> Poll:
    poll = request.app.state.poll
    if not isinstance(poll, Poll):
        raise TypeError("the application was made without a poll")
    return poll


def _listener(request: Request) -> Listener | None:
    poll = _poll(request)
    cookie = request.cookies.get(poll.cookie_name)
    return None if cookie is None else poll.ballot.listener_of(cookie)


def _known(request: Request) -> Listener:
    listener = _listener(request)
    if listener is None:
        raise BallotRefusalError("Join first.", status=UNKNOWN)
    return listener
