"""One vote while it is on: what each listener may see, what they say, how it is closed."""

from __future__ import annotations

import asyncio
import hashlib
import json
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from segue.audition.ballot import Ballot
from segue.audition.messages import Live, event_text
from segue.audition.page import BALLOT_SLOT, PageView, served_page_text
from segue.audition.page_values import run_values, way_values
from segue.audition.secrets import number_for, shuffled_order
from segue.audition.votes import BallotRefusalError, Listener, Recorder, Vote, result_values
from segue.errors import RunFolderError
from segue.pages import json_block
from segue.runfolder import Choice, document_text, read_document, write_choice

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path


_SLOT = f'id="listener">{BALLOT_SLOT}'
"""With its tag: quotes and angle brackets are escaped in every name, in text as in JSON."""
MOST_SHOWN = 50
"""Free words sent to everybody, the latest; all are in the ballot file."""
_NOBODY = -1  # stands for no option where a name is drawn for a listener
# Status codes of HTTP (RFC 9110)
_NOT_HEARD, _CONFLICT, _INVALID, _UNAVAILABLE = 409, 409, 422, 503


@dataclass(frozen=True, slots=True, kw_only=True)
class _News:
    """What there is to tell, as events, at a version of `Live`."""

    version: int
    is_closed: bool
    result: str
    count: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VotedRun:
    """A run that is to be voted on.

    Parameters
    ----------
    files : mapping of str to Path
        What may be asked for by name.
    on_chosen : callable
        Called when the choice is in the run folder.
    """

    folder: Path
    view: PageView
    files: Mapping[str, Path]
    on_chosen: Callable[[], None] = lambda: None

    @property
    def title(self) -> str:
        """The old song into the new one."""
        return f"{self.view.document.outgoing.title} into {self.view.document.incoming.title}"


