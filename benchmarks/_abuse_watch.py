"""Cases tried in a few forked processes, with a watch on their time and memory."""

from __future__ import annotations

import json
import os
import re
import resource
import select
import time
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from benchmarks._in_process import Told, code_of, forked, run_here
from segue.errors import printable
from segue.files.sole_writer import neighbour_prefix

if TYPE_CHECKING:
    from collections.abc import Sequence

LONGEST_S: Final = 20.0
"""By the clock."""
MOST_MB: Final = 1500.0
_SPARE_MB: Final = 6000
"""Address space, of which libraries reserve more than they use; only guards the machine."""
BAD_INPUT: Final = 2
_TELLS: Final = (
    "add|change|check|choose|clear|close|copy|cut|export|free|give|install|keep|leave|make|mend|move"
    "|name|open|put|read|remove|rename|run|save|see|settle|shorten|start|take|try|update|use"
    "|wait|write"
)
REMEDY: Final = re.compile(
    rf"(^|[.:;,?!]\s+|\(|\b(or|and|then)\s+)({_TELLS})\b|did you mean '",
    re.IGNORECASE | re.MULTILINE,
)
"""Somebody is told to do something: a verb at the start of a clause, or the word that was meant."""
_TEMPORARY: Final = re.compile(r"\.(segue|set\.json|reordered)|.*\.part$", re.DOTALL)
"""Names that only something unfinished has."""
_MOST_KEPT: Final = 2000
_FRAME: Final = re.compile(r"[│╭╮╰╯─]")
EVENING: Final = "set.json"
"""An evening with a join that cannot be made is written all the same, and says so."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One command on one bad input.

    Parameters
    ----------
    command, name : str
    args : tuple of str
    culprits : tuple of str
        One of them has to be named by a refusal; none where the input is good, and
        a refusal is wrong.
    folder : str
        Nothing temporary may be left under it. Cases of one folder are tried one after the other,
        and each is judged before the next; '' where cases of other folders work there too.
    out : str
        What must not be there after a refusal; '' where there is no such thing.
    is_costly : bool
        Whether the input may well be accepted, and something be rendered or searched for.
    """

    command: str
    name: str
    args: tuple[str, ...]
    culprits: tuple[str, ...]
    folder: str
    out: str = ""
    is_costly: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What came of a case; `fault` is '' where nothing is wrong."""

    case: Case
    told: Told
    fault: str


def fault_of(case: Case, told: Told) -> str:
    """What is wrong with what a command said and left."""
    if told.code == 1 or "Traceback" in told.err:
        return "traceback"
    if told.took_s > LONGEST_S:
        return "hang"
    if told.peak_mb > MOST_MB:
        return "memory"
    if told.code not in (0, BAD_INPUT):
        return f"exit {told.code}"
    left = _left_by(case)
    if left:
        return f"left {left}"
    return _fault_of_words(case, told)


def _fault_of_words(case: Case, told: Told) -> str:
    said = told.err.strip() + told.out.strip()
    is_there = bool(case.out) and Path(case.out).exists()
    if told.code == 0:
        return "" if said or is_there else "mute"
    if is_there and not (Path(case.out) / EVENING).is_file():
        return "half-written"
    if not case.culprits:
        return "refused what is good"
    if not any(_names(culprit, said) for culprit in case.culprits):
        return "does not name the file"
    return "" if REMEDY.search(_FRAME.sub("", said)) else "no remedy"


def _left_by(case: Case) -> list[str]:
    """Temporary neighbours of what the case writes, and of all in its folder if it has its own."""
    own = Path(case.folder).rglob("*") if case.folder else iter(())
    left = [path.name for path in own if _TEMPORARY.match(path.name)]
    if case.out:
        out = Path(case.out)
        left += [path.name for path in out.parent.glob(f"{neighbour_prefix(out)}*")]
    return left


def tried(cases: Sequence[Case], *, n_processes: int) -> list[Verdict]:
    """Try all cases; one that hangs or kills its process costs a new process."""
    results: list[Verdict] = []
    shares: list[list[Case]] = [[] for _ in range(n_processes)]
    dealt: dict[str, list[Case]] = {}  # whose folder is whose
    for n, case in enumerate(cases):
        share = shares[n % n_processes]
        (dealt.setdefault(case.folder, share) if case.folder else share).append(case)
    parts = [_Part(share) for share in shares]
    while any(part.is_at_work for part in parts):
        readers = {part.reader: part for part in parts if part.is_at_work}
        for reader in select.select(list(readers), [], [], 0.5)[0]:
            results += _shown(readers[reader].received())
        for part in parts:
            results += _shown(part.overdue())
    return results


def _shown(verdicts: list[Verdict]) -> list[Verdict]:
    """Faults are printed as they come: a long run may be stopped early."""
    for verdict in verdicts:
        if verdict.fault:
            said = (verdict.told.err.strip() or verdict.told.out.strip())[-500:]
            case = verdict.case
            print(f"- {case.command}, {case.name!r}: {verdict.fault}: {said!a}", flush=True)
    return verdicts


class _Part:
    """A process and the cases that it has still to do."""

    def __init__(self, cases: list[Case]) -> None:
        self.cases = cases
        self.buffer = b""
        self._start()

    def _start(self) -> None:
        self.is_at_work = bool(self.cases)
        if not self.is_at_work:
            return
        self.reader, writer = os.pipe()
        self.child = forked(lambda: _work(self.cases, writer))
        os.close(writer)
        self.since = time.monotonic()

    def received(self) -> list[Verdict]:
        chunk = os.read(self.reader, 1 << 16)
        if not chunk:
            return self._lost("died")
        self.buffer += chunk
        *lines, self.buffer = self.buffer.split(b"\n")
        verdicts = []
        for line in lines:
            told, fault = json.loads(line)
            verdicts.append(Verdict(case=self.cases.pop(0), told=Told(**told), fault=fault))
            self.since = time.monotonic()
        return verdicts

    def overdue(self) -> list[Verdict]:
        if not self.is_at_work or time.monotonic() - self.since < LONGEST_S:
            return []
        os.kill(self.child, 9)
        return self._lost("hang")

    def _lost(self, why: str) -> list[Verdict]:
        code = code_of(self.child)
        os.close(self.reader)
        self.buffer = b""
        verdicts = []
        if self.cases:
            took_s = time.monotonic() - self.since
            told = Told(code=code, out="", err="", took_s=took_s, peak_mb=0.0)
            verdicts = [Verdict(case=self.cases.pop(0), told=told, fault=why)]
        self._start()
        return verdicts


def _work(cases: Sequence[Case], writer: int) -> int:
    limit = _SPARE_MB << 20
    resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
    for case in cases:
        said = run_here(case.args)
        told = replace(said, out=_ends_of(said.out), err=_ends_of(said.err))
        with os.fdopen(os.dup(writer), "wb") as file:
            file.write(json.dumps([asdict(told), fault_of(case, told)]).encode() + b"\n")
    return 0


def _ends_of(text: str) -> str:
    return text if len(text) <= 2 * _MOST_KEPT else f"{text[:_MOST_KEPT]} … {text[-_MOST_KEPT:]}"


def _names(culprit: str, said: str) -> bool:
    """Whether a sentence names a file; escapes and line breaks of a terminal do not matter."""
    plain = re.sub(r"[\s│╭╮╰╯─]", "", said)
    return re.sub(r"\s", "", printable(culprit)) in plain
