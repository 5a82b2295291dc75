"""The pulse of sounds whose beats are known exactly: they are computed, not recorded."""

from functools import cache

import numpy as np
import pytest

from segue.analysis.pulse import hear_pulse
from tests.analysis import pulse_sounds as sounds

WITHIN_S = 0.001
"""A click track's beats are right within a millisecond: the aim of the product."""
SAME_S = 1e-4
"""Resampling shifts attacks by a fraction of the 0.36 ms steps that they are looked for in."""


@cache
def heard_loop(bpm):
    """The pulse of a drum loop as it is."""
    return hear_pulse(sounds.edge_of(sounds.drum_loop(bpm)[0]))


def farthest_s(truth_s, heard_s):
    return max(float(np.abs(heard_s - time_s).min()) for time_s in truth_s)


@pytest.mark.parametrize("bpm", [55.0, 72.0, 96.5, 120.0, 133.3, 168.0], ids="{:g} bpm".format)
def test_click_track_beats_are_right_within_a_millisecond(bpm):
    sound, times_s = sounds.click_track(bpm)
    fact = hear_pulse(sounds.edge_of(sound), tempo_bpm=bpm)
    assert farthest_s(times_s, np.array(fact.beats_s)) < WITHIN_S
    assert farthest_s(fact.beats_s, times_s) < WITHIN_S
    assert fact.tempo_bpm == pytest.approx(bpm, rel=1e-4)
    assert fact.source == "given"


@pytest.mark.parametrize("bpm", [100.0, 120.0], ids="{:g} bpm".format)
@pytest.mark.parametrize("metre", [3, 4], ids="{} clicks a bar".format)
def test_accented_clicks_need_no_hint(bpm, metre):
    sound, times_s = sounds.click_track(bpm, n_beats=48, metre=metre)
    fact = hear_pulse(sounds.edge_of(sound))
    assert fact.tempo_bpm == pytest.approx(bpm, rel=1e-4)
    assert fact.metre == metre
    assert farthest_s(times_s, np.array(fact.beats_s)) < WITHIN_S
    assert farthest_s(fact.beats_s, times_s) < WITHIN_S
    assert farthest_s(fact.downbeats_s, times_s[::metre]) < WITHIN_S


@pytest.mark.parametrize("bpm", [82.0, 104.0, 126.0], ids="{:g} bpm".format)
@pytest.mark.parametrize("metre", [3, 4], ids="{} beats a bar".format)
def test_drum_loop_gives_its_tempo_beats_and_bars(bpm, metre):
    sound, beats_s = sounds.drum_loop(bpm, metre=metre)
    fact = hear_pulse(sounds.edge_of(sound))
    assert fact.tempo_bpm == pytest.approx(bpm, rel=1e-3)
    assert fact.metre == metre
    assert farthest_s(beats_s, np.array(fact.beats_s)) < WITHIN_S
    assert farthest_s(fact.downbeats_s, beats_s[::metre]) < WITHIN_S


def test_gain_changes_nothing():
    loud, _ = sounds.drum_loop(110.0)
    quiet, _ = sounds.drum_loop(110.0, gain=0.03)
    one, other = (hear_pulse(sounds.edge_of(sound)) for sound in (loud, quiet))
    np.testing.assert_allclose(one.beats_s, other.beats_s, atol=SAME_S)
    assert one.downbeats_s == pytest.approx(other.downbeats_s, abs=SAME_S)


@pytest.mark.parametrize("silence_s", [0.5, 2.0, 3.1], ids="{:g} s".format)
def test_silence_at_the_front_shifts_beats_and_nothing_else(silence_s):
    sound, _ = sounds.drum_loop(98.0)
    later = np.concatenate([np.zeros(round(silence_s * sounds.RATE_HZ)), sound])
    one, other = heard_loop(98.0), hear_pulse(sounds.edge_of(later))
    np.testing.assert_allclose(np.array(one.beats_s) + silence_s, other.beats_s, atol=SAME_S)
    assert len(one.downbeats_s) == len(other.downbeats_s)
    assert one.metre == other.metre
    assert other.confidence == pytest.approx(one.confidence, abs=0.02)


