"""Which song is meant: links, copies, files that moved or changed, folders that are no song."""

import os
import shutil

import pytest

from segue.catalogue import Build, build_catalogue, neighbours_of, open_store
from segue.errors import InputError
from tests.catalogue.tiny_songs import OneByOne, write_song


@pytest.fixture(name="folder", scope="module")
def _folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("asked") / "m"
    for n, name in enumerate(("X", "Y", "Z")):
        write_song(folder / f"{name}.wav", n)
    return folder


@pytest.fixture(name="store")
def _store(folder, tmp_path):
    songs = tmp_path / "m"
    shutil.copytree(folder, songs)
    with open_store(tmp_path / "c.sqlite") as store:
        build_catalogue(store, Build(folders=(songs,)), OneByOne(), tell=lambda words: None)
        yield store


@pytest.fixture(name="heard", autouse=True)
def _heard(monkeypatch):
    """Paths that were heard while a question was answered."""
    from segue.catalogue import neighbours

    read, heard = neighbours.read_song, []
    monkeypatch.setattr(
        neighbours, "read_song", lambda path, **how: heard.append(path) or read(path, **how)
    )
    return heard


def others(store, song):
    return sorted(one.title for one in neighbours_of(store, str(song)).neighbours)


def test_a_path_is_known_however_it_is_written(store, tmp_path, monkeypatch, heard):
    (tmp_path / "link").symlink_to(tmp_path / "m")
    (tmp_path / "one.wav").symlink_to(tmp_path / "m" / "X.wav")
    monkeypatch.chdir(tmp_path)
    for song in ("m/../m/X.wav", "m//X.wav", "link/X.wav", "one.wav", "./m/X.wav"):
        assert others(store, song) == ["Y", "Z"]
    assert heard == []


def test_a_copy_and_a_moved_file_are_known_by_their_content(store, tmp_path, heard):
    shutil.copy(tmp_path / "m" / "X.wav", tmp_path / "copy of X.wav")
    assert others(store, tmp_path / "copy of X.wav") == ["Y", "Z"]
    (tmp_path / "m" / "X.wav").rename(tmp_path / "moved.wav")
    assert others(store, tmp_path / "moved.wav") == ["Y", "Z"]
    assert heard == []


def test_a_song_that_changed_is_heard_anew_and_is_not_its_own_neighbour(store, tmp_path, heard):
    write_song(tmp_path / "m" / "X.wav", 7)
    for song in (tmp_path / "m" / "X.wav", "X"):
        found = neighbours_of(store, str(song))
        assert found.is_anew
        assert sorted(one.title for one in found.neighbours) == ["Y", "Z"]
    assert heard == [tmp_path / "m" / "X.wav"] * 2


def test_a_song_that_was_only_touched_is_not_heard_anew(store, tmp_path, heard):
    os.utime(tmp_path / "m" / "X.wav", (1, 1))
    found = neighbours_of(store, "X")
    assert (found.is_anew, heard) == (False, [])


def test_a_title_is_answered_while_its_disk_is_away(store, tmp_path, heard):
    (tmp_path / "m").rename(tmp_path / "away")
    found = neighbours_of(store, "X")
    assert [one.state for one in found.neighbours] == ["gone", "gone"]
    assert heard == []


def test_of_two_copies_the_one_that_is_there_is_named(store, tmp_path):
    shutil.copy(tmp_path / "m" / "Y.wav", tmp_path / "m" / "A copy of Y.wav")
    asked = Build(folders=(tmp_path / "m",))
    build_catalogue(store, asked, OneByOne(), tell=lambda words: None)
    (tmp_path / "m" / "A copy of Y.wav").unlink()
    found = neighbours_of(store, "X").neighbours
    assert {(one.title, one.state) for one in found} == {("Y", ""), ("Z", "")}


def test_a_folder_of_songs_is_refused_until_it_is_one_song(store, tmp_path):
    with pytest.raises(InputError, match="is not one song: name a file in it"):
        neighbours_of(store, str(tmp_path / "m"))
    (tmp_path / "m" / "song.toml").write_text('title = "One"\n')
    assert neighbours_of(store, str(tmp_path / "m")).title == "One"


def test_a_song_without_any_sound_is_nobodys_neighbour(store, tmp_path):
    import numpy as np
    import soundfile

    soundfile.write(tmp_path / "m" / "Silence.wav", np.zeros((66_150, 2)), 22_050)
    asked = Build(folders=(tmp_path / "m",))
    report = build_catalogue(store, asked, OneByOne(), tell=lambda words: None)
    assert report.problems == ()
    assert others(store, "X") == ["Y", "Z"]
