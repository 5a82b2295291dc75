"""Every sentence that a review refuses with."""

import json
from dataclasses import replace

import numpy as np
import pytest
from typer.testing import CliRunner

from segue.audio.clip import Clip
from segue.audio.write import write_wav24
from segue.cli.app import app
from segue.errors import AudioFileError, InputError, OptionError
from segue.review import compared, read_review, review_text, write_review
from segue.review import listening as take_module
from segue.review.listening import read_clip
from segue.review.timing import recorder_ratio
from tests.review.conftest import RATE_HZ, band, taped


def _silence(path, length_s):
    samples = np.zeros((round(length_s * RATE_HZ), 1), dtype=np.float32)
    write_wav24(path, Clip(samples=samples, rate_hz=RATE_HZ))
    return path


def test_take_that_is_too_short(tmp_path):
    path = _silence(tmp_path / "short.wav", 1.0)
    with pytest.raises(AudioFileError, match=r"is 1\.0 s long: a take needs 3 s or more"):
        read_clip(path)


def test_take_that_is_too_long(tmp_path, monkeypatch):
    monkeypatch.setattr(take_module, "LONGEST_TAKE_S", 120.0)
    path = _silence(tmp_path / "long.wav", 180.0)
    with pytest.raises(AudioFileError, match="is 3 minutes long, more than 2: cut it"):
        read_clip(path)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        pytest.param("no json", "is no review", id="no-json"),
        pytest.param("[]", "is no review", id="a-list"),
        pytest.param('{"schema_version": 9}', "written by a newer Segue", id="newer"),
        pytest.param('{"schema_version": 1}', "written by an older Segue", id="older"),
        pytest.param('{"schema_version": 2}', "does not hold together at", id="empty"),
    ],
)
def test_file_that_is_no_review(text, words, tmp_path):
    path = tmp_path / "review.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=words):
        read_review(path)


def test_review_that_is_not_there(tmp_path):
    with pytest.raises(InputError, match="is no review: name the JSON file"):
        read_review(tmp_path / "none.json")


def test_unknown_field_is_refused(rehearsal, tmp_path):
    value = json.loads(review_text(rehearsal)) | {"mood": "good"}
    path = tmp_path / "review.json"
    path.write_text(json.dumps(value), encoding="utf-8")
    with pytest.raises(InputError, match="does not hold together at 'mood'"):
        read_review(path)


def test_reviews_of_two_transitions_do_not_compare(rehearsal):
    other = replace(rehearsal.best_try, recipe="pad in the new key")
    with pytest.raises(OptionError, match="compare takes of one transition"):
        compared(rehearsal, replace(rehearsal, tries=(other,)))


def test_place_that_cannot_be_written(rehearsal, run, plan, tmp_path):
    take = taped(band(plan), tmp_path / "take.wav")
    (tmp_path / "file").write_text("not a folder", encoding="utf-8")
    with pytest.raises(InputError, match=r"cannot be made .*: choose a folder with --out"):
        write_review(tmp_path / "file" / "review.json", rehearsal, run=run, take=take)
    (tmp_path / "review.png").mkdir()
    with pytest.raises(InputError, match=r"cannot be written .*: choose a folder with --out"):
        write_review(tmp_path / "review.json", rehearsal, run=run, take=take)


def test_out_that_is_no_folder(run, tmp_path):
    (tmp_path / "none").write_text("", encoding="utf-8")
    told = CliRunner().invoke(
        app, ["review", str(run), str(tmp_path / "a.wav"), "--out", str(tmp_path / "none")]
    )
    assert isinstance(told.exception, OptionError)
    assert "is a file: name a folder" in str(told.exception)


def test_command_prints_and_leaves_page_json_and_picture(run, plan, rehearsal, tmp_path):
    take = taped(band(plan), tmp_path / "take.wav", offset_s=2.0)
    out = tmp_path / "rev" / "0"  # made, as everywhere
    earlier = tmp_path / "earlier.json"
    earlier.write_text(review_text(rehearsal), encoding="utf-8")
    told = CliRunner().invoke(
        app, ["review", str(run), str(take), "--out", str(out), "--against", str(earlier)]
    )
    assert told.exit_code == 0, told.output
    assert "Next time:" in told.output
    assert "the same as take.wav" in told.output
    endings = ("html", "json", "png")
    assert sorted(p.name for p in out.iterdir()) == [f"take review.{end}" for end in endings]
    assert json.loads((out / "take review.json").read_text())["schema_version"] == 2


@pytest.mark.parametrize("ratio", [0.995, 0.998, 1.002, 1.005])
def test_clock_moves_speed_and_pitch_by_one_ratio(ratio):
    assert recorder_ratio(ratio, -1200 * np.log2(ratio)) == ratio
    assert recorder_ratio(ratio, 0.0) == 1.0
