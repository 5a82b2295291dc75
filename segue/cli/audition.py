"""What opens in a browser: ``segue audition``, a page or a vote for the band; ``segue desk``.

And ``segue choose``: the choice of the band, from the terminal.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from segue.cli.options import NoHints, NoOpen, Run, RunOrEvening, check_within
from segue.errors import OptionError, RunFolderError, SegueError, disk_faults

if TYPE_CHECKING:
    from segue.audition.page import PageView, ToVoteOn
    from segue.audition.serve import Addresses

_LOWEST_PORT, _HIGHEST_PORT = 0, 65_535  # of TCP, 16 bits; 0 takes a free one
SERVER_PARTS = "starlette uvicorn httptools segno"
"""As the extra 'serve' has them; by their own names, which work wherever Segue came from."""
_NO_ANCHOR = "No plain cut as a check: one of the segues is nearly a cut itself."
_MOST_MAKERS = 3
"""Processes that make a run at the desk: one for each of its options."""


def choose(
    run: Run,
    option: Annotated[str, typer.Argument(help="Number of the option, or a version: 2b.")],
    why: Annotated[str, typer.Option(help="Why, in your words.")] = "",
    quiet: NoHints = False,
) -> None:
    """Write down which option the band chose."""
    from segue.cli.hints import print_next
    from segue.runfolder import Choice, read_document, write_choice
    from segue.runfolder.run_document import candidate_of
    from segue.setlist.set_document import show_choice

    record = candidate_of(read_document(run), option)
    write_choice(run, Choice(rank=record.rank, why=why))
    show_choice(run)
    _say(f"Chosen: option {record.label}, {record.plan.recipe}.")
    if not quiet:
        print_next("Make it ready for the stage", "stage", run, "--out", "PACK")


def audition(
    run: RunOrEvening,
    blind: Annotated[
        bool, typer.Option("--blind", help="Hide names; shuffle the order for each listener.")
    ] = False,
    anchor: Annotated[
        bool, typer.Option("--anchor", help="With --blind: add a plain cut as a check.")
    ] = False,
    serve: Annotated[
        bool, typer.Option("--serve", help="Serve the page with a ballot, on this machine.")
    ] = False,
    lan: Annotated[
        bool, typer.Option("--lan", help="With --serve: for the phones in the room, by a code.")
    ] = False,
    port: Annotated[int | None, typer.Option(help="With --serve: the port.")] = None,
    no_open: NoOpen = False,
    quiet: NoHints = False,
) -> None:
    """Write the page on which the band listens and compares, and open it.

    With an evening's folder and --serve: one vote on all its segues, with one code.
    """
    if anchor and not blind:
        raise OptionError("--anchor goes with --blind: a plain cut that is named tells nothing.")
    if not serve and (lan or port is not None):
        raise OptionError(f"{'--lan' if lan else '--port'} goes with --serve: add it.")
    check_within("--port", port, _LOWEST_PORT, _HIGHEST_PORT)
    from segue.audition.page import ToVoteOn, page_view
    from segue.runfolder import read_document
    from segue.setlist.set_document import is_evening

    told = "could not be written ({}): make room, or mend the folder."
    with disk_faults(run, told, RunFolderError):
        if is_evening(run) and not serve:
            _show_evening(run, blind=blind, opens=not no_open)
            return
        if is_evening(run):
            from segue.setlist.show.evening_page import evening_votes

            voted = evening_votes(run, is_blind=blind, wants_anchor=anchor)
        else:
            view = page_view(run, read_document(run), is_blind=blind, wants_anchor=anchor)
            if anchor and not view.has_anchor:
                _say(_NO_ANCHOR)
            if not serve:
                _write(run, view, opens=not no_open, quiet=quiet)
                return
            voted = ToVoteOn(folder=run, runs=((run, view),))
        _serve(voted, port=port, on_lan=lan, opens=not no_open)


def _write(run: Path, view: PageView, *, opens: bool, quiet: bool) -> None:
    from segue.audition.page import write_blind_page, write_page

    if view.is_blind:
        page, key = write_blind_page(run, view)
        _say(f"Listen and compare: {page}")
        _say(f"What its marks stand for, for your eyes only: {key}")
    else:
        page = write_page(run, view.document)
        _say(f"Listen and compare: {page}")
    if not quiet:
        from segue.pages import TURN_DOWN

        _say(TURN_DOWN)
    if opens:
        _open(page.resolve().as_uri())


def _show_evening(evening: Path, *, blind: bool, opens: bool) -> None:
    from segue.setlist.show.evening_page import rewrite_evening_page

    if blind:
        raise OptionError("--blind on an evening goes with --serve: add it.")
    page = rewrite_evening_page(evening)
    _say(f"The page of the evening: {page}")
    if opens:
        _open(page.resolve().as_uri())


def _serve(voted: ToVoteOn, *, port: int | None, on_lan: bool, opens: bool) -> None:
    try:
        from segue.audition.serve import Hall, open_vote
    except ModuleNotFoundError as error:
        raise _missing("--serve", error) from error
    if voted.title is not None:
        _say(f"Getting ready the sound of {len(voted.runs)} segues.")
    elif not voted.runs[0][1].records:
        raise RunFolderError(
            voted.folder, "has no segues to vote on: make some with 'segue between'."
        )
    hall = Hall(port=port, on_lan=on_lan, on_chosen=_on_chosen)
    try:
        with open_vote(voted, hall) as vote:
            _announce(vote.addresses, opens=opens)
            vote.serve()
    except KeyboardInterrupt:
        _say("Stopped. Every vote is in ballot.sqlite; start again to go on.")


def _on_chosen(run: Path) -> None:
    from segue.setlist.set_document import show_choice

    try:
        show_choice(run)
    except SegueError as error:  # the choice is kept, and the vote was closed
        _say(f"The page of the evening is as it was: {error}")


def _announce(addresses: Addresses, *, opens: bool) -> None:
    from segue.audition.secrets import code_to_read
    from segue.audition.serve import qr_text
    from segue.pages import TURN_DOWN

    if addresses.join_url is not None and addresses.join_code is not None:
        print(qr_text(addresses.join_url), flush=True)
        _say(f"Join: {addresses.listen_url} with the code {code_to_read(addresses.join_code)}")
    else:
        _say(f"Listen and vote: {addresses.listen_url}")
    if addresses.n_votes:
        _say(f"The vote goes on; votes so far: {addresses.n_votes}.")
    _say(f"Run the vote, only you: {addresses.host_url}")
    _say(TURN_DOWN)
    _say("Control-C stops the server.")
    if opens:
        _open(addresses.host_url)


def desk(
    folder: Annotated[
        Path, typer.Argument(help="Your songs; what is made lies there, too.")
    ] = Path(),
    port: Annotated[int | None, typer.Option(help="The port.")] = None,
    no_open: NoOpen = False,
    quiet: NoHints = False,
) -> None:
    """Open one page on which the whole job is done, by ear and by hand."""
    check_within("--port", port, _LOWEST_PORT, _HIGHEST_PORT)
    from segue.cli.recipes import own_recipes_folder
    from segue.cli.taste import read_weights, weights_path
    from segue.workers import n_cores

    try:
        from segue.desk.desk_server import serve_desk
        from segue.desk.house import HouseRules
    except ModuleNotFoundError as error:
        raise _missing("the desk", error) from error

    def announce(url: str) -> None:
        from segue.pages import TURN_DOWN

        _say(f"The desk: {url}")
        if not quiet:
            _say(TURN_DOWN)
            _say("Only this machine can open it. Control-C stops it.")
        if not no_open:
            _open(url)

    rules = HouseRules(
        own_recipes=own_recipes_folder(),
        own_weights=read_weights(weights_path()),
        n_workers=max(2, min(n_cores(), _MOST_MAKERS)),
    )
    try:
        serve_desk(folder, port=port, rules=rules, announce=announce)
    except KeyboardInterrupt:
        _say("Stopped. Everything that was shown as kept is in the folder.")


def _missing(what: str, error: ModuleNotFoundError) -> OptionError:
    return OptionError(
        f"{what} needs {error.name}, which is not installed: pip install {SERVER_PARTS}."
    )


def _open(address: str) -> None:
    import webbrowser

    webbrowser.open(address)


def _say(words: str) -> None:
    print(words, flush=True)
