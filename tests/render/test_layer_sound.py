"""Curves along frames, fades, and what counts as silence."""

from types import SimpleNamespace

import numpy as np
import pytest

from segue.render.layer_sound import (
    cutoffs_along,
    faded,
    frames_of,
    gains_along,
    ruler_of,
    values_along,
)
from tests.render.conftest import curve

RATE_HZ = 48_000
BEAT_FRAMES = RATE_HZ // 2


@pytest.fixture(scope="module", name="ruler")
def _ruler():
    """Eight beats at 120 BPM from frame 0."""
    plan = SimpleNamespace(duration_s=4.0, beats_at=lambda times_s: [2.0 * t for t in times_s])
    return ruler_of(plan, RATE_HZ)


def test_a_gain_is_decibels_straight_in_beats(ruler):
    gains = gains_along(curve((1.0, 0.0), (3.0, -40.0)), ruler)
    assert len(gains) == 4 * RATE_HZ
    for beat, gain_db in ((0.0, 0.0), (1.5, -10.0), (2.0, -20.0), (2.75, -35.0), (4.0, -40.0)):
        # a gain down to -48 dB bends a little towards silence, by 2 dB at most
        told_db = 20 * np.log10(gains[round(beat * BEAT_FRAMES)])
        assert told_db == pytest.approx(gain_db, abs=0.01)
    assert (gains_along((), ruler) == 1.0).all()


def test_from_48_db_down_a_gain_bends_to_silence_without_a_step(ruler):
    gains = gains_along(curve((0.0, -40.0), (6.0, -70.0)), ruler)
    at = [round(beat * BEAT_FRAMES) for beat in (1.6, 2.8, 4.0, 5.0)]
    assert 20 * np.log10(gains[at[0]]) == pytest.approx(-48.0, abs=0.01)
    # half way from -48 to -60 dB the smooth step 3x^2 - 2x^3 leaves a half
    assert gains[at[1]] == pytest.approx(0.5 * 10 ** (-54 / 20), rel=0.01)
    assert gains[at[2] + 1] == 0.0
    assert not gains[at[3] :].any()
    assert (np.diff(gains) <= 0).all()


def test_a_step_of_gain_takes_5_ms(ruler):
    gains = gains_along(curve((4.0, 0.0), (4.0, -40.0)), ruler)
    moving = np.flatnonzero((gains < 0.999) & (gains > 0.011))
    assert moving[0] == pytest.approx(4 * BEAT_FRAMES, abs=130)
    assert moving[-1] - moving[0] == pytest.approx(0.005 * RATE_HZ, abs=10)


def test_a_step_of_a_value_or_a_cutoff_takes_5_ms_too(ruler):
    values = values_along(curve((4.0, -1.0), (4.0, 1.0)), ruler)
    octaves = np.log2(cutoffs_along(curve((4.0, 500.0), (4.0, 2_000.0)), ruler) / 1_000.0)
    for along in (values, octaves):
        moving = np.flatnonzero(np.abs(along) < 0.999)
        assert moving[-1] - moving[0] == pytest.approx(0.005 * RATE_HZ, abs=10)
        assert moving.mean() == pytest.approx(4 * BEAT_FRAMES, abs=2)


def test_a_cutoff_moves_by_octaves_and_a_value_by_itself(ruler):
    points = curve((0.0, 200.0), (4.0, 3_200.0))
    at = [round(beat * BEAT_FRAMES) for beat in (1.0, 2.0, 3.0)]
    assert cutoffs_along(points, ruler)[at] == pytest.approx([400.0, 800.0, 1_600.0], rel=1e-3)
    assert values_along(points, ruler)[at] == pytest.approx([950.0, 1_700.0, 2_450.0], rel=1e-3)
    assert not values_along((), ruler).any()


def test_fades_keep_the_middle_and_are_half_way_in_the_middle():
    sound = np.ones((4_800, 2), dtype=np.float32)
    out = faded(sound, RATE_HZ, in_s=0.02, out_s=0.04)
    assert (sound == 1.0).all()  # a new array
    assert (out[960:-1_920] == 1.0).all()
    # raised cosine: half of the amplitude half way
    assert out[479:481].mean() == pytest.approx(0.5, abs=1e-3)
    assert out[-961:-959].mean() == pytest.approx(0.5, abs=1e-3)
    assert out[0].max() < 1e-5 > out[-1].max()
    assert (np.diff(out[:960, 0]) > 0).all()
    short = faded(sound[:100], RATE_HZ, in_s=0.02)
    assert short[49:51].mean() == pytest.approx(0.5, abs=0.02)
    assert (faded(sound, RATE_HZ) == sound).all()


def test_a_layer_that_sticks_out_of_the_plan_is_cut_there(ruler):
    plan = SimpleNamespace(seconds_at=lambda beat: beat / 2)
    layer = SimpleNamespace(start_beat=-2.0, end_beat=3.0)
    assert frames_of(layer, plan, ruler) == (0, 3 * BEAT_FRAMES)
    layer = SimpleNamespace(start_beat=7.0, end_beat=12.0)
    assert frames_of(layer, plan, ruler) == (7 * BEAT_FRAMES, 8 * BEAT_FRAMES)


def test_a_part_of_a_ruler_has_the_same_beats(ruler):
    part = ruler.part(1_000, 70_000)
    assert part.n_frames == 69_000
    assert (part.beats == ruler.beats[1_000:70_000]).all()
    assert ruler.beats[[0, BEAT_FRAMES, 3 * BEAT_FRAMES + 7]] == pytest.approx(
        [0.0, 1.0, 3.0 + 7 / BEAT_FRAMES]
    )
