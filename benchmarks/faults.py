"""Kills, full disks and rivals: the run folder is always the old one or the new one.

``python -m benchmarks.faults`` prints its table and exits 1 on a miss. Every run is a
copy of one warm process, so a kill falls into the work and not into the imports.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
import soundfile

from benchmarks._in_process import code_of, forked_command, run_here
from segue.audio.read import read_song
from segue.errors import SegueError
from segue.recipes import shelf_folder
from segue.runfolder.run_document import read_document
from segue.setlist.set_document import read_evening

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

RATE_HZ: Final = 22_050
RECIPE: Final = "stop-and-count-in.toml"
INTERRUPT_REACH_S: Final = 1.0
INTERRUPTED: Final = 130
BAD_INPUT: Final = 2
_LATE_S: Final = 0.6
_END_OF_PICTURE: Final = b"IEND\xaeB`\x82"
"""The last chunk of a PNG, with its checksum (PNG Specification, third edition, 11.2.5)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line of the table."""

    name: str
    n_tried: int
    faults: tuple[str, ...]
    note: str = ""

    def text(self) -> str:
        """For the terminal."""
        first = f"  first: {self.faults[0]}" if self.faults else ""
        return f"{self.name:<46}{self.n_tried:>4}{len(self.faults):>8}  {self.note}{first}"


def write_song(path: Path, *, root_hz: float, tempo_bpm: float, length_s: float = 6.0) -> Path:
    """A chord with a click on each beat."""
    rng = np.random.default_rng(round(root_hz))
    time_s = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    chord = sum(np.sin(2 * np.pi * root_hz * ratio * time_s) for ratio in (1.0, 1.25, 1.5)) * 0.1
    clicks = np.exp(-(time_s % (60 / tempo_bpm)) / 0.01) * rng.standard_normal(len(time_s)) * 0.2
    soundfile.write(path, np.column_stack([chord + clicks] * 2), RATE_HZ)
    return path


def job(folder: Path, *, out: Path | None = None, tempo_b: float = 90.0) -> list[str]:
    """The main job with one recipe, between tiny songs that are made where they are not there."""
    one, other = folder / "one.wav", folder / "other.wav"
    recipes = folder / "recipes"
    if not recipes.is_dir():
        write_song(one, root_hz=110.0, tempo_bpm=120.0)
        write_song(other, root_hz=130.8, tempo_bpm=90.0)
        recipes.mkdir()
        shutil.copy(shelf_folder() / RECIPE, recipes)
    where = ["--out", str(folder / "run" if out is None else out), "--recipes", str(recipes)]
    how = ["--edge-seconds", "8", "--rate", "22050", "--workers", "1", "--quiet"]
    given = ["--tempo-a", "120", "--tempo-b", f"{tempo_b:g}"]
    return ["between", str(one), str(other), *where, *how, *given]


def evening_job(folder: Path, *, tempo_b: float) -> list[str]:
    """The evening of the songs of the main job, which must be there, with one tempo given."""
    songs = (("One", "one.wav", 120.0), ("Other", "other.wav", tempo_b))
    listed = "".join(
        f'[[songs]]\ntitle = "{title}"\npath = "{path}"\ntempo_bpm = {bpm}\n'
        for title, path, bpm in songs
    )
    file = folder / f"set {tempo_b:g}.toml"
    file.write_text(f'schema_version = 1\ntitle = "Harbour"\n{listed}', encoding="utf-8")
    words = job(folder)
    how = words[words.index("--recipes") : words.index("--tempo-a")]
    return ["set", str(file), "--out", str(folder / "evening"), "--reorder", *how]


def is_whole_evening(out: Path) -> bool:
    """Whether an evening can be read, with all its run folders, its page and its picture."""
    try:
        evening = read_evening(out)
    except SegueError:
        return False
    return (
        all(join.folder and is_whole_run(out / join.folder) for join in evening.joins)
        and (out / "reordered.toml").read_bytes().endswith(b"\n")
        and (out / "evening.png").read_bytes().endswith(_END_OF_PICTURE)
        and all((out / page).read_text(encoding="utf-8").rstrip().endswith("</html>")
                for page in ("index.html", "cue sheets.html"))
    )  # fmt: skip


def contents(folder: Path) -> dict[str, bytes]:
    """Every file under a folder."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def leftovers(folder: Path) -> list[str]:
    """Temporary files and folders, anywhere under a folder."""
    return sorted(str(path.relative_to(folder)) for path in folder.rglob(".*"))


def is_whole_run(run: Path) -> bool:
    """Whether a run folder can be read and all that it names can be read too."""
    try:
        document = read_document(run)
        for record in document.candidates:
            for name in (record.music_file, record.click_file, record.cue_file):
                read_song(run / name, edge="start", rate_hz=RATE_HZ)
    except SegueError:
        return False
    return all((run / record.picture_file).is_file() for record in document.candidates)


