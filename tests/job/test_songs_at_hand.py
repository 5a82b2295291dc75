"""Songs that processes share, and songs kept for drafts.

What is no song of ours is none, and clocks that jump lose nothing new.
"""

import json
import os
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from segue.audio.clip import Clip, SongEdge, Stem
from segue.job import songs_at_hand
from segue.job.request import Request
from segue.job.songs_at_hand import (
    DRAFTS_NAME,
    MOST_KEPT,
    SongAtHand,
    keep_song,
    kept_song,
    song_place,
    songs_shared,
)

RATE_HZ = 24_000
YEAR_S = 365 * 86_400.0


def song(path="a.wav"):
    sound = (0.1 * np.random.default_rng(1).standard_normal((RATE_HZ, 2))).astype(np.float32)
    clip = Clip(samples=sound, rate_hz=RATE_HZ, start_s=3.0)
    stem = Stem(role="mix", file="a.wav", clip=clip)
    return SongEdge(path=Path(path), title="A", edge="end", stems=(stem,), duration_s=4.0)


def test_a_song_comes_back_nearly_as_it_was(tmp_path):
    keep_song(tmp_path, "x", song())
    kept = kept_song(tmp_path, "x")
    assert (kept.path, kept.title, kept.edge) == (Path("a.wav"), "A", "end")
    assert (kept.duration_s, kept.start_s, kept.rate_hz) == (4.0, 3.0, RATE_HZ)
    np.testing.assert_allclose(kept.mix.samples, song().mix.samples, atol=1e-4)


@pytest.mark.parametrize(
    "damage",
    [
        lambda b: b[: len(b) // 2], lambda b: b[:100], lambda _: b"", lambda _: b"PK\x03\x04",
        lambda b: b[:400] + bytes(64) + b[464:], lambda _: b"\x93NUMPY\x01\x00",
    ],
    ids=["cut", "cut short", "empty", "a head alone", "another inside", "another kind"],
)  # fmt: skip
def test_what_is_damaged_is_no_song(tmp_path, damage):
    keep_song(tmp_path, "x", song())
    path = tmp_path / DRAFTS_NAME / "x.npz"
    path.write_bytes(damage(path.read_bytes()))
    assert kept_song(tmp_path, "x") is None


@pytest.mark.parametrize("told", [[], "a", None, {}, {"roles": 3}, {"peak": "loud"}], ids=str)
def test_what_another_version_kept_is_no_song(tmp_path, told):
    place = tmp_path / DRAFTS_NAME
    place.mkdir()
    sounds = np.zeros((1, 9, 2), dtype=np.int16)
    np.savez(place / "x.npz", told=np.array(json.dumps(told)), sounds=sounds)
    assert kept_song(tmp_path, "x") is None


def test_names_that_are_no_text_are_kept(tmp_path):
    keep_song(tmp_path, "x", song(os.fsdecode(b"caf\xe9.wav")))
    assert kept_song(tmp_path, "x") is not None


@pytest.mark.parametrize("shift_s", [-10 * YEAR_S, 10 * YEAR_S], ids=["old", "of a time to come"])
def test_what_was_just_kept_stays_whatever_the_clock_said_before(tmp_path, shift_s):
    for n in range(MOST_KEPT + 2):
        keep_song(tmp_path, f"before {n}", song())
        then_s = time.time() + shift_s
        os.utime(tmp_path / DRAFTS_NAME / f"before {n}.npz", (then_s, then_s))
    for n in range(MOST_KEPT):
        keep_song(tmp_path, f"now {n}", song())
    assert all(kept_song(tmp_path, f"now {n}") for n in range(MOST_KEPT))
    assert len(list((tmp_path / DRAFTS_NAME).iterdir())) == MOST_KEPT


@pytest.fixture(name="place")
def _place(tmp_path):
    """The end of a folder of two stems, in a run that is being filled."""
    old = tmp_path / "Old"
    old.mkdir()
    sound = np.random.default_rng(2)
    for stem in ("bass", "drums"):
        soundfile.write(old / f"{stem}.wav", 0.1 * sound.standard_normal((5 * RATE_HZ, 2)), RATE_HZ)
    run = tmp_path / "run"
    run.mkdir()
    request = Request(outgoing=old, incoming=old, out=run, titles=("Harbour", None))
    return song_place(run, request, "end")


@pytest.mark.skipif(not songs_at_hand.CAN_LOOK_AWAY, reason="each reads by itself here")
def test_what_one_process_has_read_the_others_need_not(place):
    alone = SongAtHand(place).as_it_is
    with songs_shared(place.run):
        first = SongAtHand(place)
        read = first.as_it_is
        for stem in place.path.iterdir():
            stem.unlink()
        second = SongAtHand(place)
        for other in (read, second.as_it_is):
            assert (other.path, other.title, other.edge) == (place.path, "Harbour", "end")
            assert (other.duration_s, other.start_s) == (alone.duration_s, alone.start_s)
            for stem, one in zip(other.stems, alone.stems, strict=True):
                assert (stem.role, stem.clip.rate_hz) == (one.role, one.clip.rate_hz)
                assert np.array_equal(stem.clip.samples, one.clip.samples)
        assert [stem.file for stem in read.stems] == [stem.file for stem in alone.stems]
        first.look_away()
        assert np.array_equal(read.mix.samples, alone.mix.samples)
    assert list(place.run.iterdir()) == []  # nothing of it is in the run folder
    assert np.array_equal(second.as_it_is.mix.samples, alone.mix.samples)


def test_a_disk_without_room_for_it_is_no_fault(place, monkeypatch):
    def full(self, *_args, **_more):
        raise OSError(28, "No space left on device", str(self))

    alone = SongAtHand(place).as_it_is
    with songs_shared(place.run):
        monkeypatch.setattr(Path, "write_text", full)
        song = SongAtHand(place)
        assert np.array_equal(song.as_it_is.mix.samples, alone.mix.samples)
        song.look_away()
        assert np.array_equal(song.as_it_is.mix.samples, alone.mix.samples)
        assert np.array_equal(SongAtHand(place).as_it_is.mix.samples, alone.mix.samples)
