"""``segue audition``: the page for the band, as a file or served with a ballot.

And ``segue choose``: the choice of the band, from the terminal.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from segue.cli.options import NoHints, NoOpen, Run, RunOrEvening
from segue.errors import OptionError, RunFolderError, SegueError

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.audition.page import PageView
    from segue.audition.serve import Addresses


def choose(
    run: Run,
    option: Annotated[str, typer.Argument(help="Number of the option, or a version: 2b.")],
    why: Annotated[str, typer.Option(help="Why, in your words.")] = "",
    quiet: NoHints = False,
) -> None:
    """Write down which option the band chose."""
    from rich.console import Console

    from segue.cli.hints import print_next
    from segue.runfolder import Choice, read_document, write_choice
    from segue.runfolder.run_document import candidate_of

    record = candidate_of(read_document(run), option)
    write_choice(run, Choice(rank=record.rank, why=why))
    show_on_evening_page(run)
    console = Console(soft_wrap=True)
    chosen = f"Chosen: option {record.label}, {record.plan.recipe}."
    console.print(chosen, markup=False, highlight=False)
    if not quiet:
        print_next("Make it ready for the stage", "stage", run, "--out", "PACK")


def show_on_evening_page(run: Path) -> None:
    """Write the page of the evening anew, where a run belongs to one.

    Parameters
    ----------
    run : Path
        A run folder whose choice has changed.

    Raises
    ------
    SegueError
        If the evening cannot be read, or its page not written.
    """
    evening = run.resolve().parent
    if (evening / "set.json").is_file():
        from segue.setlist.show.evening_page import rewrite_evening_page

        rewrite_evening_page(evening)


_Voted = tuple[str, tuple[tuple[Path, "PageView"], ...]]
"""Its title, and each run folder with what is voted on."""
LOWEST_PORT, HIGHEST_PORT = 0, 65_535  # of TCP, 16 bits; 0 takes a free one
SERVER_PARTS = "starlette uvicorn httptools segno"
"""As the extra 'serve' has them; by their own names, which work wherever Segue came from."""
_NO_ANCHOR = "No plain cut as a check: one of the segues is nearly a cut itself."


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
    _check_options(blind=blind, anchor=anchor, serve=serve, lan=lan, port=port)
    from segue.audition.page import page_view
    from segue.runfolder import read_document

    try:
        if (run / "set.json").is_file():
            if serve:
                from segue.setlist.show.evening_votes import evening_votes

                votes = evening_votes(run, is_blind=blind, wants_anchor=anchor)
                _serve(run, votes, port=port, on_lan=lan, opens=not no_open)
            else:
                _show_evening(run, blind=blind, opens=not no_open)
            return
        view = page_view(run, read_document(run), is_blind=blind, wants_anchor=anchor)
        if anchor and not view.has_anchor:
            _say(_NO_ANCHOR)
        if serve:
            _serve(run, view, port=port, on_lan=lan, opens=not no_open)
        else:
            _write(run, view, opens=not no_open, quiet=quiet)
    except OSError as error:
        raise RunFolderError(
            run, f"could not be written ({error.strerror or error}): make room, or mend the folder."
        ) from error


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
        import webbrowser

        webbrowser.open(page.resolve().as_uri())


def _show_evening(evening: Path, *, blind: bool, opens: bool) -> None:
    from segue.setlist.show.evening_page import rewrite_evening_page

    if blind:
        raise OptionError("--blind on an evening goes with --serve: add it.")
    page = rewrite_evening_page(evening)
    _say(f"The page of the evening: {page}")
    if opens:
        import webbrowser

        webbrowser.open(page.resolve().as_uri())


def _serve(
    folder: Path, voted: PageView | _Voted, *, port: int | None, on_lan: bool, opens: bool
) -> None:
    try:
        from segue.audition.serve import Hall, serve_evening, serve_vote
    except ModuleNotFoundError as error:
        raise OptionError(
            f"--serve needs {error.name}, which is not installed: pip install {SERVER_PARTS}."
        ) from error
    hall = Hall(port=port, on_lan=on_lan, announce=_announcer(opens=opens), on_chosen=_on_chosen)
    try:
        if isinstance(voted, tuple):
            title, runs = voted
            _say(f"Getting ready the sound of {len(runs)} segues.")
            serve_evening(folder, title, runs, hall)
        elif not voted.records:
            raise RunFolderError(
                folder, "has no segues to vote on: make some with 'segue between'."
            )
        else:
            serve_vote(folder, voted, hall)
    except KeyboardInterrupt:
        _say("Stopped. Every vote is in ballot.sqlite; start again to go on.")


def _on_chosen(run: Path) -> None:
    try:
        show_on_evening_page(run)
    except SegueError as error:  # the choice is kept, and the vote was closed
        _say(f"The page of the evening is as it was: {error}")


def _announcer(*, opens: bool) -> Callable[[Addresses], None]:
    def announce(addresses: Addresses) -> None:
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
            import webbrowser

            webbrowser.open(addresses.host_url)

    return announce


def _check_options(*, blind: bool, anchor: bool, serve: bool, lan: bool, port: int | None) -> None:
    if anchor and not blind:
        raise OptionError("--anchor goes with --blind: a plain cut that is named tells nothing.")
    if lan and not serve:
        raise OptionError("--lan goes with --serve: add it.")
    if port is not None and not serve:
        raise OptionError("--port goes with --serve: add it.")
    if port is not None and not LOWEST_PORT <= port <= HIGHEST_PORT:
        raise OptionError(f"--port {port} is outside {LOWEST_PORT} to {HIGHEST_PORT}: keep within.")


def _say(words: str) -> None:
    print(words, flush=True)
