"""Tasks that worker processes can import."""

from __future__ import annotations

import json
import os
import signal
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

from segue.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path


def doubled(value: int) -> int:
    if value == 13:
        raise InputError("thirteen", "is unlucky: leave it out.")
    return 2 * value


def environment(_value: int) -> tuple[str, str]:
    return os.environ["SEGUE_CACHE"], os.environ["OMP_NUM_THREADS"]


def process_id(_value: int) -> int:
    time.sleep(0.2)
    return os.getpid()


def killed_once(mark: Path) -> str:
    """Its process is killed the first time that it gets this mark."""
    if mark.name.startswith("kill") and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return mark.name


def always_killed(value: int) -> int:
    if value == 2:
        os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(0.05)
    return value


def napping(folder: Path) -> str:
    """Leaves a file while it works, and takes it away however it ends."""
    mark = folder / f"{os.getpid()}"
    try:
        mark.touch()
        time.sleep(60)
    finally:
        mark.unlink()
    return ""


class _SlowToGo:
    """Takes a second to be destroyed, and shows by a file that it has begun to be."""

    def __init__(self, mark: Path) -> None:
        self.mark = mark

    def __del__(self) -> None:
        self.mark.touch()
        time.sleep(1)


def napping_after_a_destructor(folder: Path) -> str:
    """An interruption when its mark is there falls where none can be raised."""
    mark = folder / f"{os.getpid()}"
    try:
        _SlowToGo(mark)
        time.sleep(60)
    finally:
        mark.unlink()
    return ""


@dataclass(frozen=True)
class Copying:
    source: Path
    out: Path


@dataclass(frozen=True)
class Copied:
    source: Path
    worker_saw: str


def copied(work: Copying) -> Copied:
    """Reads a file of the source and writes two into the folder out."""
    work.out.mkdir(parents=True)
    text = (work.source / "drums ü.txt").read_text()
    (work.out / "copy.txt").write_text(text)
    (work.out / "said.json").write_text(json.dumps({"source": str(work.source)}))
    return Copied(source=work.source, worker_saw=f"at {work.source}")


def marked(mark: Path) -> str:
    """Shows by a file's name which process is at work, for a while."""
    shown = mark.with_name(f"{mark.name}.{os.getpid()}")
    shown.touch()
    time.sleep(0.5)
    shown.unlink()
    return mark.name


def renewed(folder: Path) -> None:
    """Puts a new file in the place of an old one."""
    (folder / "old.txt").unlink()
    (folder / "new.txt").write_text("of this run")


def another_on_workers() -> str:
    """A digest that no worker has."""
    return os.environ.get("ON_A_WORKER", "no")


def fails_on_workers() -> str:
    """A digest that workers cannot tell."""
    if "ON_A_WORKER" in os.environ:
        raise ModuleNotFoundError("No module named 'numba'")
    return ""


def digest_said() -> str:
    """A digest that may be said when a worker is started."""
    return os.environ.get("DIGEST", "as here")
