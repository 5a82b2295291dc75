"""All votes behind one address: that on one run, or those on every segue of an evening.

Who listens is known once, by one cookie and one code. Each vote is kept in the ballot file of its
own run folder; the evening's own ballot file knows who was let in.
"""

from __future__ import annotations

import hmac
import json
import time
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from segue.audition.ballot import Ballot
from segue.audition.limits import ClientLimits, Limits
from segue.audition.messages import Live, event_text, only_news
from segue.audition.poll import Poll, VotedRun, open_poll
from segue.audition.secrets import Secrets, new_seed
from segue.audition.votes import BallotRefusalError, Listener, Recorder

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path


_LOBBY_SETTINGS = json.dumps("who listens to the evening")
"""The evening's ballot file goes on whatever becomes of its segues: people stay who they are."""
_TOO_MANY = 429  # status code of HTTP (RFC 6585)


@dataclass(slots=True)
class Sitting:
    """What the server knows.

    Parameters
    ----------
    polls : mapping of str to Poll
        Every vote by where its addresses begin, in order.
    lobby : Ballot
        Who was let in; with a single vote, its own ballot.
    title : str
        Of the evening; empty for the vote on one run.
    """

    polls: Mapping[str, Poll]
    lobby: Ballot
    recorder: Recorder
    secrets: Secrets
    clients: ClientLimits
    live: Live
    title: str = ""
    _progress: tuple[int, str] = (-1, "")

    @property
    def is_evening(self) -> bool:
        """Whether there is a page on which all votes are listed."""
        return "" not in self.polls

    @property
    def cookie_name(self) -> str:
        """One for every round, as browsers share cookies among the ports of a host."""
        return f"segue-{self.lobby.token}"

    @property
    def recorders(self) -> tuple[Recorder, ...]:
        """All that write."""
        own = (self.recorder,) if self.is_evening else ()
        return (*own, *(poll.recorder for poll in self.polls.values()))

    @property
    def n_votes(self) -> int:
        """Kept so far, in all votes."""
        return sum(poll.n_votes for poll in self.polls.values())

    def close(self) -> None:
        """Let go of every ballot file."""
        for ballot in {id(b): b for b in (self.lobby, *self._ballots)}.values():
            ballot.close()

    @property
    def _ballots(self) -> tuple[Ballot, ...]:
        return tuple(poll.ballot for poll in self.polls.values())

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
                f"Too many wrong codes: try again in {int(wait_s) + 1} s.", status=_TOO_MANY
            )
        if hmac.compare_digest(secret.encode(), typed.encode("utf-8", "surrogatepass")):
            self.clients.note_right_code(address, now_s)
            return True
        self.clients.note_wrong_code(address, now_s)
        return False

    def known(self, cookie: str | None) -> Listener | None:
        """Who was let in with a cookie."""
        return None if cookie is None else self.lobby.listener_of(cookie)

    async def listener_at(self, poll: Poll, cookie: str | None) -> Listener | None:
        """Whoever holds a cookie, as one of the votes knows them.

        In an evening's votes everybody has an order of their own in each, so that a place in one
        tells nothing of a place in another.
        """
        known = self.known(cookie)
        if cookie is None or known is None or not self.is_evening:
            return known
        own = _own_cookie(poll, cookie)
        here = poll.ballot.listener_of(own)
        if here is None:
            here = await poll.recorder.do(
                lambda: poll.ballot.add_listener(
                    own, name=known.name, seed=new_seed(), is_host=False
                )
            )
        return replace(here, is_host=known.is_host)

    def has_voted(self, poll: Poll, cookie: str) -> bool:
        """Whether whoever holds a cookie has voted there."""
        here = self._here(poll, cookie)
        return here is not None and poll.ballot.vote_of(here) is not None

    def kept_name(self, poll: Poll, cookie: str) -> str:
        """Under which name their device keeps what they heard there; empty before a visit."""
        here = self._here(poll, cookie)
        return "" if here is None else poll.kept_name(here)

    def _here(self, poll: Poll, cookie: str) -> Listener | None:
        return poll.ballot.listener_of(_own_cookie(poll, cookie) if self.is_evening else cookie)

    def following(self, poll: Poll, cookie: str) -> dict[str, str] | None:
        """The vote to go on with: the next one that is open and waits for this listener."""
        if not self.is_evening:
            return None
        bases = list(self.polls)
        at = bases.index(poll.base)
        for base in (*bases[at + 1 :], *bases[:at]):
            other = self.polls[base]
            if not other.is_closed and not self.has_voted(other, cookie):
                return {"href": base, "title": other.run.title}
        return {"href": "/", "title": ""}

    def progress(self) -> str:
        """How far the votes of an evening are: an event, made once for all after every change."""
        if self._progress[0] != self.live.version:
            votes = [
                {"base": poll.base, "n_votes": poll.n_votes, "is_closed": poll.is_closed}
                for poll in self.polls.values()
            ]
            self._progress = self.live.version, event_text("progress", {"votes": votes})
        return self._progress[1]

    def host_messages(self) -> Callable[[], str]:
        """What the one who runs the votes is told: results that have changed, and who is in."""
        joined = only_news(lambda: event_text("joined", {"n": self.lobby.n_listeners}))
        results = [only_news(lambda poll=poll: poll.result) for poll in self.polls.values()]  # type: ignore[misc] # a default holds the loop's variable
        return lambda: "".join(news() for news in (joined, *results))


def _own_cookie(poll: Poll, cookie: str) -> str:
    """What stands for a cookie in one vote of an evening, and in each of its rounds."""
    return f"{poll.ballot.round} {cookie}"


def open_sitting(run: VotedRun, *, secrets: Secrets, limits: Limits | None = None) -> Sitting:
    """The vote on one run, with its ballot open; an unclosed one on the same goes on.

    Raises
    ------
    RunFolderError
        If votes cannot be kept in the run folder.
    """
    live = Live()
    poll = open_poll(run, token=secrets.round_token, live=live)
    return Sitting(
        polls={"": poll},
        lobby=poll.ballot,
        recorder=poll.recorder,
        secrets=secrets,
        clients=ClientLimits(limits or Limits()),
        live=live,
    )


def open_evening(
    folder: Path,
    title: str,
    runs: Sequence[VotedRun],
    *,
    secrets: Secrets,
    limits: Limits | None = None,
) -> Sitting:
    """The votes on all segues of an evening; those that were closed stay closed.

    Where all of them were, they are opened anew.

    Raises
    ------
    RunFolderError
        If votes cannot be kept in a folder.
    """
    live, token = Live(), secrets.round_token

    def polls(*, keeps_closed: bool) -> dict[str, Poll]:
        return {
            f"/{n}": open_poll(run, token=token, live=live, base=f"/{n}", keeps_closed=keeps_closed)
            for n, run in enumerate(runs, start=1)
        }

    opened = polls(keeps_closed=True)
    if all(poll.is_closed for poll in opened.values()):
        for poll in opened.values():
            poll.ballot.close()
        opened = polls(keeps_closed=False)
    lobby = Ballot(folder, settings=_LOBBY_SETTINGS, token=token)
    return Sitting(
        polls=opened,
        lobby=lobby,
        recorder=Recorder(lobby),
        secrets=secrets,
        clients=ClientLimits(limits or Limits()),
        live=live,
        title=title,
    )