def is_whole_pack(pack: Path) -> bool:
    """Whether a stage pack has its sheet, map and markers, and nothing is empty."""
    files = contents(pack)
    return "tempo map.mid" in files and "cue sheet.pdf" in files and all(files.values())


def killed(
    folder: Path,
    out: Path,
    commands: Sequence[list[str]],
    is_whole: Callable[[Path], bool],
    *,
    n_kills: int,
    seed: int = 0,
) -> Line:
    """Kill runs at random moments; look at the folder, and let the next run finish.

    Every third is killed soon after its new folder has its document: near the end, where
    folders change places.
    """
    rng = random.Random(seed)
    faults = []
    begun = time.monotonic()
    if code_of(forked_command(commands[0])) != 0:
        return Line(name=commands[0][0], n_tried=0, faults=("the first run fails",))
    n_new = 0
    for n in range(n_kills):
        lasts_s = time.monotonic() - begun
        before = contents(out)
        child = forked_command(commands[(n + 1) % len(commands)])
        if n % 3 == 2:
            _wait_for_document(folder, child)
            time.sleep(rng.uniform(0.0, _LATE_S))
        else:
            time.sleep(rng.uniform(0.0, lasts_s))
        os.kill(child, signal.SIGKILL)
        code_of(child)
        if not is_whole(out):
            faults.append(f"kill {n}: neither the old folder nor the new one")
        n_new += contents(out) != before
        begun = time.monotonic()
        if code_of(forked_command(commands[(n + 1) % len(commands)])) != 0:
            faults.append(f"kill {n}: the next run fails")
        faults += [f"kill {n}: left {name}" for name in leftovers(folder)]
        if not is_whole(out):
            faults.append(f"kill {n}: the next run leaves no whole folder")
    note = f"{n_new} left something new, {n_kills - n_new} the old folder"
    return Line(name=f"SIGKILL of {commands[0][0]}", n_tried=n_kills, faults=tuple(faults),
                note=note)  # fmt: skip


def _wait_for_document(folder: Path, child: int) -> None:
    """Until a new folder is nearly filled, or the process has ended."""
    names = ("segue.json", "markers.json")
    while os.waitid(os.P_PID, child, os.WEXITED | os.WNOHANG | os.WNOWAIT) is None:
        with contextlib.suppress(FileNotFoundError):  # it may be gone while we look
            if any(any(folder.rglob(f".segue-*-new-*/{name}")) for name in names):
                return
        time.sleep(0.002)


def rivals(
    folder: Path,
    commands: Sequence[list[str]],
    out: Path,
    is_whole: Callable[[Path], bool],
    *,
    n_pairs: int,
) -> Line:
    """Two runs into one folder at once: one wins, and the other says so, or has waited for it.

    Who writes for no longer than another waits may be followed by it; of all the pairs one at
    least has to be told of the other.
    """
    faults, n_refused = [], 0
    for n in range(n_pairs):
        said = [folder / f"said {n} {k}.txt" for k in range(2)]
        children = [forked_command(commands[k], said[k]) for k in range(2)]
        codes = [code_of(child) for child in children]
        texts = [path.read_text(encoding="utf-8") for path in said]
        lost = [text for code, text in zip(codes, texts, strict=True) if code == BAD_INPUT]
        n_refused += len(lost)
        are_told = all("another Segue" in text for text in lost)
        if not (sorted(codes) in ([0, 0], [0, BAD_INPUT]) and are_told):
            faults.append(f"pair {n}: {codes} {texts}")
        if not is_whole(out) or leftovers(folder):
            faults.append(f"pair {n}: left {leftovers(folder)}")
    if not n_refused:
        faults.append("no pair met")
    return Line(name=f"two of {commands[0][0]} into one folder", n_tried=n_pairs,
                faults=tuple(faults), note=f"{n_refused} refused")  # fmt: skip


