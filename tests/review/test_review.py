"""A take is found, timed and heard; what must not change a review does not."""

from dataclasses import replace

import numpy as np
import pytest

from segue.errors import InputError, OptionError
from segue.review import ReviewRequest, compared, read_review, review_take, write_review
from segue.review.findings import findings_of
from segue.review.moves import Clock
from segue.review.timing import recorder_ratio
from tests.review.conftest import CHORDS, FIRST_NOTE_MIDI, RATE_HZ, Played, band, taped

OFFSET_MS = 10.0
BAR_MS = 5.0
ENTRY_MS = 15.0
ENTRY_CENTS = 8.0
"""What a review is asked to reach."""
DRIFTS = {number: 0.02 * np.sin(number) for number in range(1, 13)}


def _late_ms(review):
    return {bar.number: bar.late_ms for bar in review.bars if bar.late_ms is not None}


def test_plain_take_is_in_time_and_without_complaint(plain):
    assert plain.offset_s == pytest.approx(2.0, abs=OFFSET_MS / 1000)
    assert plain.match > 0.8
    assert plain.spread_ms < BAR_MS
    assert (plain.broke, plain.holes, plain.faults) == (None, (), ())
    assert plain.clock.recorder_ratio == 1.0
    assert plain.advice == "In the plan's time and pitch: keep it like this."
    assert plain.played_s == pytest.approx(plain.planned_s, abs=0.02)


def test_gain_changes_nothing_and_offset_only_shifts(review_of, plain):
    quiet = review_of(offset_s=5.3, gain=0.01)
    assert quiet.offset_s - plain.offset_s == pytest.approx(3.3, abs=0.002)
    assert _late_ms(quiet) == pytest.approx(_late_ms(plain), abs=1.0)
    assert quiet.singer.late_ms == pytest.approx(plain.singer.late_ms, abs=4.0)
    assert quiet.faults == ()
    for level, other in zip(quiet.levels, plain.levels, strict=True):
        assert level.against_plan_lu == pytest.approx(other.against_plan_lu, abs=0.1)


def test_take_that_starts_within_the_transition_is_found(review_of):
    review = review_of(offset_s=-4.0)
    assert review.offset_s == pytest.approx(-4.0, abs=OFFSET_MS / 1000)


def test_bars_and_entry_are_told_from_the_truth(review_of):
    played = Played(late_s=DRIFTS, singer_late_s=-0.06, singer_cents=-30.0)
    review = review_of(played, offset_s=1.0)
    true_ms = {number: 1000 * late for number, late in DRIFTS.items()}
    late_ms = _late_ms(review)
    middle = np.median([late_ms[n] - true_ms[n] for n in late_ms])
    errors = [abs(late_ms[n] - true_ms[n] - middle) for n in late_ms]
    assert np.median(errors) < BAR_MS
    bar = review.singer.bar
    assert review.singer.late_ms == pytest.approx(-60 - true_ms[bar], abs=ENTRY_MS)
    assert review.singer.cents == pytest.approx(-30.0, abs=ENTRY_CENTS)


def test_recorder_that_runs_off_is_told_from_a_band_that_drifts(review_of):
    by_clock = review_of(offset_s=1.0, speed=1.004)
    assert by_clock.clock.recorder_ratio == pytest.approx(1.004, abs=3e-4)
    assert abs(by_clock.clock.drift_ms_a_minute) < 20
    assert by_clock.spread_ms < BAR_MS
    drifting = {number: 0.009 * number for number in range(1, 13)}
    by_band = review_of(Played(late_s=drifting), offset_s=1.0)
    assert by_band.clock.recorder_ratio == 1.0
    assert by_band.clock.drift_ms_a_minute > 150


def test_bar_that_jumps_and_bar_that_is_missing_are_named(review_of):
    jumped = dict.fromkeys(range(10, 13), 0.08)
    review = review_of(Played(late_s=jumped))
    assert review.broke.bar == 10
    assert review.broke.step_ms == pytest.approx(80, abs=10)
    assert "Bar 10" in review.advice
    missing = review_of(Played(silent_bars=(3,)))
    assert [hole.bar for hole in missing.holes] == [3]
    assert "ar 3" in missing.advice


def test_band_that_waits_before_the_new_song_is_followed(review_of, plan):
    entry = next(line.number for line in plan.bar_lines if line.section == "incoming")
    waited = {line.number: 1.5 for line in plan.bar_lines if line.number >= entry}
    review = review_of(Played(late_s=waited, singer_late_s=1.5), offset_s=3.0)
    assert review.broke.bar == entry
    assert review.broke.step_ms == pytest.approx(1500, abs=20)
    assert review.played_s - review.planned_s == pytest.approx(1.5, abs=0.05)
    assert review.singer.late_ms == pytest.approx(0.0, abs=ENTRY_MS)


def test_band_that_waits_after_the_new_song_has_begun_is_told_there(review_of, plan):
    entry = next(line.number for line in plan.bar_lines if line.section == "incoming")
    waited = {line.number: 1.1 for line in plan.bar_lines if line.number > entry}
    review = review_of(Played(late_s=waited, singer_late_s=1.1), offset_s=3.0)
    assert review.broke.bar == entry + 1
    assert review.broke.step_ms == pytest.approx(1100, abs=20)


def test_what_could_not_be_told_is_said(plain):
    assert any(note.startswith("Whether the singer was there was not told") for note in plain.notes)
    assert any(note.startswith("Who rests is told for the drums") for note in plain.notes)


