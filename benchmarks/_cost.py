"""What a command costs as a whole process: wall time, and memory at its highest.

`ru_maxrss` of a child is no measure of it on Linux: what the parent had at its highest is
carried over when the child starts another program. `VmHWM` of the child's own address space
starts anew, so that is read while the child runs; where there is no `/proc`, `ru_maxrss` stands.

Of several processes together a page that they share counts once: the sum of what the system calls
their proportional set size.
"""

from __future__ import annotations

import os
import re
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

LOOKED_AT_EVERY_S: Final = 0.01


@dataclass(frozen=True)
class Cost:
    """Of a process."""

    wall_s: float
    peak_mb: float
    """Of the process itself; its workers are not in it."""


def cost_of(command: Sequence[str], **environment: str) -> Cost:
    """Run a command without its output and tell what it cost.

    Parameters
    ----------
    command : sequence of str
        The path of a program, and its words.
    **environment : str
        Added to the environment.

    Returns
    -------
    Cost

    Raises
    ------
    RuntimeError
        If the command ends with anything but 0.
    """
    silent = os.open(os.devnull, os.O_WRONLY)
    began = time.perf_counter()
    pid = os.posix_spawn(
        command[0],
        list(command),
        {**os.environ, **environment},
        file_actions=[(os.POSIX_SPAWN_DUP2, silent, 1)],
    )
    os.close(silent)
    peak_mb = 0.0
    while True:
        peak_mb = max(peak_mb, _highest_mb(pid))
        ended, status, usage = os.wait4(pid, os.WNOHANG)
        if ended:
            break
        time.sleep(LOOKED_AT_EVERY_S)
    wall_s = time.perf_counter() - began
    if status != 0:
        raise RuntimeError(f"{command} ended with {status}")
    return Cost(wall_s=wall_s, peak_mb=peak_mb or usage.ru_maxrss / 1024)


TOGETHER_EVERY_S: Final = 0.05  # seldom enough to slow the command down by little


def peak_together_mb(command: Sequence[str]) -> float:
    """The most memory that a command and all its processes hold at once; 0 without `/proc`."""
    run = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    peak_mb = 0.0
    while run.poll() is None:
        peak_mb = max(peak_mb, sum(_share_mb(pid) for pid in _family(run.pid)))
        time.sleep(TOGETHER_EVERY_S)
    if run.returncode != 0:
        raise RuntimeError(f"{command} ended with {run.returncode}")
    return peak_mb


def _family(pid: int) -> list[int]:
    """A process, its children and theirs."""
    found = [pid]
    try:
        for children in Path(f"/proc/{pid}/task").glob("*/children"):
            for child in children.read_text(encoding="ascii").split():
                found += _family(int(child))
    except OSError:  # it has ended
        pass
    return found


def _share_mb(pid: int) -> float:
    """Memory of a process, what it shares divided by those who share it."""
    try:
        told = Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="ascii", errors="replace")
    except OSError:
        return 0.0
    found = re.search(r"^Pss:\s+(\d+) kB", told, re.MULTILINE)
    return int(found[1]) / 1024 if found else 0.0


def _highest_mb(pid: int) -> float:
    """The most memory that a running process has had so far; 0 where that cannot be read."""
    try:
        told = Path(f"/proc/{pid}/status").read_text(encoding="ascii", errors="replace")
    except OSError:
        return 0.0
    found = re.search(r"VmHWM:\s+(\d+) kB", told)
    return int(found[1]) / 1024 if found else 0.0