@dataclass(slots=True)
class Poll:
    """The state of a running vote.

    Parameters
    ----------
    base : str
        Where its addresses begin: '' where it is the only vote, else such as '/3'.
    page : str
        With the slot for the listener's ballot.
    ways : tuple of dict
        The options of a blind page, as from `way_values`; empty on an open one.
    live : Live
        Shared by all votes of a server.
    """

    run: VotedRun
    base: str
    ballot: Ballot
    page: str
    live: Live
    run_id: str = ""
    ways: tuple[dict[str, object], ...] = ()
    recorder: Recorder = field(init=False)
    _news: _News = field(init=False)

    def __post_init__(self) -> None:
        self.recorder = Recorder(self.ballot)
        self._news = _News(version=-1, is_closed=False, result="", count="")

    @property
    def view(self) -> PageView:
        """What is voted on."""
        return self.run.view

    @property
    def ranks(self) -> tuple[int, ...]:
        """Of all that can be voted for."""
        return tuple(record.rank for record in self.view.records)

    def page_for(self, listener: Listener, *, following: Mapping[str, str] | None = None) -> str:
        """The page of one listener; where names are hidden, with options of their own.

        Parameters
        ----------
        following : mapping of str to str, optional
            Address ('href') and title of the vote to go on with.
        """
        vote = self.ballot.vote_of(listener)
        is_closed = self.ballot.choice is not None
        values: dict[str, object] = {
            "is_served": True,
            "base": self.base,
            "following": following,
            "id": self.id_of(listener),
            "is_closed": is_closed,
            "vote": None if vote is None else self.vote_values(listener, vote),
        }
        if self.view.is_blind:
            values["ways"] = self._ways_for(listener)
            if is_closed or vote is not None:
                values["ranks"] = self.ranks_by_number(listener)
        return self.page.replace(_SLOT, f'id="listener">{json_block(values)}')

    def _ways_for(self, listener: Listener) -> list[dict[str, object]]:
        numbers = self.numbers_of(listener)
        order = shuffled_order(listener.seed, len(self.ways))
        return [{**self.ways[n], "key": numbers[n], "sound": str(numbers[n])} for n in order]

    def kept_name(self, listener: Listener) -> str:
        """Under which name a listener's own device keeps what was heard, as `order.js` has it."""
        return f"segue {self.run_id} {self.id_of(listener)}"

    def id_of(self, listener: Listener) -> str:
        """A name of the listener for their own device, from which nothing follows."""
        return f"{number_for(self.ballot.secret, listener.number, _NOBODY):x}"

    def numbers_of(self, listener: Listener) -> tuple[int, ...]:
        """Under which number a listener knows each record.

        Its rank, or where names are hidden one drawn for this listener alone.
        """
        if not self.view.is_blind:
            return self.ranks
        secret = self.ballot.secret
        return tuple(number_for(secret, listener.number, rank) for rank in self.ranks)

    def ranks_by_number(self, listener: Listener) -> dict[int, int]:
        """The rank behind each number of a listener."""
        return dict(zip(self.numbers_of(listener), self.ranks, strict=True))

    def vote_values(self, listener: Listener, vote: Vote) -> dict[str, object]:
        """A vote as values for JSON, in the listener's own numbers."""
        choice = dict(zip(self.ranks, self.numbers_of(listener), strict=True))[vote.choice]
        return {"choice": choice, "confidence": vote.confidence, "words": vote.words}

    def own_name(self, listener: Listener, name: str) -> str:
        """The name of a file that a listener asks for under a number of their own."""
        if not self.view.is_blind:
            return name
        bus, _, number = name.removesuffix(".mp3").partition("-")
        numbers = [str(known) for known in self.numbers_of(listener)]
        return f"{bus}-{numbers.index(number)}.mp3" if number in numbers else ""

    @property
    def result(self) -> str:
        """The result so far, for the one who runs the vote: an event that names the vote."""
        return self._news_now().result

    @property
    def n_votes(self) -> int:
        """Kept so far."""
        return sum(self.ballot.tally.values())

    @property
    def is_closed(self) -> bool:
        """Whether it takes no more votes."""
        return self.ballot.choice is not None

    def message_for(self, listener: Listener) -> str:
        """What a listener may know: the result only after their own vote."""
        news = self._news_now()
        knows = listener.is_host or news.is_closed or self.ballot.vote_of(listener) is not None
        return news.result if knows else news.count

    def _news_now(self) -> _News:
        """Made once for all after every change."""
        if self._news.version != self.live.version:
            choice, tally = self.ballot.choice, self.ballot.tally
            said = self.ballot.latest_words(MOST_SHOWN)
            result = result_values(self.view.records, tally, said, choice=choice)
            result["base"] = self.base
            self._news = _News(
                version=self.live.version,
                is_closed=choice is not None,
                result=event_text("result", result),
                count=event_text("count", {"n_votes": sum(tally.values())}),
            )
        return self._news

    async def cast(self, listener: Listener, vote: Vote) -> Vote:
        """Keep a vote in the listener's own numbers; see `Ballot.cast`.

        Returns
        -------
        Vote
            The vote that stands, with ranks.
        """
        ranks = self.ranks_by_number(listener)
        if vote.choice not in ranks:
            raise BallotRefusalError("There is no such option.", status=_INVALID)
        if vote.heard != tuple(sorted(ranks)):
            raise BallotRefusalError(
                "Listen to each across the change before you vote.", status=_NOT_HEARD
            )
        heard = tuple(sorted(self.ranks))
        known = replace(vote, choice=ranks[vote.choice], heard=heard)
        kept = await self.recorder.do(lambda: self.ballot.cast(listener, known))
        self.live.changed()
        return kept

    async def close(self, choice: Choice) -> None:
        """Close the vote and write the choice into the run folder."""
        await self.recorder.do(lambda: self._close(choice))
        self.live.changed()
        await asyncio.to_thread(self.run.on_chosen)

    def _close(self, choice: Choice) -> None:
        already = self.ballot.choice
        if already == choice.rank:
            return
        if already is not None:
            raise BallotRefusalError("The vote is closed already.", status=_CONFLICT)
        try:
            on_disk = replace(self.view, document=read_document(self.run.folder))
            if settings_of(on_disk) != settings_of(self.view):
                raise BallotRefusalError(
                    "The run folder holds another run now: start the vote anew.", status=_CONFLICT
                )
            write_choice(self.run.folder, choice)
        except RunFolderError as error:
            raise BallotRefusalError(str(error), status=_UNAVAILABLE) from error
        self.ballot.close_round(choice.rank)


def open_poll(
    run: VotedRun, *, token: str, live: Live, base: str = "", keeps_closed: bool = False
) -> Poll:
    """A poll with its ballot open; an unclosed vote on the same goes on.

    Parameters
    ----------
    token : str
        Name of the round, should one be opened.
    keeps_closed : bool
        Whether a vote on the same that was closed stays closed.

    Raises
    ------
    RunFolderError
        If votes cannot be kept in the run folder.
    """
    view = run.view
    return Poll(
        run=run,
        base=base,
        ballot=Ballot(
            run.folder, settings=settings_of(view), token=token, keeps_closed=keeps_closed
        ),
        page=served_page_text(run.folder, view),
        live=live,
        run_id=str(run_values(view)["id"]),
        ways=tuple(way_values(run.folder, view)) if view.is_blind else (),
    )


def settings_of(view: PageView) -> str:
    """What is voted on, as text that differs when it does."""
    text = document_text(replace(view.document, choice=None))
    return json.dumps(
        {
            "run": hashlib.sha256(text.encode()).hexdigest(),
            "is_blind": view.is_blind,
            "has_anchor": view.has_anchor,
        }
    )
