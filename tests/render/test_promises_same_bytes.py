"""The same songs give the same bytes: in one process or two, on one thread or two, anywhere.

Two whole runs of the main job on the demo songs, thinned, from and into different folders.
"""

import hashlib
import json
import os
import shutil
import subprocess
import sys
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from segue.audio.loudness import integrated_lufs
from segue.audio.write import read_wav
from segue.cli.between import demo_folder
from segue.job.between import make_segues
from segue.job.request import Request
from segue.runfolder import read_document
from segue.runfolder.run_document import DOCUMENT_NAME

RATE_HZ = 22_050
EDGE_S = 16.0
RECIPES = ("drum break", "frozen last chord", "stop and count-in")
WITHIN_LU = 0.1
SCORES_WITHIN = 1e-6

THREADS = ("OMP", "OPENBLAS", "MKL", "NUMBA")
DIGEST = """
import hashlib, sys
from tests.render.demo_songs import demo_plan, demo_song
from segue.render import render_candidate
plan = demo_plan("frozen last chord", 3)
made = render_candidate(plan, demo_song(3, "end").edge, demo_song(4, "start").edge)
digest = hashlib.sha256()
for bus in (made.music, made.click, made.cue):
    digest.update(bus.samples.tobytes())
print(digest.hexdigest())
"""


def ran(outgoing: Path, incoming: Path, out: Path, n_workers: int) -> Path:
    request = Request(
        outgoing=outgoing,
        incoming=incoming,
        out=out,
        rate_hz=RATE_HZ,
        edge_s=EDGE_S,
        only=RECIPES,
        cached=False,
        n_workers=n_workers,
    )
    make_segues(request, progress=lambda _words: None)
    return out


@pytest.fixture(scope="module")
def two_runs(tmp_path_factory):
    """One process on the songs where they are; two on copies of them, in a folder elsewhere."""
    songs = sorted(
        path for path in demo_folder().iterdir() if path.is_dir() and path.name[0] == "0"
    )
    here = tmp_path_factory.mktemp("here")
    there = tmp_path_factory.mktemp("a folder elsewhere, with spaces")
    for song in songs[:2]:
        shutil.copytree(song, there / song.name)
    copies = [there / song.name for song in songs[:2]]
    return ran(*songs[:2], here / "run", 1), ran(*copies, there / "other name", 2)


def test_one_and_two_processes_write_the_same_bytes_in_any_folder(two_runs):
    first, second = two_runs
    names = sorted(path.name for path in first.iterdir())
    assert names == sorted(path.name for path in second.iterdir())
    sounds = [name for name in names if name.endswith((".wav", ".png"))]
    assert len(sounds) == 4 * len(RECIPES)
    for name in sounds:
        assert digest_of(first / name) == digest_of(second / name), name


def digest_of(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_both_runs_say_the_same_of_their_candidates(two_runs):
    """Plans to the last digit; scores as far as products summed on two threads are the same."""
    first, second = (json.loads((run / DOCUMENT_NAME).read_text()) for run in two_runs)
    assert len(first["candidates"]) == len(RECIPES)
    for one, other in zip(first["candidates"], second["candidates"], strict=True):
        cards = [leaves(record.pop("scorecard")) for record in (one, other)]
        assert one == other
        assert cards[0] == pytest.approx(cards[1], abs=SCORES_WITHIN, nan_ok=True)


def leaves(value, place=""):
    """All that a tree holds, by its place."""
    if isinstance(value, dict | list):
        pairs = value.items() if isinstance(value, dict) else enumerate(value)
        return {
            at: leaf for name, part in pairs for at, leaf in leaves(part, f"{place}/{name}").items()
        }
    return {place: value}


def test_candidates_of_a_run_are_within_a_tenth_of_a_lu(two_runs):
    """As their files are, whole; what is told of them is what they are."""
    folder, _ = two_runs
    records = read_document(folder).candidates
    heard = [integrated_lufs(read_wav(folder / record.music_file)) for record in records]
    assert len(heard) == len(RECIPES)
    for one, other in combinations(heard, 2):
        assert abs(one - other) <= WITHIN_LU
    told = [record.loudness_lufs for record in records]
    assert np.abs(np.subtract(heard, told)).max() <= 0.02


def test_one_and_two_threads_give_the_same_samples(tmp_path):
    digests = []
    for n_threads in (1, 2):
        counts = {f"{name}_NUM_THREADS": str(n_threads) for name in THREADS}
        folder = tmp_path / f"{n_threads} threads"
        folder.mkdir()
        root = str(Path(__file__).parents[2])
        done = subprocess.run(
            [sys.executable, "-c", DIGEST],
            env={**os.environ, **counts, "PYTHONPATH": root},
            cwd=folder,
            capture_output=True,
            text=True,
            check=True,
        )
        digests.append(done.stdout.strip())
    assert len(digests[0]) == 64
    assert digests[0] == digests[1]
