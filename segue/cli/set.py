"""``segue set``: the whole evening from one file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path  # noqa: TC003 - typer reads the types at run time
from typing import TYPE_CHECKING, Annotated

import typer

from segue.cli import options
from segue.errors import OptionError, printable

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from segue.setlist.evening import Evening
    from segue.setlist.order.better_order import BetterOrder
    from segue.setlist.set_request import SetRequest
    from segue.workers import Workers


def set_(
    file: Annotated[
        Path, typer.Argument(help="The set file (see docs/set-list.md), or a folder of songs.")
    ],
    out: Annotated[Path, typer.Option(help="Folder for the evening.")],
    slot: Annotated[str | None, typer.Option(help="Length of your slot: '45m'.")] = None,
    reorder: Annotated[
        bool, typer.Option("--reorder", help="Find a better order, and go by it.")
    ] = False,
    plan_only: Annotated[
        bool, typer.Option("--plan-only", help="Order, times and warnings; no sound.")
    ] = False,
    recipes: options.Recipes = None,
    purpose: options.For = None,
    match: options.Match = False,
    pad: options.Pad = None,
    seed: options.Seed = 0,
    rate_hz: options.RateHz = 48_000,
    edge_s: options.EdgeS = 45.0,
    workers: options.ManyWorkersN = None,
    cluster: options.Cluster = None,
    cluster_files: options.ClusterFiles = None,
    replace_votes: Annotated[
        bool, typer.Option("--replace", help="Replace segues that were voted on, too.")
    ] = False,
    no_cache: options.NoCache = False,
    json: options.Json = False,
    quiet: options.Quiet = False,
) -> None:
    """Plan a whole set: order, running time, warnings, every segue."""
    options.check_rate(rate_hz)
    options.check_edge(edge_s)
    from segue.cli.recipes import own_recipes_folder
    from segue.cli.taste import read_weights, weights_path
    from segue.setlist.set_file import read_set
    from segue.setlist.set_request import SetRequest, check_request

    if cluster is not None:  # other machines do not work in our folder
        file, out = file.absolute(), out.absolute()
        recipes, pad = (None if path is None else path.absolute() for path in (recipes, pad))
    hands = options.open_hands(
        workers,
        cluster,
        cluster_files,
        ("segue.setlist.joins", "segue.analysis.hear", "segue.render.compiled"),
    )
    set_list = read_set(file)
    if slot is not None:
        set_list = replace(set_list, slot_s=_slot_s(slot))
    request = SetRequest(
        set_list=set_list,
        out=out,
        rate_hz=rate_hz,
        edge_s=edge_s,
        recipes=recipes,
        own_recipes=own_recipes_folder(),
        purpose=purpose,
        own_weights=read_weights(weights_path()),
        match=match,
        pad=pad,
        seed=seed,
        replace=replace_votes,
        cached=not no_cache,
    )
    check_request(request)
    evening, better = _made(request, file, hands, reorder=reorder, plan_only=plan_only, quiet=quiet)
    _print(evening, better, request, file, json=json, quiet=quiet)
    if any(join.problem for join in evening.joins):
        raise typer.Exit(2)


def _made(
    request: SetRequest,
    file: Path,
    opened: AbstractContextManager[Workers],
    *,
    reorder: bool,
    plan_only: bool,
    quiet: bool,
) -> tuple[Evening, BetterOrder | None]:
    from segue.cli.hints import progress_bar
    from segue.setlist.make_set import made_evening
    from segue.setlist.set_request import evening_writer

    songs = request.set_list.songs
    n_joins = 0 if plan_only else sum(song.is_segue for song in songs[:-1])
    with (
        evening_writer(request.out),
        progress_bar(len(songs) + n_joins, quiet=quiet) as tell,
        opened as hands,
    ):
        return made_evening(
            request, hands, file=file if reorder else None, plan_only=plan_only, progress=tell
        )


def _print(
    evening: Evening,
    better: BetterOrder | None,
    request: SetRequest,
    file: Path,
    *,
    json: bool,
    quiet: bool,
) -> None:
    from segue.cli.set_tables import evening_report, order_words, print_evening, print_order
    from segue.cli.tables import print_json
    from segue.setlist.set_file import NEW_SET_NAME
    from segue.setlist.show.evening_page import EVENING_PAGE_NAME, PICTURE_NAME

    if json:
        report = {"out": str(request.out), **evening_report(evening)}
        if better is not None:
            report["order"] = {
                "words": order_words(better),
                "places": [n + 1 for n in better.order],
            }
        print_json(report)
        return
    if better is not None:
        print_order(better, request.set_list.songs)
    print_evening(evening)
    if not quiet:
        print(f"\nListen and compare: {printable(request.out / EVENING_PAGE_NAME)}")
        print(f"The evening as a picture: {printable(request.out / PICTURE_NAME)}")
        if better is not None:
            print(f"The set in this order: {printable(request.out / NEW_SET_NAME)}")
        _print_next(evening, file, request.out, is_reordered=better is not None)


def _print_next(evening: Evening, file: Path, out: Path, *, is_reordered: bool) -> None:
    from segue.cli.hints import print_next

    open_joins = [join for join in evening.joins if join.is_segue and not join.problem]
    if any(join.document is None for join in open_joins):
        order = ["--reorder"] if is_reordered else []
        print_next("Make every segue", "set", file, "--out", out, *order)
        return
    left = [join for join in open_joins if join.document and join.document.choice is None]
    if left:
        print_next("Choose together, one for each change", "audition", out, "--serve")
    print_next("Then pack the evening", "stage", out, "--out", "PACK")


def _slot_s(text: str) -> float:
    from segue.setlist.set_list import SET_FIELDS, FieldFault

    try:
        return float(SET_FIELDS["slot"](text))
    except FieldFault as fault:
        raise OptionError(f"--slot {fault}.") from fault
