"""A click is found under notes of its pitch; notes, and drums that play with it, are no click."""

from dataclasses import replace

import numpy as np
import pytest

from segue.score.cleanliness import click_leak
from segue.score.listening_to import hear
from tests.score.synthetic import RATE_HZ, Recipe, facts_of, make_candidate, mixed_anew, stereo

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
