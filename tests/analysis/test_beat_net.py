"""The beat net's opinion: what it says of sounds, and that it is multiplied as it was learned."""

import numpy as np
import pytest

from segue.analysis.beat_net import (
    FRAME_S,
    N_METRES,
    N_TEMPI,
    Opinion,
    _around,
    net_input,
    opinion_on,
)
from segue.analysis.heard_part import semitone_levels
from segue.analysis.metre_net import NET_COLUMNS, HeardByNet, beat_strength, net_share
from segue.analysis.onsets import HOP_S, RATE_HZ, onset_levels

BEAT_S = 0.5
LENGTH_S = 20.0


def opinion_of(sound):
    mono = sound.astype(np.float32)
    return opinion_on(net_input(onset_levels(mono), semitone_levels(mono).astype(np.float32)))


def chords_with_soft_attacks():
    """Chords that swell for 60 ms, one a beat of 120 BPM, in a loop of four."""
    at_s = np.arange(round(LENGTH_S * RATE_HZ)) / RATE_HZ
    place_s = at_s % BEAT_S
    swell = np.minimum(place_s / 0.06, 1.0) * np.minimum((BEAT_S - place_s) / 0.06, 1.0)
    roots = np.array([57, 53, 60, 55])[(at_s // (4 * BEAT_S)).astype(int) % 4]
    sound = np.zeros(len(at_s))
    for interval in (-12, 0, 4, 7):
        hz = 440.0 * 2 ** ((roots + interval - 69) / 12)
        sound += np.sin(2 * np.pi * np.cumsum(hz) / RATE_HZ)
    return 0.2 * swell * sound


def flat_opinion(log_odds, n_frames=500):
    even = np.full(n_frames, log_odds, dtype=np.float32)
    tempo, metre = np.zeros(N_TEMPI, np.float32), np.zeros(N_METRES, np.float32)
    return Opinion(beat=even, downbeat=even, tempo=tempo, metre=metre)


def test_frames_beside_each_other_multiply_like_a_convolution():
    # numpy.convolve is the reference: five taps three frames apart over one channel
    rng = np.random.default_rng(3)
    state, taps = rng.normal(size=(40, 1)), rng.normal(size=5)
    spread = np.zeros(13)
    spread[::3] = taps[::-1]
    wanted = np.convolve(state[:, 0], spread, mode="same")
    assert _around(state, 2, 3) @ taps == pytest.approx(wanted)


def test_noise_without_a_pulse_bears_out_no_beats():
    """Its start may pass for one beat; no row of beats through it is likely."""
    noise = 0.1 * np.random.default_rng(1).normal(size=round(LENGTH_S * RATE_HZ))
    opinion = opinion_of(noise)
    for beat_s in (0.3, 0.5, 0.75, 1.0):
        for first_s in np.arange(0.0, beat_s, 0.05):
            assert net_share(opinion, np.arange(first_s, LENGTH_S - 1, beat_s)) == 0.0


def test_chords_with_soft_attacks_have_their_beats():
    opinion = opinion_of(chords_with_soft_attacks())
    beats_s = np.arange(2.0, LENGTH_S - 2.0, BEAT_S)
    assert net_share(opinion, beats_s) > net_share(opinion, beats_s + BEAT_S / 2)
    assert net_share(opinion, beats_s) > 0.5


def test_opinion_does_not_hang_on_the_level():
    sound = chords_with_soft_attacks()
    assert opinion_of(0.05 * sound).beat == pytest.approx(opinion_of(sound).beat, abs=1e-2)


@pytest.mark.parametrize(("log_odds", "share"), [(-9.0, 0.0), (9.0, 1.0)], ids=["none", "sure"])
def test_share_is_that_of_the_net(log_odds, share):
    assert net_share(flat_opinion(log_odds), np.arange(1.0, 8.0, 0.5)) == share


@pytest.mark.parametrize("metre", [1, 2, 3, 4, 7])
def test_every_way_has_a_value_for_every_column(metre):
    beats_s = np.arange(1.0, 8.0, BEAT_S)
    heard = HeardByNet(flat_opinion(0.0), beats_s)
    rows = heard.for_ways(heard.for_beats(BEAT_S), metre)
    assert rows.shape == (metre, len(NET_COLUMNS))
    assert np.isfinite(rows).all()


def test_a_frame_is_two_hops():
    assert pytest.approx(2 * HOP_S) == FRAME_S
    assert len(beat_strength(flat_opinion(0.0), 777)) == 777
