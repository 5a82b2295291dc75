"""Beats followed through a recording, told from onsets that are drawn."""

import numpy as np
import pytest

from segue.review.align import aligned
from segue.review.find import FoundPlace
from segue.review.listening import CHROMA_HOP_S, ONSET_HOP_S, Listening

LENGTH_S = 24.0
BEAT_S = 0.5
OFFSET_S = 3.0
BEATS_S = np.arange(2.0, 22.0, BEAT_S)
N_BANDS = 4


def struck(times_s, *, strengths=None, length_s=LENGTH_S + 2 * OFFSET_S):
    """Strokes in bands that differ from beat to beat, each a bump of some hops."""
    hops = np.arange(round(length_s / ONSET_HOP_S))
    onsets = np.zeros((len(hops), N_BANDS))
    for n, time_s in enumerate(times_s):
        shape = np.exp(-0.5 * ((hops - time_s / ONSET_HOP_S) / 1.2) ** 2)
        bands = np.random.default_rng(n).random(N_BANDS) + 0.2
        onsets += (1.0 if strengths is None else strengths[n]) * shape[:, None] * bands
    chroma = np.zeros((round(length_s / CHROMA_HOP_S), 12))
    return Listening(onsets=onsets, chroma=chroma, duration_s=length_s)


def followed(take_times_s, *, offset_s=OFFSET_S, speed=1.0):
    place = FoundPlace(offset_s=offset_s, speed=speed, match=1.0)
    return aligned(struck(BEATS_S), struck(take_times_s), (place,), tuple(BEATS_S))


def test_beats_that_are_played_to_the_letter_are_where_they_ought_to_be():
    told = followed(BEATS_S + OFFSET_S)
    assert told.take_s - told.plan_s == pytest.approx(OFFSET_S, abs=0.001)
    assert told.agreement == pytest.approx(1.0, abs=0.04)


@pytest.mark.parametrize("late_ms", [-200.0, -33.0, 47.0, 300.0])
def test_a_band_that_is_late_throughout_is_followed_within_its_reach(late_ms):
    told = followed(BEATS_S + OFFSET_S + late_ms / 1000)
    assert told.take_s - told.plan_s == pytest.approx(OFFSET_S + late_ms / 1000, abs=0.002)


def test_a_band_that_slows_down_is_followed_beat_by_beat():
    slower = 1.004
    told = followed(OFFSET_S + slower * BEATS_S)
    assert told.take_s == pytest.approx(OFFSET_S + slower * told.plan_s, abs=0.006)


def test_two_places_hold_each_from_its_own_time_on():
    times_s = np.where(BEATS_S < 12.0, BEATS_S + OFFSET_S, BEATS_S + OFFSET_S + 1.0)
    places = tuple(
        FoundPlace(offset_s=offset_s, speed=1.0, match=1.0, from_s=from_s)
        for offset_s, from_s in ((OFFSET_S, 0.0), (OFFSET_S + 1.0, 12.0))
    )
    told = aligned(struck(BEATS_S), struck(times_s), places, tuple(BEATS_S))
    assert told.take_s == pytest.approx(times_s, abs=0.01)


def test_beats_outside_the_recording_are_left_out():
    told = followed(BEATS_S - 5.0, offset_s=-5.0)
    assert told.plan_s[0] == 5.5
    assert told.take_s - told.plan_s == pytest.approx(-5.0, abs=0.005)


def test_a_rest_agrees_with_nothing_and_is_led_through():
    resting = [t for t in BEATS_S if not 9.0 < t < 14.0]
    place = FoundPlace(offset_s=OFFSET_S, speed=1.0, match=1.0)
    render = struck(resting)
    told = aligned(render, struck(np.array(resting) + OFFSET_S + 0.05), (place,), tuple(BEATS_S))
    rest = (told.plan_s > 10.3) & (told.plan_s < 12.7)
    assert (told.agreement[rest] == 0.0).all()
    assert told.take_s[~rest] - told.plan_s[~rest] == pytest.approx(OFFSET_S + 0.05, abs=0.01)


@pytest.mark.parametrize("off_hops", [-3, 0, 3])
def test_a_stroke_within_three_hops_of_a_beat_is_its_own(off_hops):
    times_s = BEATS_S + off_hops * ONSET_HOP_S
    strengths = np.where(np.arange(len(BEATS_S)) == 7, 3.0, 1.0)
    place = FoundPlace(offset_s=0.0, speed=1.0, match=1.0)
    render = struck(BEATS_S)
    loud = struck(times_s, strengths=strengths)
    told = aligned(loud, render, (place,), tuple(BEATS_S))
    alike = aligned(struck(times_s), render, (place,), tuple(BEATS_S))
    assert told.struck[7] / alike.struck[7] == pytest.approx(3.0, rel=0.05)
    # the middle of all is 1, wherever within reach they lie
    assert np.median(alike.struck) == pytest.approx(1.0)


def test_strokes_are_as_strong_early_as_late():
    """Within three hops a stroke counts whole, a little further off in part, and then not."""
    place = FoundPlace(offset_s=0.0, speed=1.0, match=1.0)

    def strength(off_hops):
        times_s = BEATS_S.copy()
        times_s[7] += off_hops * ONSET_HOP_S
        return aligned(struck(times_s), struck(BEATS_S), (place,), tuple(BEATS_S)).struck[7]

    for hops in (1, 3, 5, 12):
        assert strength(-hops) == pytest.approx(strength(hops), rel=0.2, abs=0.01)
    assert strength(3) == pytest.approx(strength(0), rel=0.1)
    assert strength(12) < 0.01 < strength(5) < 0.7 * strength(0)


@pytest.mark.parametrize("speed", [0.92, 1.08])
def test_a_take_that_stops_early_has_its_beats_up_to_there_at_its_own_speed(speed):
    """Of a band that plays slower fewer beats fit into a recording, and of a faster one more."""
    ends_s = 16.0
    render, take = struck(BEATS_S), struck(BEATS_S * speed, length_s=ends_s)
    place = FoundPlace(offset_s=0.0, speed=speed, match=1.0)
    told = aligned(render, take, (place,), tuple(BEATS_S))
    assert told.plan_s[-1] * speed == pytest.approx(ends_s, abs=BEAT_S * speed + 0.11)
    assert told.plan_s[-1] * speed < ends_s
