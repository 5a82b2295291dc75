"""What a catalogue holds after its folders changed, and after it was killed."""

import errno
import multiprocessing
import os
import random
import shutil
import signal
import time
from pathlib import Path

import pytest

from segue.catalogue import Build, build_catalogue, open_store, write_all_pairs
from segue.catalogue.scan import songs_under
from segue.errors import InputError
from tests.catalogue.tiny_songs import OneByOne, database_rows, write_catalogue_folder, write_song

N_KILLS = 20


@pytest.fixture(name="folder")
def _folder(tmp_path):
    write_catalogue_folder(tmp_path / "songs")
    return tmp_path / "songs"


@pytest.fixture(name="file")
def _file(tmp_path):
    return tmp_path / "catalogue.sqlite"


def build(folder, file):
    with open_store(file) as store:
        return build_catalogue(store, Build(folders=(folder,)), OneByOne(), tell=lambda words: None)


def test_what_segue_made_is_no_song(tmp_path):
    for name, mark in (("run", "segue.json"), ("pack", "markers.json")):
        (tmp_path / name).mkdir()
        write_song(tmp_path / name / "1 music.wav", 1)
        assert len(list(songs_under((tmp_path,)))) == 1
        (tmp_path / name / mark).write_text("{}")
        assert list(songs_under((tmp_path,))) == []


def test_same_content_is_heard_once_and_stems_are_one_song(folder, file):
    report = build(folder, file)
    assert report.n_songs == 6 + 1 + 1 + 2
    assert report.n_heard == 6 + 1
    assert len(report.problems) == 2
    with database_rows(file) as rows:
        titles = {row[1] for row in rows["songs"]}
        assert {"Band", "Song 0", "Copy of 0"} <= titles
        assert len(rows["edges"]) == 2 * 7


def test_songs_without_a_key_or_a_pulse_are_counted(folder, file):
    report = build(folder, file)
    with database_rows(file) as rows:
        lacking = {n: {row[0] for row in rows["edges"] if row[n] is None} for n in (2, 4)}
        of_path = [row[3] for row in rows["songs"]]
    assert report.n_keyless == sum(content in lacking[2] for content in of_path)
    assert report.n_free == sum(content in lacking[4] for content in of_path) > 0


def test_second_run_hears_nothing_and_changes_nothing(folder, file):
    first = build(folder, file)
    with database_rows(file) as before:
        second = build(folder, file)
    with database_rows(file) as after:
        assert after == before
    assert second.n_heard == 0
    assert second.problems == first.problems


def test_broken_files_are_named_with_their_fault(folder, file):
    report = build(folder, file)
    assert [Path(problem.partition(": ")[0]).name for problem in report.problems] == [
        "cut.wav",
        "words.wav",
    ]


def test_broken_file_is_tried_again_once_it_changed(folder, file):
    build(folder, file)
    write_song(folder / "cut.wav", 55)
    report = build(folder, file)
    assert report.n_heard == 1
    assert len(report.problems) == 1


def test_moved_and_removed_songs_are_noticed(folder, file):
    build(folder, file)
    (folder / "02 Song 2.wav").rename(folder / "deeper" / "Moved.wav")
    (folder / "03 Song 3.wav").unlink()
    report = build(folder, file)
    assert (report.n_heard, report.n_moved, report.n_removed) == (0, 1, 1)
    with database_rows(file) as rows:
        titles = {row[1] for row in rows["songs"]}
    assert "Moved" in titles
    assert not {"Song 2", "Song 3"} & titles


def test_changed_song_is_heard_anew(folder, file):
    build(folder, file)
    write_song(folder / "02 Song 2.wav", 77)
    assert build(folder, file).n_heard == 1


def test_other_length_of_edge_is_heard_anew(folder, file):
    build(folder, file)
    with open_store(file) as store:
        asked = Build(folders=(folder,), edge_s=10.0)
        report = build_catalogue(store, asked, OneByOne(), tell=lambda words: None)
    assert report.n_heard == 7


def test_folder_that_is_gone_costs_nothing_that_was_heard(folder, file):
    build(folder, file)
    with database_rows(file) as before:
        shutil.move(folder, folder.with_name("unplugged"))
        with pytest.raises(InputError, match="does not exist; is the disk plugged in"):
            build(folder, file)
    with database_rows(file) as after:
        assert after == before


def test_database_of_something_else_is_refused(folder, tmp_path):
    import sqlite3

    other = tmp_path / "other.sqlite"
    database = sqlite3.connect(other)
    database.execute("CREATE TABLE things (a)")
    database.close()
    with pytest.raises(InputError, match="database of something else"):
        build(folder, other)


def test_file_that_is_no_database_is_refused(folder, tmp_path):
    other = tmp_path / "other.txt"
    other.write_text("words " * 1000)
    with pytest.raises(InputError, match="cannot be used as a catalogue"):
        build(folder, other)


def test_song_toml_makes_any_folder_one_song(tmp_path):
    for name in ("one.wav", "two.wav"):
        write_song(tmp_path / "A" / name, 1)
        write_song(tmp_path / "B" / name, 1)
    (tmp_path / "A" / "song.toml").write_text('title = "A"\n')
    found = [song.path.relative_to(tmp_path).as_posix() for song in songs_under([tmp_path])]
    assert found == ["A", "B/one.wav", "B/two.wav"]


