"""Every join with a segue as a run folder, side by side, and only where something changed.

Each worker makes a join from its start to its end. Where that would leave one join over, at
which one works and the others look on, all of them share its steps.
"""

from __future__ import annotations

import hashlib
import time
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from segue import __version__
from segue.errors import BusyFolderError, RunFolderError, SegueError, disk_faults
from segue.files.source_digest import source_digest
from segue.heard.hearing import LISTENING_LIBRARIES, LISTENING_PARTS
from segue.job.between import earlier_run, make_segues

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from pathlib import Path

    from segue.heard import HeardEdge
    from segue.job.request import Request
    from segue.recipes import Recipe
    from segue.runfolder import RunDocument
    from segue.workers import Workers


MAKING_PARTS: Final = (*LISTENING_PARTS, "recipes", "plan", "render", "score", "job")
"""Sub-packages that decide how a join sounds and what is said of it."""
_PATIENCE_S: Final = 600.0  # seconds that one segue of an evening takes at most; by judgement
_LOOKS_EVERY_S: Final = 1.0  # seconds between two looks whether it is done
MAKING_LIBRARIES: Final = (*LISTENING_LIBRARIES, "soundfile", "pedalboard")


@dataclass(frozen=True, slots=True, kw_only=True)
class JoinWork:
    """A join to be made, or to be left as it is.

    Parameters
    ----------
    request : Request
        Its `out` is the run folder to be.
    fingerprint : str
        Of all that its sound depends on.
    """

    request: Request
    fingerprint: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeJoin:
    """A join whose run folder is there.

    Parameters
    ----------
    warnings : tuple of str
        What the band must know of how it came about.
    """

    document: RunDocument
    warnings: tuple[str, ...] = ()


def maker_digest() -> str:
    """Digest of the code that makes joins, and of the libraries that it calculates with."""
    return source_digest(MAKING_PARTS, MAKING_LIBRARIES)


def fingerprint(
    request: Request, edges: tuple[HeardEdge, HeardEdge], shelf: Sequence[Recipe], *, maker: str
) -> str:
    """Digest of all that a segue depends on, but not of where files are.

    Parameters
    ----------
    edges : (HeardEdge, HeardEdge)
        End of the old song, start of the new one.
    maker : str
        Of the code that makes it: `maker_digest`.
    """
    wanted: list[Any] = [__version__, maker, request.rate_hz, request.edge_s, request.only]
    wanted += [request.talk_s, request.match, request.shift_b, request.seed, request.purpose]
    wanted += [sorted((request.weights or {}).items()), [repr(recipe) for recipe in shelf]]
    wanted += [None if request.pad is None else hashlib.sha256(_content(request.pad)).hexdigest()]
    for edge in edges:
        wanted += [edge.sound, repr(replace(edge.facts, file=""))]
    return hashlib.sha256(repr(wanted).encode()).hexdigest()


def made_joins(
    works: Sequence[JoinWork],
    known: Mapping[str, str],
    workers: Workers | None,
    *,
    keep: Callable[[str, str], None],
    progress: Callable[[str], None],
) -> dict[str, MadeJoin | str]:
    """Make what is not there yet.

    Parameters
    ----------
    known : mapping of str to str
        Fingerprints of run folders made before, by their names.
    workers : Workers or None
        None makes nothing.
    keep : callable
        Told name and fingerprint of every run folder that is there and right.

    Returns
    -------
    dict of str to MadeJoin or str
        By name of the run folder, or why it could not be made; without what was left.
    """
    found: dict[str, MadeJoin | str] = {}
    missing = []
    for work in works:
        name = work.request.out.name
        document = _kept(work, known)
        if document is None:
            missing.append(work)
        else:
            found[name] = MadeJoin(document=document)
            keep(name, work.fingerprint)
            progress(f"{name}: as before")
    if workers is None:
        return found
    for index, outcome in _outcomes([work.request for work in missing], workers):
        work = missing[index]
        name = work.request.out.name
        found[name] = outcome
        if isinstance(outcome, MadeJoin):
            keep(name, work.fingerprint)
        progress(name)
    return found


def _outcomes(
    requests: Sequence[Request], workers: Workers
) -> Iterator[tuple[int, MadeJoin | str]]:
    """Each join or its problem, as they come."""
    is_shared = _is_last_shared(requests, workers)
    for outcome in workers.outcomes(make_join, requests[:-1] if is_shared else requests):
        yield outcome.index, outcome.result or outcome.problem or "it was not made."
    if is_shared:
        try:
            result: MadeJoin | str = make_join(requests[-1], workers)
        except SegueError as error:
            result = str(error)
        yield len(requests) - 1, result


def _is_last_shared(requests: Sequence[Request], workers: Workers) -> bool:
    """Whether all workers share the last join, as it would be left for one of them."""
    if not workers.shares_disk or len(requests) % workers.n_workers != 1:
        return False
    return replace(requests[-1], n_workers=workers.n_workers).n_useful_workers > 1


def make_join(request: Request, workers: Workers | None = None) -> MadeJoin:
    """Make one join; a task for a worker, or for all. A choice is kept if its recipe still is.

    A worker of a cluster goes on for a while with what nobody waits for any more: it is let finish.
    """
    ends_s = time.monotonic() + _PATIENCE_S
    while True:
        try:
            return _made_join(request, workers)
        except BusyFolderError:
            if time.monotonic() > ends_s:
                raise
            time.sleep(_LOOKS_EVERY_S)


def _made_join(request: Request, workers: Workers | None) -> MadeJoin:
    before = earlier_run(request.out)
    if before is not None and before.versions and not request.replace:
        labels = ", ".join(record.label for record in before.versions)
        raise RunFolderError(
            request.out,
            f"holds options that you changed ({labels}), and something about this segue has "
            "changed since: move the folder away, and run 'segue set' again.",
        )
    document = make_segues(
        request, progress=lambda _words: None, keeps_choice=True, workers=workers
    )
    if before is None or before.choice is None or document.choice is not None:
        return MadeJoin(document=document)
    lost = (
        f"From '{before.outgoing.title}' to '{before.incoming.title}' the chosen "
        f"'{before.chosen_recipe}' is no longer among the options, which were made again: "
        "listen, and choose once more."
    )
    return MadeJoin(document=document, warnings=(lost,))


def _kept(work: JoinWork, known: Mapping[str, str]) -> RunDocument | None:
    """The run that is there already, moved where it belongs if only its name has changed."""
    out = work.request.out
    if known.get(out.name) == work.fingerprint:
        return earlier_run(out)
    for name, mark in known.items():
        if mark == work.fingerprint and earlier_run(out.parent / name) is not None:
            try:
                (out.parent / name).rename(out)
            except OSError:  # another run is there
                return None
            return earlier_run(out)
    return None


def _content(path: Path) -> bytes:
    with disk_faults(path, "cannot be read ({})."):
        return path.read_bytes()
