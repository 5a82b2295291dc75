"""``segue catalogue`` and ``segue set`` on a real cluster: the same as here, path or bytes."""

import json
import os
import signal
import subprocess
import sys

import numpy as np
import pytest
import soundfile
from typer.testing import CliRunner

from segue.cli.app import app
from segue.errors import OptionError
from segue.setlist.set_document import read_evening
from segue.setlist.show.evening_page import EVENING_PAGE_NAME
from tests.catalogue.tiny_songs import database_rows, write_song
from tests.workers.a_cluster import started_cluster
from tests.workers.test_workers import until

N_SONGS = 8
RATE_HZ = 22_050
RECIPE = "stop and count-in"
COMMON = ("--edge-seconds", "8", "--rate", "22050", "--no-cache", "--quiet")


@pytest.fixture(scope="module", name="cluster")
def _cluster(tmp_path_factory):
    with started_cluster(tmp_path_factory.mktemp("cluster")) as started:
        yield started


@pytest.fixture(scope="module", name="songs")
def _songs(tmp_path_factory):
    """Songs of three seconds, and a file that is none."""
    folder = tmp_path_factory.mktemp("songs")
    for n in range(N_SONGS):
        write_song(folder / f"{n:02d}.wav", n)
    (folder / "words.wav").write_text("not a sound")
    return folder


@pytest.fixture(scope="module", name="known")
def _known(songs, tmp_path_factory):
    """What a catalogue says that this process alone has made."""
    return catalogued(songs, tmp_path_factory.mktemp("here"), "--workers", "1")


@pytest.fixture(name="parcels")
def _parcels(monkeypatch):
    """What is sent by bytes."""
    from segue.workers import cluster as module

    sent, packed = [], module.packed

    def seen(value):
        sent.append(packed(value))
        return sent[-1]

    monkeypatch.setattr(module, "packed", seen)
    return sent


def run(*words):
    answer = CliRunner().invoke(app, [*map(str, words)])
    assert answer.exit_code == 0, answer.output or answer.exception
    return answer


def catalogued(songs, folder, *words):
    to = folder / "songs.sqlite"
    run("catalogue", songs, "--to", to, "--edge-seconds", "8", "--quiet", *words)
    with database_rows(to) as rows:
        return rows


@pytest.mark.parametrize("files", ["path", "bytes"])
def test_a_catalogue_is_the_same_as_here(cluster, songs, known, tmp_path, parcels, files):
    words = ("--cluster", cluster.address, "--cluster-files", files)
    assert catalogued(songs, tmp_path, *words) == known
    assert len(known["heard"]) == N_SONGS + 1
    # each song's own bytes and no others
    assert len(parcels) == (0 if files == "path" else N_SONGS + 1)
    assert all(len(parcel.files) == 1 for parcel in parcels)


@pytest.fixture(scope="module", name="pair")
def _pair(tmp_path_factory):
    """A set of two songs of a dozen bars with one way across."""
    folder = tmp_path_factory.mktemp("set")
    lines = ['schema_version = 1\ntitle = "Night"\n']
    for n, (tonic, bpm) in enumerate(((45, 120.0), (46, 100.0))):
        write_beats(folder / f"song {n}.wav", tonic, bpm)
        lines += [f'[[songs]]\npath = "song {n}.wav"\ntempo_bpm = {bpm}\nrecipe = "{RECIPE}"\n']
    (folder / "night.toml").write_text("".join(lines))
    return folder / "night.toml"


def write_beats(path, tonic_midi, bpm):
    """A minor chord, and a drum on every beat, louder on every fourth."""
    n_frames = round(48 * 60 / bpm * RATE_HZ)
    beats = np.arange(n_frames) / RATE_HZ * bpm / 60
    since_s = (beats % 1) * 60 / bpm
    drum = np.exp(-since_s / 0.02) * np.random.default_rng(1).standard_normal(n_frames)
    sound = 0.2 * drum * np.where(beats % 4 < 1, 1.0, 0.5)
    for semitones in (0, 12, 15, 19):
        hertz = 440.0 * 2 ** ((tonic_midi + semitones - 69) / 12)
        sound += 0.05 * np.sin(2 * np.pi * hertz * np.arange(n_frames) / RATE_HZ)
    soundfile.write(path, np.column_stack([sound, sound]), RATE_HZ)