@pytest.mark.parametrize("rate_hz", [44_100, 50_400], ids="{} Hz".format)
def test_playing_at_another_rate_scales_the_tempo(rate_hz):
    sound, _ = sounds.drum_loop(108.0)
    plain = heard_loop(108.0)
    other = hear_pulse(sounds.edge_of(sound, rate_hz=rate_hz))
    ratio = rate_hz / sounds.RATE_HZ
    assert other.tempo_bpm == pytest.approx(plain.tempo_bpm * ratio, rel=1e-4)
    np.testing.assert_allclose(
        np.array(other.beats_s) * ratio, np.array(plain.beats_s), atol=WITHIN_S
    )


def test_first_downbeat_that_is_given_is_obeyed():
    sound, beats_s = sounds.drum_loop(100.0)
    fact = hear_pulse(sounds.edge_of(sound), first_downbeat_s=float(beats_s[3]))
    assert min(abs(np.array(fact.downbeats_s) - beats_s[3])) < WITHIN_S


def test_downbeat_off_the_beats_moves_the_grid():
    sound, beats_s = sounds.drum_loop(100.0)
    given_s = float(beats_s[4]) + 0.2
    fact = hear_pulse(sounds.edge_of(sound), tempo_bpm=100.0, first_downbeat_s=given_s)
    assert min(abs(np.array(fact.downbeats_s) - given_s)) < WITHIN_S


@pytest.mark.parametrize("metre", [3, 5, 7], ids="{} beats a bar".format)
def test_metre_that_is_given_is_obeyed(metre):
    sound, _ = sounds.drum_loop(100.0)
    fact = hear_pulse(sounds.edge_of(sound), metre=metre)
    downs = np.searchsorted(fact.beats_s, fact.downbeats_s)
    assert fact.metre == metre
    assert set(np.diff(downs).tolist()) == {metre}


def test_half_and_double_are_among_the_alternatives():
    sound, _ = sounds.drum_loop(100.0)
    fact = hear_pulse(sounds.edge_of(sound))
    ratios = np.array(fact.tempo_alternatives_bpm) / fact.tempo_bpm
    for ratio in (0.5, 2.0):
        assert np.abs(ratios - ratio).min() < 0.05


@pytest.mark.parametrize("n_frames", [0, 100, 10 * 48_000], ids="{} frames".format)
def test_silence_has_no_beats(n_frames):
    fact = hear_pulse(sounds.edge_of(np.zeros(n_frames)))
    assert fact.beats_s == ()
    assert fact.confidence == 0.0


def test_an_end_edge_counts_from_the_start_of_the_file():
    sound, beats_s = sounds.drum_loop(100.0)
    edge = sounds.edge_of(sound, edge="end")
    fact = hear_pulse(edge)
    assert farthest_s(fact.beats_s, beats_s) < WITHIN_S


def chords_before_drums(*, before_s):
    """Quiet chords at some times before drums at 120 BPM set in after four seconds."""
    drums, beats_s = sounds.drum_loop(120, n_bars=10, lead_s=4.2)
    at_s = np.arange(len(drums)) / sounds.RATE_HZ
    for number, start_s in enumerate([*before_s, *beats_s]):
        inside = (at_s >= start_s) & (at_s < start_s + 0.45)
        place_s = at_s[inside] - start_s
        root_hz = 440 * 2 ** ((57 + (0, 5, 7, 5)[number // 4 % 4] - 69) / 12)
        for ratio in (1.0, 1.25, 1.5):
            struck = np.sin(2 * np.pi * root_hz * ratio * place_s) * np.exp(-place_s / 0.3)
            drums[inside] += 0.01 * struck
    return drums, beats_s


def test_a_quiet_start_in_tempo_is_counted_before_the_drums_set_in():
    before_s = 0.2 + 0.5 * np.arange(8)
    sound, beats_s = chords_before_drums(before_s=before_s)
    heard = hear_pulse(sounds.edge_of(sound))
    wanted_s = np.concatenate([before_s, beats_s])
    assert farthest_s(wanted_s, np.array(heard.beats_s)) < 0.02


def test_a_free_start_is_not_counted():
    sound, beats_s = chords_before_drums(before_s=[0.2, 1.05, 1.62, 3.1])
    heard = hear_pulse(sounds.edge_of(sound))
    assert heard.beats_s[0] > beats_s[0] - 0.6
