"""What the server knows while a vote is on."""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import json
import time
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from segue.audition.ballot import Ballot
from segue.audition.blindness import number_for, shuffled_order
from segue.audition.limits import ClientLimits, Limits
from segue.audition.live import Live, event_text
from segue.audition.page import BALLOT_SLOT, served_page_text
from segue.audition.page_values import way_values
from segue.audition.votes import BallotRefusalError, Recorder, Vote, result_values
from segue.errors import RunFolderError
from segue.pages import json_block
from segue.runfolder import Choice, document_text, read_document, write_choice

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from segue.audition.page import PageView
    from segue.audition.secrets import Secrets
    from segue.audition.votes import Listener

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


@dataclass(slots=True)
class Poll:
    """The state of a running vote.

    Parameters
    ----------
    folder : Path
        The run folder.
    view : PageView
        What is voted on.
    files : mapping of str to Path
        What may be asked for by name.
    page : str
        With the slot for the listener's ballot.
    ways : tuple of dict
        The options of a blind page, as from `way_values`; empty on an open one.
    on_chosen : callable
        Called when the choice is in the run folder.
    """

    folder: Path
    view: PageView
    files: Mapping[str, Path]
    ballot: Ballot
    secrets: Secrets
    page: str
    clients: ClientLimits
    ways: tuple[dict[str, object], ...] = ()
    on_chosen: Callable[[], None] = lambda: None
    live: Live = field(default_factory=Live)
    recorder: Recorder = field(init=False)
    _news: _News = field(init=False)

    def __post_init__(self) -> None:
        self.recorder = Recorder(self.ballot)
        self._news = _News(version=-1, is_closed=False, result="", count="")

    @property
    def cookie_name(self) -> str:
        """One for every round, as browsers share cookies among the ports of a host."""
        return f"segue-{self.ballot.token}"

    @property
    def ranks(self) -> tuple[int, ...]:
        """Of all that can be voted for."""
        return tuple(record.rank for record in self.view.records)

    def is_right(self, secret: str, typed: str, address: str) -> bool:
        """Whether a code is right; wrong ones make their sender wait.

        Raises
        ------
        BallotRefusalError
            If the sender has to wait first.
        """
        now_s = time.monotonic()
        wait_s = self.clients.code_wait_s(address, now_s)
        if wait_s > 0:
            raise BallotRefusalError(
                f"Too many wrong codes: try again in {int(wait_s) + 1} s.", status=429
            )
        if hmac.compare_digest(secret.encode(), typed.encode("utf-8", "surrogatepass")):
            self.clients.note_right_code(address, now_s)
            return True
        self.clients.note_wrong_code(address, now_s)
        return False

    def page_for(self, listener: Listener) -> str:
        """The page of one listener; where names are hidden, with options of their own."""
        vote = self.ballot.vote_of(listener)
        is_closed = self.ballot.choice is not None
        values: dict[str, object] = {
            "is_served": True,
            "base": "",
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
        await asyncio.to_thread(self.on_chosen)

    def _close(self, choice: Choice) -> None:
        already = self.ballot.choice
        if already == choice.rank:
            return
        if already is not None:
            raise BallotRefusalError("The vote is closed already.", status=_CONFLICT)
        try:
            on_disk = replace(self.view, document=read_document(self.folder))
            if settings_of(on_disk) != settings_of(self.view):
                raise BallotRefusalError(
                    "The run folder holds another run now: start the vote anew.", status=_CONFLICT
                )
            write_choice(self.folder, choice)
        except RunFolderError as error:
            raise BallotRefusalError(str(error), status=_UNAVAILABLE) from error
        self.ballot.close_round(choice.rank)


def open_poll(
    folder: Path,
    view: PageView,
    *,
    files: Mapping[str, Path],
    secrets: Secrets,
    limits: Limits | None = None,
    on_chosen: Callable[[], None] = lambda: None,
) -> Poll:
    """A poll with its ballot open; an unclosed vote on the same goes on.

    Raises
    ------
    RunFolderError
        If votes cannot be kept in the run folder.
    """
    return Poll(
        folder=folder,
        view=view,
        files=files,
        ballot=Ballot(folder, settings=settings_of(view), token=secrets.round_token),
        secrets=secrets,
        page=served_page_text(folder, view),
        clients=ClientLimits(limits or Limits()),
        ways=tuple(way_values(folder, view)) if view.is_blind else (),
        on_chosen=on_chosen,
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
