"""A process that dies leaves the old folder or the new one, and the next one sweeps."""

import os
import shutil
import signal
import sys
import time
from pathlib import Path

import pytest

from benchmarks._in_process import code_of, forked, run_here
from benchmarks.faults import (
    contents,
    evening_job,
    is_whole_evening,
    is_whole_run,
    job,
    killed,
    leftovers,
    no_room,
    read_only,
    rivals,
)
from segue.errors import RunFolderError, SegueError
from segue.files import sole_writer
from segue.files.whole_file import exchanged
from segue.runfolder import Choice, check_free, read_document, whole_folder, write_choice
from segue.runfolder import run_folder as folder_module

FILES = {"a.txt", "b.txt"}


def fill(out, word):
    with whole_folder(out) as staging:
        for name in FILES:
            (staging / name).write_text(word)


def words_in(out):
    return {path.read_text() for path in out.iterdir()}, {path.name for path in out.iterdir()}


def die(*_args, **_more):
    os.kill(os.getpid(), signal.SIGKILL)


def dies_filling(out, patch):
    """A copy of this process that fills the folder with 'new' and dies where it is told to."""

    def task():
        with pytest.MonkeyPatch.context() as monkeypatch:
            patch(monkeypatch)
            fill(out, "new")
        return 0

    return code_of(forked(task))


def after(function):
    def first_then_die(*args, **more):
        function(*args, **more)
        die()

    return first_then_die


def no_exchange(monkeypatch):
    monkeypatch.setattr(folder_module, "exchanged", lambda *_: False)


def at_the_nth_rename(n):
    def patch(monkeypatch):
        no_exchange(monkeypatch)
        rename, seen = Path.rename, []

        def counted(self, target):
            seen.append(target)
            result = rename(self, target)
            if len(seen) == n:
                die()
            return result

        monkeypatch.setattr(Path, "rename", counted)

    return patch


MOMENTS = {
    "before the exchange": (lambda m: m.setattr(folder_module, "exchanged", die), "old"),
    "after the exchange": (
        lambda m: m.setattr(folder_module, "exchanged", after(exchanged)),
        "new",
    ),
    "between two renames": (at_the_nth_rename(1), "old"),
    "after two renames": (at_the_nth_rename(2), "new"),
    "while it fills": (lambda m: m.setattr(Path, "write_text", die), "old"),
}


@pytest.mark.parametrize("moment", MOMENTS)
def test_killed_at_any_step_it_is_the_old_or_the_new(moment, tmp_path):
    out = tmp_path / "run"
    fill(out, "old")
    patch, left = MOMENTS[moment]
    assert dies_filling(out, patch) == -signal.SIGKILL
    sole_writer.put_back_if_left(out)
    assert words_in(out) == ({left}, FILES)
    fill(out, "newest")
    assert words_in(out) == ({"newest"}, FILES)
    assert leftovers(tmp_path) == []


@pytest.mark.skipif(sys.platform != "linux", reason="only here the exchange is sure to be there")
def test_the_exchange_leaves_no_moment_without_a_folder(tmp_path):
    out = tmp_path / "run"
    fill(out, "old")
    child = forked(lambda: [fill(out, "new") for _ in range(200)] and 0)
    n_missing = n_looks = 0
    while os.waitpid(child, os.WNOHANG) == (0, 0):
        n_looks += 1
        n_missing += not out.is_dir()
    assert n_looks > 200
    assert n_missing == 0


def test_check_before_a_run_puts_an_old_choice_back(tmp_path, whole_run):
    run = tmp_path / "run"
    whole_run(tmp_path).rename(run)
    write_choice(run, Choice(rank=1))
    run.rename(sole_writer.aside_path(run))
    with pytest.raises(RunFolderError, match="whose choice was made"):
        check_free(run)
    assert run.is_dir()


def test_two_at_once_one_is_refused_and_the_lock_goes_with_its_process(tmp_path):
    out = tmp_path / "run"
    with whole_folder(out) as staging:
        (staging / "a.txt").write_text("first")
        with pytest.raises(RunFolderError, match="is being written by another Segue: wait"):
            fill(out, "second")
    assert out.is_dir()

    def holds_and_dies():
        with whole_folder(out):
            die()

    assert code_of(forked(holds_and_dies)) == -signal.SIGKILL
    assert leftovers(tmp_path) != []
    fill(out, "third")
    assert leftovers(tmp_path) == []


def test_neighbours_of_other_folders_are_not_swept(tmp_path):
    with whole_folder(tmp_path / "one") as staging:
        (staging / "a.txt").write_text("a")
        fill(tmp_path / "other", "x")
        assert staging.is_dir()
    assert (tmp_path / "one" / "a.txt").exists()


