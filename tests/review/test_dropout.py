"""Gaps of a take, against a plan that is known to the frame."""

import numpy as np
import pytest
from scipy.signal import lfilter

from segue.audio.clip import Clip
from segue.review.dropout import gaps_of
from segue.review.room_and_noise import HOP_S, BandLevels, ThroughRoom, band_levels
from tests.review.conftest import RATE_HZ

BAR_S, N_BARS = 2.0, 6
LATE_S = 1.5
"""Where the plan begins in the take."""
PLACE_S, LENGTH_S = 0.015, 0.02


def music(seed=4):
    """Steady sound in all bands, a little louder on every half second."""
    length = round(N_BARS * BAR_S * RATE_HZ)
    at_s = np.arange(length) / RATE_HZ
    noise = np.random.default_rng(seed).normal(size=(length, 2))
    return 0.1 * noise * (1.0 + 0.5 * np.exp(-(at_s % 0.5) / 0.1))[:, None]


def taken(sound, *, floor=1e-4):
    """The sound in a room: late, half as loud, with some noise all along."""
    before = np.zeros((round(LATE_S * RATE_HZ), 2))
    whole = 0.5 * np.concatenate([before, sound])
    return whole + floor * np.random.default_rng(9).normal(size=whole.shape)


def levels_of(sound):
    plan, take = (
        Clip(samples=x.astype(np.float32), rate_hz=RATE_HZ) for x in (music(), taken(sound))
    )
    return ThroughRoom(band_levels(take, plan, lambda plan_s: plan_s + LATE_S))


def gaps(sound):
    return gaps_of(levels_of(sound), lambda plan_s: 1 + int((plan_s) // BAR_S))


def cut(sound, *spans_s):
    quiet = sound.copy()
    for start_s, length_s in spans_s:
        quiet[round(start_s * RATE_HZ) : round((start_s + length_s) * RATE_HZ)] = 0.0
    return quiet


def test_a_whole_take_has_no_gap():
    assert gaps(music()) == ()


@pytest.mark.parametrize("length_s", [0.1, 0.15, 0.4, 1.2])
@pytest.mark.parametrize("start_s", [3.3, 6.85])
def test_a_gap_is_found_where_it_is_and_as_long_as_it_is(start_s, length_s):
    (gap,) = gaps(cut(music(), (start_s, length_s)))
    assert gap.start_s == pytest.approx(LATE_S + start_s, abs=PLACE_S)
    assert gap.length_s == pytest.approx(length_s, abs=LENGTH_S)


def test_less_than_a_tenth_of_a_second_is_no_gap():
    assert gaps(cut(music(), (3.3, 0.06))) == ()


def test_two_gaps_are_two():
    first, second = gaps(cut(music(), (3.3, 0.2), (8.1, 0.3)))
    assert second.start_s - first.start_s == pytest.approx(4.8, abs=2 * PLACE_S)


def test_what_the_plan_has_soft_too_is_no_gap():
    plan = cut(music(), (5.0, 0.5))
    take = taken(plan)
    clips = (Clip(samples=x.astype(np.float32), rate_hz=RATE_HZ) for x in (take, plan))
    assert (
        gaps_of(ThroughRoom(band_levels(*clips, lambda plan_s: plan_s + LATE_S)), lambda _: 1) == ()
    )


@pytest.mark.parametrize("rt60_s", [0.0, 0.35, 0.8])
def test_a_plan_is_as_its_room_has_it(rt60_s):
    # Powers in bands, not sound: strokes, and behind them the tail that ISO 3382 calls so long.
    at_s = np.arange(0.0, 20.0, HOP_S)
    power = np.where(at_s % 0.5 < 0.02, 1.0, 1e-6)[:, None] * np.ones(5)
    heard = power.copy()
    if rt60_s:
        kept = 10 ** (-6 * HOP_S / rt60_s)
        heard += lfilter([1 - kept], [1, -kept], power, axis=0)
    noise = 1e-5
    levels = BandLevels(
        at_s=at_s,
        plan_s=at_s,
        take_db=10 * np.log10(heard + noise),
        plan_db=10 * np.log10(power),
        broad_db=10 * np.log10(heard.sum(axis=1)),
    )
    off_db = np.abs(ThroughRoom(levels).plan_db - levels.take_db)[200:]
    assert np.quantile(off_db, 0.8) < 1.5