@pytest.fixture(name="close")
def _close(monkeypatch):
    """Deny a folder's listing, or only a look at its files, as its permissions would."""
    listing, stat = os.scandir, os.stat

    def close(folder, *, listed=False):
        def denied(path):
            return PermissionError(errno.EACCES, os.strerror(errno.EACCES), path)

        def scandir(path="."):
            if Path(path).is_relative_to(folder) and not (listed and Path(path) == folder):
                raise denied(path)
            return listing(path)

        def looked_at(path, *rest, **how):
            if not isinstance(path, int) and folder in Path(os.fsdecode(path)).parents:
                raise denied(path)
            return stat(path, *rest, **how)

        monkeypatch.setattr(os, "scandir", scandir)
        monkeypatch.setattr(os, "stat", looked_at)

    return close


@pytest.mark.parametrize("listed", [False, True], ids=["not listed", "files not looked at"])
def test_closed_folder_is_told_and_its_songs_are_kept(folder, file, close, listed, monkeypatch):
    (folder / "deeper" / "below").mkdir()
    write_song(folder / "deeper" / "below" / "Low.wav", 31)
    first = build(folder, file)
    with database_rows(file) as before:
        pass
    write_song(folder / "Zoo.wav", 32)
    close(folder / "deeper", listed=listed)
    report = build(folder, file)
    monkeypatch.undo()
    assert (report.n_heard, report.n_removed, report.n_moved) == (1, 0, 0)
    assert report.problems[0].startswith(f"{folder / 'deeper'}: may not be looked into (Permission")
    assert report.problems[1:] == first.problems
    with database_rows(file) as after:
        assert set(before["songs"]) < set(after["songs"])


def test_closed_folder_that_was_named_is_an_error(folder, file, close):
    close(folder)
    with pytest.raises(InputError, match="may not be listed"):
        build(folder, file)


def test_file_that_may_not_be_read_is_told_and_kept(folder, file, monkeypatch):
    build(folder, file)
    write_song(folder / "02 Song 2.wav", 77)

    def content(found):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(found.path))

    monkeypatch.setattr("segue.catalogue.scan.FoundSong.content", content)
    report = build(folder, file)
    assert "02 Song 2.wav: cannot be read (Permission denied)." in report.problems[0]
    assert report.n_removed == 0
    with database_rows(file) as rows:
        assert "Song 2" in {row[1] for row in rows["songs"]}


def test_fault_of_a_stem_is_told_where_the_folder_is_now(folder, file):
    (folder / "Band" / "bass.wav").write_text("no sound")
    (problem,) = [told for told in build(folder, file).problems if "bass.wav" in told]
    assert problem.startswith(f"{folder / 'Band' / 'bass.wav'}: ")
    (folder / "Band").rename(folder / "Band B")
    (moved,) = [told for told in build(folder, file).problems if "bass.wav" in told]
    assert moved == problem.replace("Band", "Band B", 1)


def test_best_followers_are_forgotten_once_the_songs_change(folder, file):
    def n_follows():
        with open_store(file) as store:
            (n_rows,) = store.database.execute("SELECT count(*) FROM follows").fetchone()
        return n_rows

    build(folder, file)
    changes = (
        lambda: write_song(folder / "New.wav", 40),
        lambda: write_song(folder / "New.wav", 41),
        (folder / "New.wav").unlink,
    )
    for change in changes:
        with open_store(file) as store:
            write_all_pairs(store)
        build(folder, file)
        assert n_follows() > 0  # nothing changed
        change()
        build(folder, file)
        assert n_follows() == 0


def test_folder_named_by_a_way_round_still_forgets(folder, file):
    build(folder, file)
    (folder / "03 Song 3.wav").unlink()
    assert build(folder / "deeper" / "..", file).n_removed == 1


def test_killed_at_random_moments_gives_the_undisturbed_table(folder, tmp_path):
    """Each start is killed at a random moment; the last one may end."""
    undisturbed, disturbed = tmp_path / "undisturbed.sqlite", tmp_path / "disturbed.sqlite"
    took_s = _run_builder(folder, undisturbed, None)
    rng = random.Random(9)
    n_lost = 0
    for _ in range(N_KILLS):
        n_lost += _run_builder(folder, disturbed, rng.uniform(0.0, 0.4) * took_s) is None
    assert n_lost > 0
    _run_builder(folder, disturbed, None)
    with database_rows(undisturbed) as expected, database_rows(disturbed) as found:
        assert found == expected


def _run_builder(folder, file, kill_after_s):
    """Seconds that the work took; None if it was killed before it was done."""
    process = multiprocessing.get_context("fork").Process(target=build, args=(folder, file))
    start_s = time.monotonic()
    process.start()
    process.join(kill_after_s)
    if process.is_alive():
        process.kill()
        process.join()
    assert process.exitcode in {0, -signal.SIGKILL}
    return time.monotonic() - start_s if process.exitcode == 0 else None