def test_links_and_dots_lead_to_the_same_lock(tmp_path):
    out = tmp_path / "run"
    fill(out, "old")
    (tmp_path / "link").symlink_to(out)
    inside = out / ".." / "link"
    for name in (tmp_path / "link", inside):
        with whole_folder(out), pytest.raises(RunFolderError, match="another Segue"):
            fill(name, "new")
    fill(tmp_path / "link", "new")
    assert (tmp_path / "link").is_symlink()
    assert words_in(out) == ({"new"}, FILES)


def test_a_name_as_long_as_names_go(tmp_path):
    fill(tmp_path / ("n" * 255), "new")
    assert leftovers(tmp_path) == []


def test_faults_in_the_neighbour_are_told_as_of_the_folder(tmp_path):
    out = tmp_path / "run"
    with (
        pytest.raises(SegueError, match=r"/run/a\.wav: is not good") as told,
        whole_folder(out) as s,
    ):
        raise RunFolderError(s / "a.wav", "is not good.")
    assert ".segue-" not in str(told.value)


@pytest.fixture(scope="module")
def main_job(tmp_path_factory):
    folder = tmp_path_factory.mktemp("kills")
    told = run_here(job(folder))
    assert told.code == 0, told.err
    return folder


@pytest.fixture(scope="module")
def whole_run(main_job):
    return lambda where: shutil.copytree(main_job / "run", where / "copied")


def test_main_job_killed_at_random_moments(main_job):
    jobs = [job(main_job, tempo_b=tempo) for tempo in (90.0, 100.0)]
    line = killed(main_job, main_job / "run", jobs, is_whole_run, n_kills=3)
    assert line.faults == ()
    assert line.n_tried == 3


def test_an_evening_killed_at_random_moments(main_job):
    evenings = [evening_job(main_job, tempo_b=tempo) for tempo in (90.0, 100.0)]
    out = main_job / "evening"
    line = killed(main_job, out, evenings, is_whole_evening, n_kills=2)
    assert line.faults == ()
    assert line.n_tried == 2


def test_a_choice_that_is_made_while_a_run_waits_is_not_lost(
    main_job, whole_run, tmp_path, monkeypatch
):
    run = whole_run(tmp_path)
    looked = []

    def chosen_after_the_first_look(out, **how):
        check_free(out, **how)
        if not looked:
            write_choice(run, Choice(rank=1))
        looked.append(out)

    monkeypatch.setattr("segue.job.between.check_free", chosen_after_the_first_look)
    told = run_here(job(main_job, out=run))
    assert (told.code, len(looked)) == (2, 1)
    assert "whose choice was made" in told.err
    assert read_document(run).choice == Choice(rank=1)


def test_two_runs_into_the_same_folder(main_job):
    jobs = [job(main_job, tempo_b=tempo) for tempo in (90.0, 100.0)]
    assert rivals(main_job, jobs, main_job / "run", is_whole_run, n_pairs=1).faults == ()


def test_full_disk(main_job):
    line = no_room(main_job, sizes_kb=(300,))
    if not line.n_tried:
        pytest.skip(line.note)
    assert line.faults == ()


def test_read_only_disk(main_job):
    line = read_only(main_job)
    if not line.n_tried:
        pytest.skip(line.note)
    assert line.faults == ()


def test_full_disk_while_a_choice_is_written(main_job, whole_run, tmp_path, monkeypatch):
    run = whole_run(tmp_path)
    before = contents(run)

    def full(_handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(RunFolderError, match="No space left on device"):
        write_choice(run, Choice(rank=1))
    assert contents(run) == before
    assert leftovers(tmp_path) == []


def test_a_choice_sweeps_what_a_killed_one_left(whole_run, tmp_path):
    run = whole_run(tmp_path)
    (run / ".segue.json-dead").write_text("half")
    write_choice(run, Choice(rank=1))
    assert leftovers(tmp_path) == []


def test_interrupted_in_this_process(main_job, monkeypatch):
    before = contents(main_job / "run")

    def by_hand(*_args, **_more):
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(5)

    monkeypatch.setattr("segue.job.between._Making.made", by_hand)
    # whoever runs the tests may have it ignored
    usual = signal.signal(signal.SIGINT, signal.default_int_handler)
    told = run_here(job(main_job))
    signal.signal(signal.SIGINT, usual)
    assert told.code == 130
    assert told.err.startswith("segue: interrupted;")
    assert contents(main_job / "run") == before
    assert leftovers(main_job) == []