def test_bars_that_lag_together_are_told_together(review_of):
    late_s = {5: 0.03, 6: 0.038, 7: 0.03, 10: -0.022, 11: -0.022}
    advice = review_of(Played(late_s=late_s), offset_s=1.0).advice
    assert advice.startswith("Bars 5 to 7 are late, most in bar 6 (")
    assert "play from bar 4 with the click" in advice


@pytest.mark.parametrize("late_ms", [60.0, -40.0])
def test_one_bar_that_hesitates_is_not_smoothed_away(late_ms, review_of):
    review = review_of(Played(late_s={6: late_ms / 1000}), offset_s=1.0)
    told = _late_ms(review)
    assert told.pop(6) == pytest.approx(late_ms, abs=BAR_MS)
    assert list(told.values()) == pytest.approx([0.0] * len(told), abs=BAR_MS)
    assert review.advice.startswith("Bar 6 ")
    assert ("late" if late_ms > 0 else "early") in review.advice


def test_one_bar_that_is_heard_as_loose_and_no_more_is_left_alone(review_of):
    assert review_of(Played(late_s={6: 0.015})).advice.endswith("keep it like this.")


def test_small_speed_that_the_pitch_follows_roughly_is_the_recorders():
    cents = -1200 * np.log2(1.0012)
    assert recorder_ratio(1.0012, cents + 1.5) == pytest.approx(1.0012, abs=3e-4)
    assert recorder_ratio(1.0030, 0.0) == 1.0


def test_slow_take_whose_pitch_does_not_tell_why_is_laid_to_neither(plain):
    slow = Clock(
        speed_ratio=1.0025, tuning_cents=-2.0, recorder_ratio=1.0022, drift_ms_a_minute=18.0
    )
    assert slow.is_either
    (told,) = findings_of(replace(plain, clock=slow), asked=1)
    assert "150 ms a minute slow, by either the band or the recorder" in told.sentence
    assert not replace(slow, tuning_cents=-4.3).is_either
    assert not replace(slow, tuning_cents=1.0).is_either


def test_entry_with_a_band_that_lags_is_told_against_the_band(review_of, plan):
    bar = max(x.number for x in plan.bar_lines if x.beat <= plan.singer_beat)
    played = Played(late_s=dict.fromkeys((bar - 1, bar, bar + 1), 0.03), singer_late_s=0.03)
    assert review_of(played, offset_s=1.0).singer.late_ms == pytest.approx(0.0, abs=ENTRY_MS)


def test_a_section_that_is_louder_is_told_through_any_tone(run, plan, tmp_path):
    entry = next(line for line in plan.bar_lines if line.section == "incoming")
    sound = band(plan)
    sound[round(plan.seconds_at(entry.beat) * RATE_HZ) :] *= 2.0  # 6 dB
    dull = np.apply_along_axis(np.convolve, 0, sound, np.hanning(25) / np.hanning(25).sum(), "same")
    for name, played in (("plain", sound), ("dull", dull)):
        path = taped(played, tmp_path / f"{name}.wav", offset_s=1.0)
        told = review_take(ReviewRequest(run=run, take=path)).best_try
        levels = {level.section: level.against_plan_lu for level in told.levels}
        assert levels["incoming"] - levels["outgoing"] == pytest.approx(6.0, abs=1.0)


def test_other_music_is_refused_with_its_best_match(run, plan, tmp_path):
    other = tuple(tuple(m + 6 - 5 * (n % 2) for n, m in enumerate(chord)) for chord in CHORDS)
    sound = np.roll(band(plan, Played(chords=other[::-1], seed=9)), RATE_HZ // 5, axis=0)
    scrambled = np.concatenate(np.split(sound[: 24 * RATE_HZ], 40)[::-1])
    path = taped(scrambled, tmp_path / "other.wav")
    with pytest.raises(InputError, match=r"does not hold option 1 .*best match is 0\.\d\d and"):
        review_take(ReviewRequest(run=run, take=path))


def test_candidate_that_is_not_there_is_refused(run, tmp_path):
    with pytest.raises(OptionError, match="there is no option 7: the run has 1"):
        review_take(ReviewRequest(run=run, take=tmp_path / "take.wav", rank=7))


def test_review_survives_the_disk_and_is_drawn(rehearsal, run, plan, tmp_path):
    take = taped(band(plan), tmp_path / "take.wav", offset_s=2.0)
    files = write_review(tmp_path / "take review.json", rehearsal, run=run, take=take)
    assert read_review(files.document) == rehearsal
    assert files.picture.read_bytes().startswith(b"\x89PNG")
    assert files.page.read_text("utf-8").startswith("<!doctype html>")
    assert sorted(p.name for p in tmp_path.iterdir()) == [
        "take review.html", "take review.json", "take review.png", "take.wav",
    ]  # fmt: skip


def test_two_reviews_compare(rehearsal, jumped):
    plain, jumped = rehearsal, replace(rehearsal, tries=(jumped,))
    assert compared(plain, jumped).verdict == "better"
    assert compared(jumped, plain).verdict == "worse"
    assert compared(plain, plain).verdict == "same"


def test_first_note_is_the_plans(plain):
    assert plain.singer.cents == pytest.approx(0.0, abs=ENTRY_CENTS)
    assert plain.singer.late_ms == pytest.approx(0.0, abs=ENTRY_MS)
    assert FIRST_NOTE_MIDI == 65.0
