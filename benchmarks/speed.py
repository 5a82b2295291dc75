"""What the main job costs beside a plain script of general libraries, in one run.

``python -m benchmarks.speed [--long]``

Both get the same two 4-minute stereo mixes (made here from the demo songs' stems) and make
three segues; the script of ``benchmarks/_plain_script.py`` neither scores nor writes a page.
Every time is that of a whole process, from the command line to its end, each as its user would
start it: the command shares its work among processes as it sees fit. What it takes when held to
one process is told, and its memory counted, for then all of the work is in it; what its processes
hold together is measured in a run of its own. ``--long`` adds the 60-minute files. Exits 1 where a
reach is missed.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path

import numpy as np
import soundfile

from benchmarks._cost import Cost, cost_of, peak_together_mb

N_TURNS = 3
DEMO = Path(__file__).resolve().parent.parent / "demo_audio"
PAIR = ("01 Copper Wire Morning", "02 Low Tide Telegraph")
SEGUE = (sys.executable, "-c", "import sys; from segue.cli import main; sys.exit(main())")
JOB, ALONE, LONG = "main job", "main job, in one process", "main job, 60-minute files"
FROM_START_S = (
    "import time; t = time.perf_counter(); import sys; from pathlib import Path\n"
    "from segue.cli.boundary import prepare_libraries; prepare_libraries()\n"
    "from segue.job.between import make_segues; from segue.job.request import Request\n"
    "imported = time.perf_counter()\n"
    "def tell(words):\n"
    "    if words.startswith('rendering'):\n"
    "        now = time.perf_counter(); print(now - imported, now - t); sys.exit()\n"
    "make_segues(Request(outgoing=Path(sys.argv[1]), incoming=Path(sys.argv[2]),"
    " out=Path(sys.argv[3]), only=('filtered tail',)), progress=tell)"
)


def main() -> int:
    """Print the table; 1 where a reach is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--long", action="store_true", help="60-minute files too (1.3 GB of disk)")
    arguments = parser.parse_args()
    rows: list[tuple[str, float, float, str]] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        os.environ["SEGUE_CACHE"] = str(folder / "cache")
        songs = [_mix(folder, song, 4) for song in PAIR]
        _between(songs, folder / "warm", 1)  # compiles, and fills the cache
        script = [sys.executable, "-m", "benchmarks._plain_script", *songs]
        plains: list[Cost] = []
        owns: dict[str, list[Cost]] = {JOB: [], ALONE: []}
        long_songs: list[str] = []
        if arguments.long:
            long_songs = [_mix(folder, song, 60) for song in PAIR]
            owns[LONG] = []
        for turn in range(N_TURNS):  # in turns, and the quickest of each: machines have moods
            plains.append(cost_of([*script, str(folder / f"plain {turn}")]))
            print(f"plain script: {plains[-1].wall_s:.1f} s, {plains[-1].peak_mb:.0f} MB")
            for kind, costs in owns.items():
                files = long_songs if kind == LONG else songs
                out = folder / f"{kind} {turn}"
                costs.append(_between([*files, "--no-cache"], out, 1 if kind == ALONE else None))
                print(f"{kind}: {costs[-1].wall_s:.1f} s, {costs[-1].peak_mb:.0f} MB")
        plain, own = _least(plains), {kind: _least(costs) for kind, costs in owns.items()}
        print(f"{ALONE}: {own[ALONE].wall_s / plain.wall_s:.2f} x the plain script's time")
        rows.append((f"{JOB}: wall time", own[JOB].wall_s / plain.wall_s, 0.35, "x"))
        rows.append((f"{ALONE}: peak memory", own[ALONE].peak_mb / plain.peak_mb, 0.4, "x"))
        together = folder / "together"
        mb = peak_together_mb(_job([*songs, "--no-cache"], together, None))
        rows.append((f"{JOB}: peak memory of all processes", mb, 400.0, "MB"))
        if arguments.long:
            ratio = own[LONG].wall_s / own[JOB].wall_s
            rows.append(("60-minute files against 4-minute files", ratio, 1.1, "x"))
        rows.append(
            ("another recipe on known songs: until rendering", _until(songs, folder), 0.3, "s")
        )
        numpy_s = min(cost_of([sys.executable, "-c", "import numpy"]).wall_s for _ in range(5))
        help_s = min(cost_of([*SEGUE, "--help"]).wall_s for _ in range(5))
        rows.append(("segue --help against import numpy", help_s / numpy_s, 2.0, "x"))
    for heading, value, reach, unit in rows:
        verdict = "met" if value <= reach else "MISSED"
        print(f"{heading:<48} {value:6.2f} {unit}  (<= {reach:g} {unit})  {verdict}")
    return 0 if all(value <= reach for _, value, reach, _ in rows) else 1


def _mix(folder: Path, song: str, minutes: int) -> str:
    """A stereo mix of a demo song's stems, over and over, with a whole end or a whole start."""
    stems = [soundfile.read(path, always_2d=True) for path in sorted((DEMO / song).glob("*.ogg"))]
    rate = stems[0][1]
    mix = np.zeros((max(len(stem) for stem, _ in stems), 2))
    for stem, _ in stems:
        mix[: len(stem)] += stem
    mix *= 0.9 / np.abs(mix).max()
    n_frames = minutes * 60 * rate
    path = folder / f"{minutes} min {song}.wav"
    # the old song is cut at its start and the new one at its end, as the edges must be whole
    spare = -n_frames % len(mix)
    with soundfile.SoundFile(path, "w", rate, 2, "PCM_16") as file:
        n_times = (n_frames + spare) // len(mix)
        for n in range(n_times):
            is_first, is_last = n == 0, n == n_times - 1
            if song == PAIR[0]:
                file.write(mix[spare:] if is_first else mix)
            else:
                file.write(mix[: len(mix) - spare] if is_last else mix)
    return str(path)


def _between(arguments: list[str], out: Path, n_workers: int | None) -> Cost:
    return cost_of(_job(arguments, out, n_workers))


def _job(arguments: list[str], out: Path, n_workers: int | None) -> list[str]:
    workers = [] if n_workers is None else ["--workers", str(n_workers)]
    return [*SEGUE, "between", *arguments, "--out", str(out), *workers, "--quiet"]


def _until(songs: list[str], folder: Path) -> float:
    """Seconds from the call to the first rendering, when both songs are known."""
    import subprocess

    found = []
    for n in range(3):
        run = subprocess.run(
            [sys.executable, "-c", FROM_START_S, *songs, str(folder / f"other {n}")],
            capture_output=True,
            text=True,
            check=True,
        )
        found.append([float(word) for word in run.stdout.split()])
    call_s, start_s = min(found)
    print(
        f"another recipe: rendering starts {call_s:.2f} s after the call, {start_s:.2f} s after "
        "the process"
    )
    return call_s


def _least(costs: list[Cost]) -> Cost:
    """The least time and the least peak of some runs of the same."""
    return Cost(
        wall_s=min(cost.wall_s for cost in costs), peak_mb=min(cost.peak_mb for cost in costs)
    )


if __name__ == "__main__":
    sys.exit(main())
