"""What can be asked of the server."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.responses import FileResponse, HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from segue.audition.limits import RequestRefusalError, client_address, refusal
from segue.audition.messages import (
    CloseBody,
    HostBody,
    JoinBody,
    VoteBody,
    body_of,
    only_news,
    stream_of,
)
from segue.audition.page import SCRIPTS, STYLES
from segue.audition.secrets import code_as_drawn, new_cookie, new_seed
from segue.audition.sitting import Sitting
from segue.audition.sound import named_file
from segue.audition.votes import BallotRefusalError, Listener, Vote
from segue.pages import filled, joined
from segue.runfolder import Choice

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from starlette.requests import Request

    from segue.audition.poll import Poll

COOKIE_S = 30 * 24 * 3600  # a listener is known for thirty days
SEE_OTHER = 303
UNKNOWN, FORBIDDEN, NOT_FOUND = 401, 403, 404  # status codes of HTTP (RFC 9110)
SOUND_TYPES = {".mp3": "audio/mpeg", ".wav": "audio/wav"}


def routes() -> list[Route]:
    """Every address of the server.

    Those of a vote stand alone where it is the only one, and behind its number in an evening.
    """
    return [
        Route("/host", _host_page),
        Route("/host", _answering(_host), methods=["POST"]),
        Route("/host/events", _answering(_host_events)),
        Route("/join", _answering(_join), methods=["POST"]),
        Route("/progress", _answering(_progress)),
        Route("/joined", _joined),
        Route("/favicon.ico", _no_icon),
        *_fixed_routes(),
        Route("/", _front_page),
        Route("/{vote:int}", _answering(_page)),
        *(
            Route(f"{base}{path}", _answering(answer), methods=methods)
            for base in ("", "/{vote:int}")
            for path, answer, methods in (
                ("/vote", _vote, ["POST"]),
                ("/close", _close, ["POST"]),
                ("/events", _events, None),
                ("/sound/{name}", _sound, None),
            )
        ),
    ]


def _fixed_routes() -> list[Route]:
    texts = {
        "/page.css": ("text/css", STYLES),
        "/page.js": ("text/javascript", SCRIPTS),
        "/join.js": ("text/javascript", ("post.js", "join.js")),
        "/lobby.js": ("text/javascript", ("post.js", "lobby.js")),
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
            kept = {} if vote is None else await _own_vote(request, vote)
            return JSONResponse({"problem": str(error), **kept}, status_code=error.status)

    return answered


async def _front_page(request: Request) -> Response:
    sitting = _sitting(request)
    cookie = _cookie(request)
    listener = sitting.known(cookie)
    if cookie is None or listener is None:
        needs_code = sitting.secrets.join_code is not None
        return HTMLResponse(filled("join.html", {"needs_code": needs_code}))
    if not sitting.is_evening:
        return HTMLResponse(_poll(request).page_for(listener))
    votes = [
        (poll, sitting.has_voted(poll, cookie), sitting.kept_name(poll, cookie))
        for poll in sitting.polls.values()
    ]
    return HTMLResponse(filled("lobby.html", {"title": sitting.title, "votes": votes}))


async def _page(request: Request) -> Response:
    """Of one vote of an evening; whoever is not in yet is led to the door."""
    poll, cookie = _poll(request), _cookie(request)
    listener = await _listener(request)
    if listener is None or cookie is None:
        return RedirectResponse("/", status_code=SEE_OTHER)
    following = _sitting(request).following(poll, cookie)
    return HTMLResponse(poll.page_for(listener, following=following))


async def _joined(request: Request) -> Response:
    known = _sitting(request).known(_cookie(request))
    return JSONResponse({"is_joined": known is not None})


async def _no_icon(_: Request) -> Response:
    return Response(status_code=204)


async def _host_page(request: Request) -> Response:
    sitting = _sitting(request)
    values = {"evening": sitting.title, "polls": tuple(sitting.polls.values())}
    return HTMLResponse(filled("host.html", values))


async def _join(request: Request) -> Response:
    sitting = _sitting(request)
    body = await body_of(request, JoinBody, sitting.clients.limits)
    if sitting.known(_cookie(request)) is not None:
        return JSONResponse({})
    code = sitting.secrets.join_code
    if code is not None and not sitting.is_right(
        code, code_as_drawn(body.code), client_address(request.scope)
    ):
        return refusal("That is not the code of this address.", status=FORBIDDEN)
    return await _let_in(sitting, name=" ".join(body.name.split()), is_host=False)


async def _host(request: Request) -> Response:
    sitting = _sitting(request)
    body = await body_of(request, HostBody, sitting.clients.limits)
    if not sitting.is_right(sitting.secrets.host_token, body.token, client_address(request.scope)):
        return refusal("Open the whole address, as it was shown to you.", status=FORBIDDEN)
    listener = sitting.known(_cookie(request))
    if listener is None:
        return await _let_in(sitting, name="", is_host=True)
    await sitting.recorder.do(lambda: sitting.lobby.make_host(listener))
    return JSONResponse({})


async def _let_in(sitting: Sitting, *, name: str, is_host: bool) -> Response:
    cookie = new_cookie()
    await sitting.recorder.do(
        lambda: sitting.lobby.add_listener(cookie, name=name, seed=new_seed(), is_host=is_host)
    )
    sitting.live.changed()
    response = JSONResponse({})
    response.set_cookie(
        sitting.cookie_name, cookie, max_age=COOKIE_S, path="/", httponly=True, samesite="strict"
    )
    return response


async def _vote(request: Request) -> Response:
    poll, listener = _poll(request), await _known(request)
    body = await body_of(request, VoteBody, _sitting(request).clients.limits)
    vote = Vote(
        choice=body.choice, confidence=body.confidence, words=body.words.strip(), heard=body.heard
    )
    return JSONResponse(await _own_vote(request, await poll.cast(listener, vote)))


async def _own_vote(request: Request, vote: Vote) -> dict[str, object]:
    """A vote in the numbers of the one who asks, and the ranks behind them, now that it stands."""
    poll, listener = _poll(request), await _known(request)
    ranks = {"ranks": poll.ranks_by_number(listener)} if poll.view.is_blind else {}
    return {"vote": poll.vote_values(listener, vote), **ranks}


async def _close(request: Request) -> Response:
    poll, listener = _poll(request), await _known(request)
    if not listener.is_host:
        return refusal("Only the one who runs the vote may close it.", status=FORBIDDEN)
    body = await body_of(request, CloseBody, _sitting(request).clients.limits)
    await poll.close(Choice(rank=body.rank, why=body.why.strip()))
    return JSONResponse({})


async def _events(request: Request) -> Response:
    poll, listener = _poll(request), await _known(request)
    return _stream(request, only_news(lambda: poll.message_for(listener)))


async def _progress(request: Request) -> Response:
    sitting = _sitting(request)
    if sitting.known(_cookie(request)) is None:
        return refusal("Join first.", status=UNKNOWN)
    return _stream(request, only_news(sitting.progress))


async def _host_events(request: Request) -> Response:
    sitting = _sitting(request)
    listener = sitting.known(_cookie(request))
    if listener is None or not listener.is_host:
        return refusal("Open the whole address, as it was shown to you.", status=FORBIDDEN)
    return _stream(request, sitting.host_messages())


def _stream(request: Request, message: Callable[[], str]) -> Response:
    sitting = _sitting(request)
    return stream_of(request, sitting.live, sitting.clients.limits, message)


async def _sound(request: Request) -> Response:
    poll, listener = _poll(request), await _known(request)
    asked = request.path_params["name"]
    path = named_file(poll.run.files, poll.own_name(listener, asked))
    if path is None:
        return refusal("There is no such sound.", status=NOT_FOUND)
    # The usual tag is made of size and time of the file, and would be the same for all listeners.
    alike = {"etag": f'"{asked}"', "last-modified": "Thu, 01 Jan 1970 00:00:00 GMT"}
    headers = alike if poll.view.is_blind else {}
    return FileResponse(path, media_type=SOUND_TYPES[path.suffix], headers=headers)


def _sitting(request: Request) -> Sitting:
    sitting = request.app.state.sitting
    if not isinstance(sitting, Sitting):
        raise TypeError("the application was made without a sitting")
    return sitting


def _poll(request: Request) -> Poll:
    """The vote that an address is of."""
    number = request.path_params.get("vote")
    poll = _sitting(request).polls.get("" if number is None else f"/{number}")
    if poll is None:
        raise RequestRefusalError("There is no such vote.", status=NOT_FOUND)
    return poll


def _cookie(request: Request) -> str | None:
    return request.cookies.get(_sitting(request).cookie_name)


async def _listener(request: Request) -> Listener | None:
    return await _sitting(request).listener_at(_poll(request), _cookie(request))


async def _known(request: Request) -> Listener:
    listener = await _listener(request)
    if listener is None:
        raise BallotRefusalError("Join first.", status=UNKNOWN)
    return listener
