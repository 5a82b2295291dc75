"""Bars without their singer: a band that comes back, and a voice that does not."""

import numpy as np
import pytest

from segue.render.stretch import missing_s
from segue.render.time_map import TimeMap
from segue.render.voiceless import voiceless
from tests.render.conftest import song

RATE_HZ = 22_050
BAR_S, N_BARS, FIRST_S = 2.0, 10, 1.0
LINES_S = tuple(FIRST_S + n * BAR_S for n in range(N_BARS))
OWN = 4  # the bar that is looped


def band(*, alike=True):
    """A bass line, two chords and a noise on every beat, again in every bar or anew in each."""
    generator = np.random.default_rng(3)
    bars = []
    for n in range(N_BARS + 1):
        if alike or not bars:
            draw = np.random.default_rng(7 if alike else n)
            bar = np.zeros(round(BAR_S * RATE_HZ))
            for beat in range(4):
                time_s = np.arange(round(0.5 * RATE_HZ)) / RATE_HZ
                bass = 55.0 * 2 ** (draw.integers(0, 12) / 12)
                tones = [bass, *(220 * 2 ** (draw.integers(0, 12) / 12) for _ in range(3))]
                sound = sum(np.sin(2 * np.pi * hertz * time_s) for hertz in tones)
                noise = generator.standard_normal(len(time_s)) * np.exp(-time_s / 0.03)
                at = beat * len(time_s)
                bar[at : at + len(time_s)] += 0.1 * sound * np.exp(-time_s / 0.4) + 0.1 * noise
        else:
            bar = bars[0]
        bars.append(bar if alike else np.roll(bar, int(draw.integers(0, len(bar)))))
    silence = np.zeros(round(FIRST_S * RATE_HZ))
    return np.repeat(np.concatenate([silence, *bars])[:, None], 2, axis=1)


def singer(n_frames):
    """Notes of a voice's length with harmonics, never twice the same."""
    generator = np.random.default_rng(5)
    out = np.zeros(n_frames)
    at = round(FIRST_S * RATE_HZ)
    while at < n_frames - RATE_HZ:
        length = round(generator.uniform(0.2, 0.7) * RATE_HZ)
        hertz = 250 * 2 ** generator.uniform(0, 1.2)
        time_s = np.arange(length) / RATE_HZ
        vibrato = hertz * time_s + 0.4 * np.sin(2 * np.pi * 5.5 * time_s)
        note = sum(np.sin(2 * np.pi * k * vibrato) / k for k in range(1, 8))
        out[at : at + length] += 0.08 * note * np.hanning(length)
        at += length
    return np.repeat(out[:, None], 2, axis=1)


def shares_db(out, parts):
    """How much of each part is in a sound, by least squares."""
    matrix = np.stack([part.ravel() for part in parts], axis=1)
    found = np.linalg.lstsq(matrix, out.ravel(), rcond=None)[0]
    return 20 * np.log10(np.abs(found) + 1e-9)


def looped(sound, **changes):
    edge = song(sound, rate_hz=RATE_HZ)
    lines_s = changes.get("lines_s", LINES_S)
    return voiceless(edge, edge.mix, (LINES_S[OWN], *lines_s), BAR_S)


def test_the_voice_goes_and_the_band_stays():
    players = band()
    voice = singer(len(players))
    made = looped(players + voice)
    first = round(LINES_S[OWN] * RATE_HZ)
    bar = slice(first, first + round(BAR_S * RATE_HZ))
    at = round((LINES_S[OWN] - made.start_s) * RATE_HZ)
    out = made.samples[at : at + bar.stop - bar.start]
    kept_db, left_db = shares_db(out, (players[bar], voice[bar]))
    assert kept_db > -1.5
    assert left_db < -9.0
    assert np.vdot(out, players[bar]) > 0.0  # not turned upside down: it lies over the song itself


def test_what_is_made_reaches_beyond_the_bar_for_its_joins():
    made = looped(band())
    ends_s = (LINES_S[OWN] - 0.05, LINES_S[OWN] + BAR_S + 0.05)
    time_map = TimeMap(plan_s=np.array(ends_s), source_s=np.array(ends_s))
    assert missing_s(made, time_map, start_s=ends_s[0], end_s=ends_s[1]) == pytest.approx(0.0)


@pytest.mark.parametrize("of", ["bars unlike each other", "too few bars"])
def test_without_bars_like_it_the_mix_stays_as_it_is(of):
    if of == "too few bars":
        assert looped(band(), lines_s=LINES_S[:2]) is None
    else:
        players = band(alike=False)
        assert looped(players + singer(len(players))) is None


def test_sides_of_the_image_are_not_touched():
    players = band()
    voice = singer(len(players))
    generator = np.random.default_rng(9)
    side = 0.02 * generator.standard_normal((len(players), 1)) * np.array([[1.0, -1.0]])
    made = looped(players + voice + side)
    first = round((made.start_s) * RATE_HZ)
    difference = made.samples[:, 0] - made.samples[:, 1]
    wanted = 2 * side[first : first + len(difference), 0]
    assert np.abs(difference - wanted).max() < 1e-4