def interrupted(folder: Path, *, n_times: int, seed: int = 1) -> Line:
    """SIGINT to the installed command with its worker processes, as from a terminal."""
    rng = random.Random(seed)
    faults, waits = [], []
    args = [word for word in job(folder) if word not in ("--workers", "1")] + ["--workers", "2"]
    for n in range(n_times):
        before = contents(folder / "run")
        process = subprocess.Popen(
            [sys.executable, "-m", "segue", *args], stderr=subprocess.PIPE, start_new_session=True
        )
        time.sleep(rng.uniform(1.0, 4.0))
        begun = time.monotonic()
        os.killpg(process.pid, signal.SIGINT)
        _, err = process.communicate()
        waits.append(time.monotonic() - begun)
        if process.returncode not in (INTERRUPTED, 0) or b"Traceback" in err:
            faults.append(f"time {n}: exit {process.returncode} {err[-300:]!r}")
        if waits[-1] > INTERRUPT_REACH_S and process.returncode:
            faults.append(f"time {n}: took {waits[-1]:.2f} s")
        if leftovers(folder) or (process.returncode and contents(folder / "run") != before):
            faults.append(f"time {n}: left {leftovers(folder)}")
    note = f"longest {max(waits):.2f} s"
    return Line(name="SIGINT of between", n_tried=n_times, faults=tuple(faults), note=note)


def no_room(folder: Path, *, sizes_kb: Sequence[int]) -> Line:
    """A small file system that fills up in mid-run; the old run on it stays as it was."""
    faults, n_tried = [], 0
    disk = folder / "disk"
    disk.mkdir()
    for size_kb in sizes_kb:
        mount = ["mount", "-t", "tmpfs", "-o", f"size={size_kb}k", "tmpfs", str(disk)]
        if subprocess.run(mount, check=False, capture_output=True).returncode != 0:
            return Line(name="full disk", n_tried=0, faults=(), note="skipped: may not mount")
        try:
            n_tried += 1
            run = disk / "run"
            run.mkdir()
            (run / "segue.json").write_bytes((folder / "run" / "segue.json").read_bytes())
            before = contents(run)
            told = folder / "told.txt"
            code = code_of(forked_command(job(folder, out=run), told))
            text = told.read_text(encoding="utf-8")
            is_clear = code == BAD_INPUT and str(run) in text and "No space left" in text
            if not is_clear or text.count("\n") != 1 or ".segue-" in text:
                faults.append(f"{size_kb} KB: exit {code} {text}")
            if contents(run) != before or leftovers(disk):
                faults.append(f"{size_kb} KB: left {leftovers(disk)}")
        finally:
            subprocess.run(["umount", str(disk)], check=False)
    return Line(name="full disk", n_tried=n_tried, faults=tuple(faults))


def read_only(folder: Path) -> Line:
    """A file system that may only be read."""
    disk = folder / "locked"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "ro", "tmpfs", str(disk)]
    if subprocess.run(mount, check=False, capture_output=True).returncode != 0:
        return Line(name="read-only folder", n_tried=0, faults=(), note="skipped: may not mount")
    try:
        told = folder / "told.txt"
        code = code_of(forked_command(job(folder, out=disk / "run"), told))
        text = told.read_text(encoding="utf-8")
    finally:
        subprocess.run(["umount", str(disk)], check=False)
    is_clear = code == BAD_INPUT and str(disk) in text and text.count("\n") == 1
    faults = () if is_clear else (f"exit {code} {text}",)
    return Line(name="read-only folder", n_tried=1, faults=faults)


def main(argv: Sequence[str] | None = None) -> int:
    """Print the table; 1 on a miss."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=60)
    parser.add_argument("--only", type=int, nargs="*", help="numbers of lines, from 1")
    given = parser.parse_args(argv)
    n_kills = given.kills
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        os.environ["SEGUE_CACHE"] = str(folder / "cache")
        warm = run_here(job(folder))
        print(f"a run takes {warm.took_s:.1f} s", warm.err, flush=True)
        run, evening, pack = folder / "run", folder / "evening", folder / "pack"
        jobs = [job(folder, tempo_b=tempo) for tempo in (90.0, 100.0)]
        evenings = [evening_job(folder, tempo_b=tempo) for tempo in (90.0, 100.0)]
        stages = [["stage", str(run), "--out", str(pack), "--paper", p] for p in ("a4", "letter")]
        print(f"{'':<46}{'runs':>4}{'faults':>8}")
        lines = []
        measures = (
            lambda: killed(folder, run, jobs, is_whole_run, n_kills=n_kills),
            lambda: killed(folder, evening, evenings, is_whole_evening, n_kills=n_kills),
            lambda: killed(folder, pack, stages, is_whole_pack, n_kills=n_kills),
            lambda: rivals(folder, jobs, run, is_whole_run, n_pairs=3),
            lambda: rivals(folder, evenings, evening, is_whole_evening, n_pairs=3),
            lambda: interrupted(folder, n_times=5),
            lambda: no_room(folder, sizes_kb=(64, 400, 1500)),
            lambda: read_only(folder),
        )
        for number, measure in enumerate(measures, start=1):
            if not given.only or number in given.only:
                lines.append(measure())
                print(lines[-1].text(), flush=True)
    return int(any(line.faults for line in lines))


if __name__ == "__main__":
    sys.exit(main())
