"""Candidates in the run folder: as loud as each other, best first."""

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.audio.loudness import integrated_lufs
from segue.audio.write import read_wav
from segue.job.keeping import draw_pictures, kept, levelled, ranked
from segue.plan import plan_segue
from segue.render.candidate import Candidate
from segue.score.scorecard import CurveSample, Measure, Scorecard
from tests.plan.song_facts import end_facts, start_facts

RATE_HZ = 24_000
PROMISED_LU = 0.1  # how close candidates are to be in loudness


def _candidate(plan, level):
    time_s = np.arange(round(plan.duration_s * RATE_HZ)) / RATE_HZ
    tone = (level * np.sin(2 * np.pi * 440 * time_s)).astype(np.float32)
    stereo = Clip(samples=np.stack([tone, tone], axis=1), rate_hz=RATE_HZ)
    mono = Clip(samples=0.1 * tone[:, None], rate_hz=RATE_HZ)
    return Candidate(
        plan=plan,
        music=stereo,
        click=mono,
        cue=mono,
        outgoing=stereo,
        interlude=stereo,
        incoming=stereo,
    )


def _card(overall):
    measure = Measure(
        name="level",
        label="level",
        value=1.0,
        unit="LU",
        score=overall,
        threshold="2 LU",
        source="from the test",
        sentence="A step.",
    )
    return Scorecard(
        measures=(measure,),
        overall=overall,
        loudness_lufs=(CurveSample(time_s=0.0, value=-10.0),),
    )


@pytest.fixture(name="records")
def _records(shelf, tmp_path):
    plans = [
        plan_segue(shelf[name], end_facts(), start_facts())
        for name in ("pad in the new key", "tempo ramp", "stop and count-in")
    ]
    return [
        kept(tmp_path, _candidate(plan, level), _card(overall))
        for plan, level, overall in zip(plans, (0.4, 0.2, 0.3), (0.5, 0.9, 0.7), strict=True)
    ]


def test_candidates_are_as_loud_as_the_quietest(records, tmp_path):
    after = levelled(tmp_path, records)
    heard = [integrated_lufs(read_wav(tmp_path / record.music_file)) for record in after]
    assert max(heard) - min(heard) < PROMISED_LU
    assert min(heard) == pytest.approx(min(r.loudness_lufs for r in records), abs=0.01)
    for record, lufs in zip(after, heard, strict=True):
        assert record.loudness_lufs == pytest.approx(lufs, abs=PROMISED_LU)


def test_what_is_said_of_the_level_is_lowered_with_it(records, tmp_path):
    before, after = records[0], levelled(tmp_path, records)[0]
    by_db = before.loudness_lufs - after.loudness_lufs
    assert by_db == pytest.approx(20 * np.log10(2), abs=0.05)
    assert after.true_peak_dbtp == pytest.approx(before.true_peak_dbtp - by_db)
    assert after.scorecard.loudness_lufs[0].value == pytest.approx(-10.0 - by_db)


def test_the_quietest_is_left_alone(records, tmp_path):
    quietest = (tmp_path / records[1].music_file).read_bytes()
    after = levelled(tmp_path, records)
    assert (tmp_path / after[1].music_file).read_bytes() == quietest


def test_pictures_are_drawn_under_their_names(records, tmp_path):
    best_first = ranked(tmp_path, levelled(tmp_path, records))
    draw_pictures(tmp_path, best_first, title="Old to new")
    for record in best_first:
        with (tmp_path / record.picture_file).open("rb") as file:
            assert file.read(8) == b"\x89PNG\r\n\x1a\n"


def test_ranks_follow_the_score_and_files_follow_the_ranks(records, tmp_path):
    best_first = ranked(tmp_path, levelled(tmp_path, records))
    assert [r.plan.recipe for r in best_first] == [
        "tempo ramp",
        "stop and count-in",
        "pad in the new key",
    ]
    assert [r.music_file[0] for r in best_first] == ["1", "2", "3"]
    assert all((tmp_path / r.music_file).is_file() for r in best_first)
