"""Chord changes without an attack, in computed organ chords; how long a last chord is held."""

import numpy as np
import pytest

from segue.analysis.envelope import HOP_S
from segue.analysis.last_chord import UNHEARD_S, held_until_s, soft_hits_s

RATE_HZ = 48_000
WITHIN_S = 0.1  # what is promised


def organ(notes, length_s):
    time_s = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    hz = [440 * 2 ** ((midi - 69) / 12) for midi in notes]
    return sum(0.05 * np.sin(2 * np.pi * f * k * time_s) / k for f in hz for k in (1, 2, 3, 4))


def test_a_change_of_chord_is_heard_where_it_is():
    new = np.clip((np.arange(3 * RATE_HZ) / RATE_HZ - 1.46) / 0.08, 0, 1)  # valves take 80 ms
    sound = organ((48, 60, 64, 67), 3) * (1 - new) + organ((41, 57, 60, 65), 3) * new
    heard_s = soft_hits_s(sound.astype(np.float32), RATE_HZ)
    assert len(heard_s) == 1
    assert heard_s[0] == pytest.approx(1.5, abs=WITHIN_S)


@pytest.mark.parametrize("length_s", [0.1, 0.5, 2.0], ids="{:g} s".format)
def test_a_cut_out_of_a_chord_is_no_change(length_s):
    bass = organ((36, 38, 43), length_s).astype(np.float32)
    assert len(soft_hits_s(bass, RATE_HZ)) == 0


def test_nothing_is_told_so_near_to_the_ends():
    noise = 0.1 * np.random.default_rng(1).standard_normal(RATE_HZ).astype(np.float32)
    heard_s = soft_hits_s(noise, RATE_HZ)
    assert np.all((heard_s >= UNHEARD_S) & (heard_s <= 1.0 - UNHEARD_S))


@pytest.mark.parametrize("sinks_db_s", [0.0, 0.5])
def test_a_chord_that_is_bowed_softer_and_softer_is_held_until_the_bow_stops(sinks_db_s):
    since_s = np.arange(0.0, 18.0, HOP_S)
    level_db = -20.0 - sinks_db_s * since_s - 40.0 * np.maximum(since_s - 16.0, 0.0)
    before = np.full(round(3.0 / HOP_S), -24.0)
    assert held_until_s(np.append(before, level_db), 3.0) == pytest.approx(19.0, abs=0.5)


def test_a_struck_chord_is_not_held_while_it_rings():
    ring_db = -20.0 - 6.0 * np.arange(0.0, 10.0, HOP_S)  # a piano's, about so much a second
    assert held_until_s(ring_db, 0.0) == pytest.approx(1.0, abs=0.5)
