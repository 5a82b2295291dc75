"""Beats and tempo are those of the sound, not of the plan."""

from __future__ import annotations

import numpy as np
import pytest

from segue.score import score_candidate
from segue.score.listening_to import hear
from segue.score.rendered_pulse import Pulse
from tests.score.synthetic import Recipe, facts_of, make_candidate, with_music
from tests.score.synthetic_band import RATE_HZ, burst, kick

TIMING_TOLERANCE_MS = 4.0
"""Under half a hop of the onset strength (10 ms)."""


@pytest.mark.parametrize("late_s", [-0.04, 0.0, 0.06])
def test_entry_timing_is_the_lateness_of_the_sound(score_of, late_s):
    value_ms = score_of(late_s=late_s).measure("entry_timing").value
    assert value_ms == pytest.approx(1000 * late_s, abs=TIMING_TOLERANCE_MS)


@pytest.mark.parametrize("late_s", [0.0, 0.09])
def test_a_song_with_hits_before_its_beats_comes_as_late_as_its_beats(late_s):
    """Soft hits 0.11 s before each beat lie nearer to the ruler than beats that come 90 ms late."""
    recipe = Recipe(bpm_to=120.0)
    candidate, rng = make_candidate(recipe), np.random.default_rng(3)
    plan, sound = candidate.plan, np.zeros(candidate.music.n_frames)
    for beat in range(1, round(plan.end_beat)):
        is_new = beat >= recipe.entry_beat
        at_s = plan.seconds_at(float(beat)) + late_s * is_new
        for time_s, gain in ((at_s, 0.5), (at_s - 0.11, 0.1 * (beat > recipe.entry_beat))):
            start, hit = round(time_s * RATE_HZ), gain * burst(rng, 30)
            sound[start : start + len(hit)] += hit[: len(sound) - start]
    pulse = hear(with_music(candidate, sound), *facts_of(recipe)).pulse
    assert pulse.row_late_s == pytest.approx(late_s, abs=0.011)
    after = pulse.beats >= recipe.entry_beat
    assert np.median(pulse.late_s[after & pulse.is_heard]) == pytest.approx(late_s, abs=0.006)


def test_a_figure_across_the_beat_is_no_pulse_that_drifts():
    """Five hits on four beats: each fifth is on the beat, and none comes late."""
    recipe = Recipe(bpm_to=120.0)
    candidate, rng = make_candidate(recipe), np.random.default_rng(3)
    plan, sound = candidate.plan, np.zeros(candidate.music.n_frames)
    figure = [recipe.entry_beat + 0.8 * k for k in range(20)]
    for beat in (*range(1, recipe.entry_beat), *figure):
        start, hit = round(plan.seconds_at(float(beat)) * RATE_HZ), 0.5 * burst(rng, 30)
        sound[start : start + len(hit)] += hit[: len(sound) - start]
    pulse = hear(with_music(candidate, sound), *facts_of(recipe)).pulse
    on_four = [recipe.entry_beat + 4 * k for k in range(4)]
    assert pulse.is_heard[on_four].all()
    assert pulse.late_s[on_four] == pytest.approx(0.0, abs=0.006)


@pytest.mark.parametrize("bpm", [90.0, 96.0, 106.0])
def test_tempo_is_that_of_the_sound(bpm):
    recipe = Recipe()
    candidate = drummed(recipe, bpm)
    tempo = hear(candidate, *facts_of(recipe))
    after = 60.0 / tempo.beat_lengths_s[recipe.entry_beat + 2 : recipe.entry_beat + 14]
    assert np.median(after) == pytest.approx(bpm, rel=0.005)


def test_a_song_played_at_a_wrong_tempo_is_a_change_of_tempo():
    recipe = Recipe()
    right, wrong = (
        score_candidate(drummed(recipe, bpm), *facts_of(recipe)).measure("tempo_change")
        for bpm in (96.0, 106.0)
    )
    # 106 against 96 is 10 %, that is 6.7 just-noticeable differences of 1.5 % (Drake & Botte 1993)
    assert wrong.value == pytest.approx(np.log(106 / 96) / np.log(1.015), abs=0.5)
    assert wrong.score < right.score
    assert wrong.worst_beat == pytest.approx(recipe.entry_beat, abs=1.0)


def test_noise_has_no_pulse():
    recipe = Recipe()
    candidate = make_candidate(recipe)
    noise = 0.1 * np.random.default_rng(5).normal(size=candidate.music.n_frames)
    heard = hear(with_music(candidate, noise), *facts_of(recipe)).pulse.is_heard
    assert heard.mean() < 0.1


def drummed(recipe, bpm):
    """Drums alone: on the ruler before the entry, at a tempo of their own after it."""
    candidate, rng = make_candidate(recipe), np.random.default_rng(11)
    plan, sound = candidate.plan, np.zeros(candidate.music.n_frames)
    entry_s = plan.seconds_at(recipe.entry_beat)
    times_s = [plan.seconds_at(b) for b in range(recipe.entry_beat)]
    times_s += [entry_s + k * 60.0 / bpm for k in range(24)]
    for n, time_s in enumerate(times_s):
        hit = 0.5 * kick() if n % 2 == 0 else 0.2 * burst(rng, 30)
        start = round(time_s * RATE_HZ)
        if start + len(hit) < len(sound):
            sound[start : start + len(hit)] += hit
    return with_music(candidate, sound)


def test_a_change_of_tempo_behind_a_bare_pad_is_not_heard(score_of):
    # the same step of tempo at the exit, with a beat right after it and with a bare pad
    at_once, bare = (score_of(ramp_beats=0, pad_drums=drums) for drums in (True, False))
    assert at_once.measure("tempo_change").value > 10.0
    assert "tempo_change" in {one.name for one in bare.not_measured}


@pytest.mark.parametrize(
    ("n_heard", "told"),
    [
        pytest.param(2, None, id="two tell nothing"),
        pytest.param(3, 0.010, id="three by the middle of them: 0, 10 and 20 ms"),
        pytest.param(4, 0.015, id="four as well"),
        pytest.param(5, 0.060, id="five by their line, 10 ms later with every beat, at beat 6"),
    ],
)
def test_how_late_beats_are_is_told_by_their_middle_and_from_five_on_by_their_line(n_heard, told):
    beats = np.arange(8.0)
    pulse = Pulse(
        beats=beats,
        times_s=0.5 * beats,
        late_s=0.01 * beats,
        is_heard=beats < n_heard,
        low_accent=np.ones(8),
    )
    found = pulse.late_at(3.0, 0.0, 8.0)
    assert (found is None) is (told is None)
    if found is not None:
        assert found[0] == pytest.approx(told)


@pytest.mark.parametrize(("late_s", "is_its_beat"), [(0.1, True), (0.17, False)])
def test_in_slow_music_a_hit_far_behind_a_beat_is_no_late_beat(score_of, late_s, is_its_beat):
    """At 60 BPM 0.17 s is a sixth of a beat: a place of its own in the bar."""
    card = score_of(bpm_from=62.0, bpm_to=60.0, late_s=late_s)
    told = {measure.name: measure.value for measure in card.measures}
    if is_its_beat:
        assert told["entry_timing"] == pytest.approx(1000 * late_s, abs=TIMING_TOLERANCE_MS)
    else:
        assert "entry_timing" not in told
