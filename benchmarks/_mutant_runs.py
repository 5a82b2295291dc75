"""Tests of a room, run on a damaged copy of the tree.

Which test files run which lines is found once, each in a process of its own (so what
fixtures of a module or of the session run counts too), and kept if a file for it is named.
"""

import contextlib
import hashlib
import itertools
import json
import math
import os
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from coverage import CoverageData

from benchmarks._mutant_draw import Mutant

PYTEST: Final = ("-m", "pytest", "-x", "-q", "--no-header", "-p", "no:cacheprovider")
LEAST_CPU_S: Final = 40
"""Processor time that any mutant's tests may take."""
CPU_RATIO: Final = 4
"""And so many times what they took undamaged: damage may well loop for ever."""
WALL_RATIO: Final = 12
"""By the clock so many times the processor time allowed, for other work may go on."""
NO_TESTS: Final = 5
"""pytest's exit status where it found none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TestFile:
    """A file of tests: what fails undamaged ('' if nothing), cost, lines run by source file."""

    __test__ = False

    path: str
    key: str
    failure: str
    cpu_s: float
    lines: dict[str, list[int]]


def copy_tree(root: Path, to: Path) -> None:
    """What git tracks or would, without what it ignores."""
    command = ("git", "ls-files", "-z", "--cached", "--others", "--exclude-standard")
    listed = subprocess.run(command, cwd=root, check=True, capture_output=True).stdout
    for name in filter(None, listed.decode().split("\0")):
        source = root / name
        if source.is_file():
            (to / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(source, to / name)


def test_files(tree: Path, room: str) -> list[str]:
    """Files of a room's tests, doctests among them, relative to the tree."""
    doctests = [p for p in (tree / "segue" / room).rglob("*.py") if ">>>" in p.read_text("utf-8")]
    found = sorted((tree / "tests" / room).rglob("test_*.py")) + sorted(doctests)
    return [str(path.relative_to(tree)) for path in found]


def mapped(tree: Path, room: str, name: str, known: dict[str, dict]) -> TestFile:
    """A file of a room's tests with what it runs, as `known` of an earlier map or tried anew.

    A failure is never taken from a map: it may be that of a machine without a browser.
    """
    key = _key(tree, room, tree / name)
    of_old = known.get(name, {})
    if of_old.get("key") == key and of_old.get("failure") == "":
        return TestFile(**of_old)
    return _tried(tree, name, key)


def _key(tree: Path, room: str, path: Path) -> str:
    """Digest of the program, of the file and of what the room's tests share."""
    shared = [p for p in (tree / "tests" / room).glob("*.py") if not p.name.startswith("test_")]
    digest = hashlib.sha256()
    for part in (*sorted((tree / "segue").rglob("*.py")), *sorted(shared), path):
        digest.update(str(part.relative_to(tree)).encode() + b"\0" + part.read_bytes())
    return digest.hexdigest()


def _tried(tree: Path, name: str, key: str) -> TestFile:
    data = tree / ".coverage-of-one"
    data.unlink(missing_ok=True)
    command = ("-m", "coverage", "run", f"--data-file={data}", "--source=segue", *PYTEST, name)
    status, cpu_s, failure = _run(tree, command, cpu_limit_s=3600)
    lines = {}
    if data.exists():
        read = CoverageData(str(data))
        read.read()
        lines = {
            str(Path(file).resolve().relative_to(tree.resolve())): sorted(read.lines(file) or ())
            for file in read.measured_files()
        }
    failure = "" if status == 0 else failure or f"it ends with {status}"
    return TestFile(path=name, key=key, failure=failure, cpu_s=cpu_s, lines=lines)


def chosen(mutant: Mutant, files: list[TestFile], most_s: float = math.inf) -> list[TestFile]:
    """The files whose tests could notice: the module's own, then what runs much of it for its cost.

    Where none is seen to run the line (compiled loops and other processes are not seen), those
    that load the module. Together they take `most_s` at most, or there is one.
    """
    passing = [file for file in files if not file.failure and file.lines.get(mutant.path)]
    running = [file for file in passing if mutant.line in file.lines[mutant.path]]
    stem = Path(mutant.path).stem
    named = (f"test_{stem}", stem)

    def rank(file: TestFile) -> tuple[bool, float]:
        return Path(file.path).stem not in named, file.cpu_s / len(file.lines[mutant.path])

    likeliest = sorted(running or passing, key=rank)
    totals_s = itertools.accumulate(file.cpu_s for file in likeliest)
    n_within = sum(total_s <= most_s for total_s in totals_s)
    return likeliest[: max(n_within, 1)]


def outcome(tree: Path, mutant: Mutant, files: list[TestFile]) -> str:
    """'killed', 'timed out', 'survived' or 'not run', of a mutant in a tree that is then mended."""
    if not files:
        return "not run"
    path = tree / mutant.path
    source, stamp = path.read_text("utf-8"), path.stat()
    limit_s = LEAST_CPU_S + CPU_RATIO * sum(file.cpu_s for file in files)
    try:
        path.write_text(mutant.damaged(source), encoding="utf-8")
        command = (*PYTEST, *(f.path for f in files))
        status, cpu_s, _ = _run(tree, command, cpu_limit_s=limit_s)
    finally:
        path.write_text(source, encoding="utf-8")
        os.utime(path, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
    if status is None or cpu_s >= limit_s:
        return "timed out"
    return "survived" if status in (0, NO_TESTS) else "killed"


def _run(
    tree: Path, command: tuple[str, ...], *, cpu_limit_s: float
) -> tuple[int | None, float, str]:
    """Exit status (None: out of time), processor time of all it started, and what failed."""
    environment = os.environ | {
        "PYTHONPATH": str(tree),
        "TMPDIR": str(tree.parent),
        **{f"{name}_NUM_THREADS": "1" for name in ("OMP", "OPENBLAS", "MKL", "NUMBA")},
    }
    if command[1] == "pytest":
        environment["PYTHONDONTWRITEBYTECODE"] = "1"  # none of damaged source
    limit = int(cpu_limit_s) + 1
    with (tree.parent / "said.txt").open("w+b") as said:
        child = subprocess.Popen(
            ("sh", "-c", 'ulimit -t "$0"; exec "$@"', str(limit), sys.executable, *command),
            cwd=tree,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=said,
            start_new_session=True,
        )
        status, cpu_s = _ended(child, time.monotonic() + cpu_limit_s * WALL_RATIO)
        said.seek(0)
        words = said.read().decode(errors="replace").splitlines()
    failed = [line for line in words if line.startswith(("FAILED", "ERROR"))]
    return status, cpu_limit_s if cpu_s is None else cpu_s, failed[-1] if failed else ""


def _ended(child: subprocess.Popen[bytes], ends: float) -> tuple[int | None, float | None]:
    """Exit status and processor time of a process; None of either where it ran out of time."""
    while True:
        pid, status, usage = os.wait4(child.pid, os.WNOHANG)
        if pid or time.monotonic() > ends:
            break
        time.sleep(0.05)
    _end_group(child.pid)
    if not pid:
        os.wait4(child.pid, 0)
        return None, None
    child.returncode = os.waitstatus_to_exitcode(status)
    return child.returncode, usage.ru_utime + usage.ru_stime


def _end_group(pid: int) -> None:
    """End what a test left running: the group is ours, for its session is."""
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(pid, signal.SIGKILL)


def load_known(path: Path | None) -> dict[str, dict]:
    """What is kept of earlier maps."""
    return json.loads(path.read_text("utf-8")) if path and path.exists() else {}