@pytest.fixture(scope="module", name="sounds_here")
def _sounds_here(pair, tmp_path_factory):
    """What this process alone renders."""
    out = tmp_path_factory.mktemp("here") / "night"
    run("set", pair, "--out", out, "--workers", "1", *COMMON)
    return sounds(out) | {EVENING_PAGE_NAME: (out / EVENING_PAGE_NAME).read_bytes()}


@pytest.mark.parametrize("files", ["path", "bytes"])
def test_an_evening_is_the_same_as_here(
    cluster, pair, sounds_here, tmp_path, parcels, files, monkeypatch
):
    monkeypatch.chdir(pair.parent)  # and the workers are elsewhere
    away = tmp_path / "away" / "night"
    words = ("--out", os.path.relpath(away), "--cluster", cluster.address)
    run("set", pair.name, *words, "--cluster-files", files, *COMMON)
    assert (
        sounds(away) | {EVENING_PAGE_NAME: (away / EVENING_PAGE_NAME).read_bytes()} == sounds_here
    )
    assert len(sounds_here) == 3 + 1
    (join,) = read_evening(away).joins
    texts = [path.read_text() for path in away.rglob("*") if path.suffix in (".json", ".html")]
    assert texts
    assert not any("segue-" in text and "/0/" in text for text in texts)
    assert join.document.outgoing.file == str(pair.parent / "song 0.wav")
    assert bool(parcels) == (files == "bytes")


def sounds(folder):
    return {path.name: path.read_bytes() for path in folder.rglob("*.wav")}


def test_a_worker_killed_in_mid_song_costs_a_retry_and_nothing_else(
    cluster, songs, known, tmp_path
):
    from distributed import Client

    to = tmp_path / "songs.sqlite"
    line = [sys.executable, "-m", "segue", "catalogue", songs, "--to", to, "--edge-seconds", "8"]
    line += ["--quiet", "--json", "--cluster", cluster.address, "--cluster-files", "bytes"]
    with Client(cluster.address, set_as_default=False) as client:
        pids = client.run(os.getpid)
        with subprocess.Popen(line, stdout=subprocess.PIPE, text=True) as command:
            until(lambda: all(client.processing().get(worker) for worker in pids))
            os.kill(next(iter(pids.values())), signal.SIGKILL)
            told, _ = command.communicate(timeout=300)
        assert len(client.run(os.getpid)) == 1
    assert command.returncode == 0
    assert json.loads(told)["n_heard"] == N_SONGS
    with database_rows(to) as rows:
        assert rows == known


@pytest.mark.parametrize(
    ("words", "told"),
    [
        pytest.param(("--cluster-files", "bytes"), "goes with --cluster", id="files, no cluster"),
        pytest.param(
            ("--cluster", "tcp://127.0.0.1:9", "--workers", "2"), "leave out", id="both kinds"
        ),
        pytest.param(("--workers", "0"), "outside 1 to 64", id="nobody works"),
    ],
)
@pytest.mark.parametrize("command", ["catalogue", "set"])
def test_what_does_not_go_together_is_told_and_nothing_is_written(
    pair, tmp_path, command, words, told
):
    out = tmp_path / "out"
    line = {
        "catalogue": ("catalogue", pair.parent, "--to", out),
        "set": ("set", pair, "--out", out),
    }[command]
    answer = CliRunner().invoke(app, [*map(str, line), *words])
    assert isinstance(answer.exception, OptionError)
    assert told in str(answer.exception)
    assert not out.exists()
