"""A click is found under notes of its pitch; notes, and drums that play with it, are no click."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from segue.score.cleanliness import click_leak, clipping, true_peak
from segue.score.listening_to import hear
from tests.score.synthetic import (
    RATE_HZ,
    Recipe,
    facts_of,
    make_candidate,
    mixed_anew,
    mono,
    stereo,
)

CLICK_HZ = (1000.0, 1500.0)


def told(leak):
    """What is said where notes at both pitches of the click ring through the bridge."""
    recipe = Recipe(click_leak=leak)
    made = make_candidate(recipe)
    t = np.arange(made.music.n_frames) / RATE_HZ
    notes = stereo(0.1 * sum(np.sin(2 * np.pi * hz * t) for hz in CLICK_HZ)).samples
    ringing = mixed_anew(made, interlude=made.interlude.samples + notes)
    music = ringing.music.samples + leak * made.click.samples
    ringing = replace(ringing, music=replace(ringing.music, samples=music))
    return click_leak(hear(ringing, *facts_of(recipe)))


@pytest.mark.parametrize("leak_db", [-24.0, -30.0, -36.0])
def test_a_click_under_a_note_of_its_pitch_is_found_at_its_level(leak_db):
    assert told(10.0 ** (leak_db / 20.0)).value == pytest.approx(leak_db, abs=2.0)


def test_a_note_of_its_pitch_is_no_click():
    assert told(0.0).score == 1.0


def test_a_drum_that_plays_with_the_click_is_hardly_ever_taken_for_it():
    made, facts = make_candidate(Recipe()), facts_of(Recipe())
    plan = hear(made, *facts).plan
    t = np.arange(round(0.08 * RATE_HZ)) / RATE_HZ
    n_told = 0
    for seed in range(10):
        hit = np.exp(-t / 0.015) * np.random.default_rng(seed).standard_normal(len(t))
        music = made.music.samples.copy()
        for one in plan.click:
            at = round(plan.seconds_at(one.beat) * RATE_HZ)
            music[at : at + len(hit)] += 0.5 * hit[: len(music) - at, np.newaxis]
        drummed = replace(made, music=replace(made.music, samples=music))
        n_told += click_leak(hear(drummed, *facts)).score < 1.0
    assert n_told <= 1  # of ten; chance alone makes a burst of noise like a click


LENGTH_S, EVERY_S = 12.0, 0.5


def clicked(leak_db, *, beside_db=-200.0, beside_s=0.0005, noise=0.01, n_clicks=20):
    """What is said of noise with so much of the click in it, and so much a little beside it."""
    rng, n_frames = np.random.default_rng(4), round(LENGTH_S * RATE_HZ)
    hits = tuple(SimpleNamespace(beat=float(beat)) for beat in range(2, 2 + n_clicks))
    pulse = 0.5 * rng.standard_normal(round(0.02 * RATE_HZ))
    click = np.zeros(n_frames)
    for hit in hits:
        at = round(hit.beat * EVERY_S * RATE_HZ)
        click[at : at + len(pulse)] = pulse
    music = noise * rng.standard_normal(n_frames)
    music += 10 ** (leak_db / 20) * click
    music += 10 ** (beside_db / 20) * np.roll(click, round(beside_s * RATE_HZ))
    plan = SimpleNamespace(click=hits, seconds_at=lambda beat: beat * EVERY_S)
    candidate = SimpleNamespace(music=stereo(music), click=mono(click))
    return click_leak(SimpleNamespace(plan=plan, candidate=candidate, is_silent=False))


@pytest.mark.parametrize(
    ("leak_db", "score"), [(-20.0, 0.1), (-40.0, 0.55), (-50.0, 0.775), (-60.0, 1.0)]
)
def test_a_click_20_db_down_is_a_fault_and_60_db_down_is_none(leak_db, score):
    measure = clicked(leak_db, noise=1e-4)
    assert measure.value == pytest.approx(leak_db, abs=0.3)
    assert measure.score == pytest.approx(score, abs=0.01)
    assert (
        measure.sentence == f"The click is heard in the room, {-leak_db:.0f} dB below the in-ears."
    )
    assert measure.worst_beat == 2.0


def test_where_no_click_is_none_is_told():
    for measure in (clicked(-200.0), clicked(-86.0, noise=1e-7)):  # less than rounding
        assert (measure.value, measure.score, measure.worst_beat) == (-80.0, 1.0, None)
        assert measure.sentence == "No click leaks into the room."
    assert clicked(-74.0, noise=1e-7).value == pytest.approx(-74.0, abs=0.5)


@pytest.mark.parametrize(("beside_db", "is_leak"), [(-40.0, True), (-30.0, False)])
def test_what_is_as_like_the_click_half_a_millisecond_beside_it_is_no_leak(beside_db, is_leak):
    measure = clicked(-36.0, beside_db=beside_db, noise=1e-3)
    assert (measure.value > -80.0) is is_leak


def test_without_a_click_or_a_sound_nothing_is_told():
    assert clicked(-30.0, n_clicks=0) is None


@pytest.mark.parametrize(
    ("peak_dbtp", "score"), [(-6.0, 1.0), (-1.0, 1.0), (0.025, 0.55), (1.0, 0.1)]
)
def test_a_peak_at_the_ceiling_is_fine_and_above_full_scale_a_fault(peak_dbtp, score):
    # EBU R 128: at most -1 dBTP
    t = np.arange(RATE_HZ) / RATE_HZ
    music = stereo(10 ** (peak_dbtp / 20) * np.sin(2 * np.pi * 997 * t))
    measure = true_peak(SimpleNamespace(candidate=SimpleNamespace(music=music)))
    assert measure.value == pytest.approx(peak_dbtp, abs=0.02)
    assert measure.score == pytest.approx(score, abs=0.01)
    assert measure.sentence == f"The music peaks at {measure.value:.1f} dBTP."
    silence = stereo(np.zeros(100))
    assert true_peak(SimpleNamespace(candidate=SimpleNamespace(music=silence))) is None


def flat(*runs, loud=0.9):
    """What is said of a sine at half of full scale in which frames are held: (first, how many)."""
    sound = 0.5 * np.sin(2 * np.pi * 100 * np.arange(RATE_HZ) / RATE_HZ + 0.1)
    for first, n_frames in runs:
        sound[first : first + n_frames] = loud
    plan = SimpleNamespace(beat_at=lambda time_s: 2.0 * time_s)
    return clipping(SimpleNamespace(candidate=SimpleNamespace(music=stereo(sound)), plan=plan))


def test_flat_tops_are_told_from_a_fifth_of_a_millisecond_on_with_the_first_of_them():
    none = flat()
    assert (none.value, none.score, none.worst_beat) == (0.0, 1.0, None)
    few = flat((12_000, 6))  # of six equal frames the inner four
    assert few.value == pytest.approx(1000 * 4 / RATE_HZ)
    assert (few.sentence, few.score) == ("No peak is cut flat.", 1.0)
    some = flat((12_000, 26), (18_000, 50))
    assert some.value == pytest.approx(1000 * (24 + 48) / RATE_HZ)
    assert some.sentence == "The peaks are cut flat for 3 ms in all."
    assert some.worst_beat == pytest.approx(1.0, abs=1e-3)
    # by ratio from 0.2 ms, which is nothing, to 50 ms, which is a fault
    assert some.score == pytest.approx(1 - 0.9 * np.log10(3.0 / 0.2) / np.log10(50.0 / 0.2))


@pytest.mark.parametrize(("share", "is_flat"), [(0.24, False), (0.26, True)])
def test_equal_frames_far_below_the_peak_are_no_flat_top(share, is_flat):
    assert (flat((6_000, 3), (12_000, 50), loud=0.5 * share).value > 0) is is_flat
    assert (flat((12_000, 50), loud=-0.5 * share).value > 0) is is_flat
