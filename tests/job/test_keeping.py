"""Candidates in the run folder: as loud as each other, best first."""

import math
from dataclasses import replace

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.audio.loudness import integrated_lufs
from segue.audio.true_peak import true_peak_dbtp
from segue.audio.write import read_wav
from segue.job.keeping import draw_pictures, levelled, measured, ranked, written_sounds
from segue.plan import plan_segue
from segue.render.candidate import Candidate
from segue.runfolder.pictures import waveform_of
from segue.score.scorecard import BadFault, Scorecard
from tests.plan.song_facts import end_facts, start_facts
from tests.runfolder.records import card_of, measure_of

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


def _card(overall, candidate):
    peak_dbtp = true_peak_dbtp(candidate.music, oversampling=16)
    peak = measure_of("true_peak", score=overall, value=peak_dbtp, unit="dBTP")
    return card_of(overall, peak)


@pytest.fixture(name="candidates", scope="module")
def _candidates(shelf):
    plans = [
        plan_segue(shelf[name], end_facts(), start_facts())
        for name in ("pad in the new key", "tempo ramp", "stop and count-in")
    ]
    loud = [_candidate(plan, level) for plan, level in zip(plans, (0.4, 0.2, 0.3), strict=True)]
    return [
        measured(candidate, _card(overall, candidate))
        for candidate, overall in zip(loud, (0.5, 0.9, 0.7), strict=True)
    ]


def _music(candidate, folder):
    return read_wav(candidate.write(folder, candidate.record.music_file))


def test_candidates_are_as_loud_as_the_quietest(candidates, tmp_path):
    after = levelled(candidates)
    heard = [integrated_lufs(_music(candidate, tmp_path)) for candidate in after]
    assert max(heard) - min(heard) < PROMISED_LU
    assert min(heard) == pytest.approx(min(c.record.loudness_lufs for c in candidates), abs=0.01)
    for candidate, lufs in zip(after, heard, strict=True):
        assert candidate.record.loudness_lufs == pytest.approx(lufs, abs=PROMISED_LU)


def test_what_is_said_of_the_level_is_lowered_with_it(candidates, tmp_path):
    before, after = candidates[0].record, levelled(candidates)[0]
    by_db = before.loudness_lufs - after.record.loudness_lufs
    assert by_db == pytest.approx(20 * np.log10(2), abs=0.05)
    assert after.record.true_peak_dbtp == pytest.approx(before.true_peak_dbtp - by_db)
    assert true_peak_dbtp(_music(after, tmp_path), oversampling=16) == pytest.approx(
        after.record.true_peak_dbtp, abs=0.01
    )
    was, now = (record.scorecard.loudness_lufs[0].value for record in (before, after.record))
    assert now == pytest.approx(was - by_db)


def test_the_quietest_is_left_alone(candidates):
    assert levelled(candidates)[1] is candidates[1]


def test_silence_has_no_peak_and_is_left_alone(candidates, shelf):
    plan = plan_segue(shelf["tempo ramp"], end_facts(), start_facts())
    silent = measured(_candidate(plan, 0.0), Scorecard(measures=(), overall=0.0))
    assert silent.record.true_peak_dbtp == -math.inf
    assert levelled([*candidates, silent])[-1] is silent


def test_each_file_is_written_once_and_drawn_as_it_is(candidates, tmp_path):
    best_first = ranked(levelled(candidates))
    written = written_sounds(tmp_path, best_first)
    for candidate in best_first:
        for name in candidate.record.sound_files:
            assert written(name) == tmp_path / name
        drawn = waveform_of(read_wav(tmp_path / candidate.record.music_file))
        for part, other in zip(candidate.waveform, drawn, strict=True):
            assert np.array_equal(part, other)
    assert len(list(tmp_path.iterdir())) == 3 * len(best_first)


def test_pictures_are_drawn_under_their_names(candidates, tmp_path):
    best_first = ranked(levelled(candidates))
    draw_pictures(tmp_path, best_first, title="Old to new")
    for candidate in best_first:
        with (tmp_path / candidate.record.picture_file).open("rb") as file:
            assert file.read(8) == b"\x89PNG\r\n\x1a\n"


def test_ranks_follow_the_score_and_files_follow_the_ranks(candidates):
    records = [candidate.record for candidate in ranked(levelled(candidates))]
    assert [r.plan.recipe for r in records] == [
        "tempo ramp",
        "stop and count-in",
        "pad in the new key",
    ]
    assert [r.music_file[0] for r in records] == ["1", "2", "3"]
    assert [r.rank for r in records] == [1, 2, 3]


def test_a_bad_fault_comes_after_lower_scores_without_one(candidates):
    best = ranked(levelled(candidates))[0]
    card = replace(
        best.record.scorecard, faults=(BadFault(name="hole", sentence="a hole of 1.8 s"),)
    )
    faulty = replace(best, record=replace(best.record, scorecard=card))
    others = [c for c in candidates if c.record.plan.recipe != best.record.plan.recipe]
    records = [candidate.record for candidate in ranked([faulty, *others])]
    assert [r.plan.recipe for r in records] == [
        "stop and count-in",
        "pad in the new key",
        "tempo ramp",
    ]
    assert not records[-1].is_tie
