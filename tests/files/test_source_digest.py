"""The digest of our own source: whatever changes a result changes it, and nothing else."""

import pytest

from segue.files.source_digest import source_digest

PARTS, LIBRARIES = ("plan", "render"), ("numpy",)


@pytest.fixture(name="package")
def _package(tmp_path):
    for part in (*PARTS, "stage"):
        (tmp_path / "one" / part / "inner").mkdir(parents=True)
        (tmp_path / "one" / part / "inner" / "code.py").write_text("x = 1\n")
    return tmp_path / "one"


def digest(package, libraries=LIBRARIES):
    source_digest.cache_clear()
    found = source_digest(PARTS, libraries, package=package)
    source_digest.cache_clear()
    return found


@pytest.mark.parametrize(
    "change",
    [
        lambda folder: (folder / "code.py").write_text("x = 2\n"),
        lambda folder: (folder / "code.py").rename(folder / "other.py"),
        lambda folder: (folder / "more.py").write_text(""),
        lambda folder: (folder / "model.npz").write_bytes(b"1"),
        lambda folder: (folder / "code.py").unlink(),
    ],
    ids=["edited", "renamed", "added", "model", "gone"],
)
def test_what_a_result_depends_on_changes_it(package, change):
    before = digest(package)
    change(package / "render" / "inner")
    assert digest(package) != before


def test_other_parts_other_files_and_the_place_do_not(package):
    before = digest(package)
    (package / "stage" / "inner" / "code.py").write_text("x = 2\n")
    (package / "render" / "code.cpython-311.pyc").write_bytes(b"compiled")
    assert digest(package) == before
    assert digest(package.rename(package.with_name("two"))) == before


def test_a_version_of_a_library_changes_it(package, monkeypatch):
    before = digest(package)
    assert digest(package, ("numpy", "no such library")) != before
    monkeypatch.setattr("segue.files.source_digest._version", lambda name: "0.0")
    assert digest(package) != before
