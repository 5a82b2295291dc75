"""Ridden gain is told from a band, a room's noise and a gap; gaps are told at their true length."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.signal import lfilter

from segue.audio.clip import Clip
from segue.review.levels_and_gaps import gain_ratio, gaps_of, section_levels
from segue.review.room_and_noise import HOP_S, BandLevels, ThroughRoom, band_levels
from tests.review.conftest import RATE_HZ

LENGTH_S, SOFT_DB, TURN_S = 40.0, 8.0, 2.0
TONE_DB = np.array([-6.0, 2.0, 0.0, 3.0, -9.0])
"""Of a microphone, band by band."""
AT_S = np.arange(0.0, LENGTH_S, HOP_S)
LEVEL_DB = np.where(AT_S % (2 * TURN_S) < TURN_S, 0.0, -SOFT_DB)
LEVEL_DB[AT_S % 5.0 > 4.9] -= 40.0
"""Of a plan that is loud and soft by turns, with a breath now and then."""
BAR_S, N_BARS = 2.0, 6
LATE_S = 1.5
"""Where the plan begins in the take."""
PLACE_S, SOUND_S = 0.015, 0.02


def _heard(change_db=0.0, *, noise_db=-60.0):
    """A take that has some decibels more than its plan, and noise."""
    rng = np.random.default_rng(5)
    plan_db = LEVEL_DB[:, None] + rng.normal(0, 1.5, (len(AT_S), len(TONE_DB)))
    take_db = plan_db + np.broadcast_to(change_db, AT_S.shape)[:, None]
    take_db = 10 * np.log10(10 ** (take_db / 10) + 10 ** (noise_db / 10)) + TONE_DB
    return ThroughRoom(
        BandLevels(
            at_s=AT_S, plan_s=AT_S, take_db=take_db - TONE_DB, plan_db=plan_db, broad_db=LEVEL_DB
        )
    )


def _ridden_db(ratio):
    """The gain of a recorder that makes `ratio` decibels one, a while late."""
    wanted, now = -(1 - 1 / ratio) * LEVEL_DB, 0.0
    gain_db = np.empty(len(AT_S))
    for n, want in enumerate(wanted):
        now += (want - now) * HOP_S / 0.3
        gain_db[n] = now
    return gain_db


@pytest.mark.parametrize("ratio", [2.0, 4.0, 10.0])
def test_gain_that_is_ridden_is_told_and_never_for_more_than_it_is(ratio):
    assert 1.15 < gain_ratio(_heard(_ridden_db(ratio)), ()) <= ratio + 0.1


@pytest.mark.parametrize(
    "change_db", [0.0, 12.0, np.where(AT_S < 20, 0.0, 6.0), 0.15 * AT_S],
    ids=["as planned", "louder", "a section louder", "louder and louder"],
)  # fmt: skip
def test_a_band_rides_no_gain(change_db):
    assert gain_ratio(_heard(change_db), ()) == 1.0


@pytest.mark.parametrize("noise_db", [-20.0, -12.0])
def test_noise_in_what_is_soft_is_no_gain(noise_db):
    assert gain_ratio(_heard(noise_db=noise_db), ()) == 1.0


def test_a_player_who_is_missing_where_the_plan_is_loud_is_no_gain():
    heard = _heard()
    heard.levels.take_db[:, 1:4] += LEVEL_DB[:, None].clip(-SOFT_DB) * -0.8
    assert gain_ratio(ThroughRoom(heard.levels), ()) == 1.0


def test_a_gap_is_no_gain():
    gaps_s = [(start_s, start_s + 1.0) for start_s in (5.0, 13.0, 21.0, 29.0)]
    is_gap = np.any([(a <= AT_S) & (b > AT_S) for a, b in gaps_s], axis=0)
    assert gain_ratio(_heard(np.where(is_gap, -7.0, 0.0)), gaps_s) == 1.0


def test_a_plan_that_neither_rises_nor_falls_tells_no_gain():
    heard = _heard()
    flat = BandLevels(
        at_s=AT_S,
        plan_s=AT_S,
        take_db=heard.levels.take_db - LEVEL_DB[:, None],
        plan_db=heard.levels.plan_db - LEVEL_DB[:, None],
        broad_db=0 * AT_S,
    )
    assert gain_ratio(ThroughRoom(flat), ()) == 1.0


def test_a_section_is_as_loud_as_three_quarters_of_the_bands_agree_on():
    bars = [SimpleNamespace(plan_s=0.0, section="outgoing"),
            SimpleNamespace(plan_s=20.0, section="incoming")]  # fmt: skip
    review = SimpleNamespace(bars=bars)
    levels = _heard(np.where(AT_S < 20, 0.0, 5.0)).levels
    old, new = section_levels(levels, review, ())
    assert (old.section, new.section) == ("outgoing", "incoming")
    assert new.against_plan_lu - old.against_plan_lu == pytest.approx(5.0, abs=0.3)
    # A phone takes the lowest band of the new song away: no reason to call it softer.
    levels.take_db[AT_S >= 20, :1] -= 30.0
    assert section_levels(levels, review, ())[1].against_plan_lu == pytest.approx(5.0, abs=0.5)
    # Where as many bands rise as fall, nothing is said.
    levels.take_db[AT_S >= 20] += np.array([20.0, -10.0, -10.0, 2.0, 2.0])
    assert section_levels(levels, review, ())[1].against_plan_lu == 0.0


def test_who_is_missing_is_not_soft():
    bars = [SimpleNamespace(plan_s=0.0, section="outgoing"),
            SimpleNamespace(plan_s=20.0, section="incoming")]  # fmt: skip
    levels = _heard(np.where(AT_S < 25, 0.0, -9.0)).levels
    review = SimpleNamespace(bars=bars)
    assert section_levels(levels, review, ())[1].against_plan_lu < -5.0
    told = section_levels(levels, review, [(25.0, np.inf)])
    assert told[1].against_plan_lu == pytest.approx(told[0].against_plan_lu, abs=0.2)
    (old,) = section_levels(levels, review, [(19.0, np.inf)])
    assert old.section == "outgoing"


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
    assert gap.length_s == pytest.approx(length_s, abs=SOUND_S)


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
