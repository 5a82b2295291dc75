"""How much faster an evening is made on two cores than on one.

Run: ``python -m benchmarks.evening [--songs 12] [--cores 2]``

A set of that many songs, stereo mixes of the demo songs in turn at slightly different levels, is
made by the command itself, held to one core and then to two, with nothing cached: every song is
heard, and every join gets its three ways across. The command finds out by itself how many
processes that is worth. Exit 1 if two are not 1.8 times as fast as one, or if the sounds differ.
It takes minutes; other work on the machine spoils it, so the load is told.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import subprocess
import sys
import tempfile
import time
from itertools import cycle, islice
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import soundfile

from segue.audio.stems_folder import AUDIO_SUFFIXES
from segue.cli.between import demo_folder

if TYPE_CHECKING:
    from collections.abc import Sequence

LEAST_FASTER = 1.8
PEAK = 0.7
QUIETER_DB = 0.25
"""Of each song, so that no two have the same content."""


def main() -> int:
    """Print the table; 1 if something was missed."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--songs", type=int, default=12)
    parser.add_argument("--cores", type=int, default=2)
    asked = parser.parse_args()
    if not hasattr(os, "sched_setaffinity") or len(os.sched_getaffinity(0)) < asked.cores:
        print(f"nothing was measured: a process cannot be held to {asked.cores} cores here")
        return 1
    with tempfile.TemporaryDirectory() as work:
        folder = Path(work)
        set_file = _written_set(folder, asked.songs)
        print(f"load before {os.getloadavg()[0]:.2f}")
        took_s = {n: _made_s(set_file, folder / f"{n}", n) for n in (1, asked.cores)}
        is_same = _digests(folder / "1") == _digests(folder / f"{asked.cores}")
    faster = took_s[1] / took_s[asked.cores]
    for n, seconds in took_s.items():
        print(f"{asked.songs} songs, {n} core(s)   {seconds:7.1f} s")
    print(f"faster                      {faster:7.2f} x (>= {LEAST_FASTER:g})")
    print(f"same sounds                 {'yes' if is_same else 'NO'}")
    print(f"load after {os.getloadavg()[0]:.2f}")
    return 0 if is_same and faster >= LEAST_FASTER else 1


def _written_set(folder: Path, n_songs: int) -> Path:
    demos = sorted(path for path in demo_folder().iterdir() if path.is_dir())
    demos = [path for path in demos if path.name[:2].isdigit()]
    lines = ['schema_version = 1\ntitle = "Benchmark"\n']
    for number, demo in enumerate(islice(cycle(demos), n_songs), start=1):
        name = f"{number:02d} {demo.name[3:]}.wav"
        _write_mix(demo, folder / name, gain_db=-QUIETER_DB * number)
        lines.append(f"[[songs]]\npath = {json.dumps(name)}\ntitle = {json.dumps(name[:-4])}\n")
    path = folder / "set.toml"
    path.write_text("".join(lines), encoding="utf-8")
    return path


def _write_mix(stems: Path, to: Path, *, gain_db: float) -> None:
    """The stems of a song as one stereo file."""
    files = [path for path in sorted(stems.iterdir()) if path.suffix.lower() in AUDIO_SUFFIXES]
    read = [soundfile.read(path, always_2d=True) for path in files]
    mix = np.zeros((max(len(samples) for samples, _ in read), 2))
    for samples, _ in read:
        mix[: len(samples)] += samples  # a mono stem is the same on both sides
    mix *= PEAK * 10 ** (gain_db / 20) / np.abs(mix).max()
    soundfile.write(to, mix, read[0][1], subtype="PCM_24")


def _made_s(set_file: Path, out: Path, n_cores: int) -> float:
    line: Sequence[str | Path] = (sys.executable, "-m", "segue", "set", set_file, "--out", out)
    options = ("--no-cache", "--quiet", "--json")
    before = os.sched_getaffinity(0)
    start_s = time.perf_counter()
    os.sched_setaffinity(0, sorted(before)[:n_cores])  # the command inherits it
    try:
        subprocess.run((*line, *options), check=True, stdout=subprocess.DEVNULL)
    finally:
        os.sched_setaffinity(0, before)
    return time.perf_counter() - start_s


def _digests(out: Path) -> dict[str, str]:
    found = {
        path.relative_to(out).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in out.rglob("*.wav")
    }
    if not found:
        raise SystemExit(f"{out}: nothing was rendered.")
    return found


if __name__ == "__main__":
    sys.exit(main())
