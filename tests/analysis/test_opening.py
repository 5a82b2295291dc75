"""Openings of a synthetic band whose first bar is known exactly."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from segue.analysis.facts import PulseFact
from segue.analysis.opening import hear_opening
from segue.audio.clip import Clip, SongEdge, Stem
from tests.analysis.test_ending import put

RATE_HZ = 48_000
BEAT_S = 0.55
START_TOLERANCE_S = 0.003  # two fine steps of the level and the tone's own rise


def struck(rng, length_s, decay_s, hz=()):
    """Partials (or noise, where none are given) under an exponential decay."""
    time_s = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    tone = sum(np.sin(2 * np.pi * f * time_s) for f in hz)
    return (tone if len(hz) else rng.standard_normal(len(time_s))) * np.exp(-time_s / decay_s)


def band(bar_one_s, n_bars=8):
    """Kick, snare, hat and a chord a bar, from bar one on."""
    rng = np.random.default_rng(1)
    sound = np.zeros(round((bar_one_s + 4 * n_bars * BEAT_S) * RATE_HZ))
    for beat in range(4 * n_bars):
        time_s = bar_one_s + beat * BEAT_S
        drum = struck(rng, 0.3, 0.06, (55,)) if beat % 2 == 0 else struck(rng, 0.3, 0.05)
        put(sound, drum, time_s, 0.5 if beat % 2 == 0 else 0.15)
        put(sound, struck(rng, 0.1, 0.02), time_s + BEAT_S / 2, 0.05)
        if beat % 4 == 0:
            put(sound, struck(rng, 4 * BEAT_S, 1.2, (131, 165, 196, 262)), time_s, 0.06)
    return sound


def note(length_s=0.25):
    return struck(np.random.default_rng(2), length_s, 0.2, (523, 1046, 1569))


def edge_of(sound):
    samples = np.stack([sound, sound], axis=1).astype(np.float32)
    clip = Clip(samples=samples, rate_hz=RATE_HZ)
    stem = Stem(role="mix", file="song.wav", clip=clip)
    return SongEdge(
        path=Path("song.wav"), title="song", edge="start", stems=(stem,), duration_s=clip.end_s
    )


def pulse_from(bar_one_s, *, skipped_bars=0, confidence=0.9):
    beats_s = tuple(bar_one_s + beat * BEAT_S for beat in range(4 * skipped_bars, 32))
    return PulseFact(
        tempo_bpm=60 / BEAT_S,
        tempo_alternatives_bpm=(),
        beats_s=beats_s,
        downbeats_s=beats_s[::4],
        metre=4,
        confidence=confidence,
        downbeat_confidence=confidence,
        residual_ms=1.0,
    )


@pytest.mark.parametrize("skipped_bars", [0, 3], ids=["whole pulse", "pulse heard late"])
@pytest.mark.parametrize("noise", [0.0, 1e-5, 3e-4], ids=["digital silence", "dither", "room"])
@pytest.mark.parametrize("silence_s", [0.0, 0.4, 3.0])
def test_opening_on_the_beat(silence_s, noise, skipped_bars):
    sound = band(silence_s)
    sound += noise * np.random.default_rng(3).standard_normal(len(sound))
    heard = hear_opening(edge_of(sound), pulse_from(silence_s, skipped_bars=skipped_bars))
    assert heard.kind == "on the beat"
    assert heard.pickup_beats == 0.0
    assert heard.first_downbeat_s == pytest.approx(silence_s, abs=1e-6)
    assert heard.sound_start_s == pytest.approx(silence_s, abs=START_TOLERANCE_S)


@pytest.mark.parametrize("beats", [1 / 3, 0.5, 1.0, 1.5, 2.0, 3.0])
def test_opening_with_a_pick_up_counts_its_beats(beats):
    bar_one_s = 1.0 + beats * BEAT_S
    sound = band(bar_one_s)
    for step in np.arange(0, beats, 0.5):
        put(sound, note(), 1.0 + step * BEAT_S, 0.05)
    heard = hear_opening(edge_of(sound), pulse_from(bar_one_s))
    assert heard.kind == "pick-up"
    assert heard.pickup_beats == pytest.approx(beats)
    assert heard.first_downbeat_s == pytest.approx(bar_one_s, abs=1e-6)
    assert heard.sound_start_s == pytest.approx(1.0, abs=START_TOLERANCE_S)


def test_opening_swell_into_bar_one_is_a_pick_up():
    bar_one_s = 1.0 + 2 * BEAT_S
    sound = band(bar_one_s)
    n_swell = round(2 * BEAT_S * RATE_HZ)
    rising = 10 ** (np.linspace(-40, 0, n_swell) / 20)
    put(sound, rising * np.random.default_rng(4).standard_normal(n_swell), 1.0, 0.1)
    heard = hear_opening(edge_of(sound), pulse_from(bar_one_s))
    assert (heard.kind, heard.pickup_beats) == ("pick-up", pytest.approx(2.0))


def free_pad():
    sound = band(8.0)
    time_s = np.arange(8 * RATE_HZ) / RATE_HZ
    sound[: len(time_s)] += 0.05 * np.sin(2 * np.pi * 220 * time_s) * np.minimum(time_s, 1)
    return sound


def free_chords():
    """Rolled chords at no tempo, from 1 s on."""
    sound = band(8.0)
    for time_s in (1.0, 2.37, 4.61, 6.2):
        for number, hz in enumerate((131, 165, 196, 262)):
            put(sound, struck(None, 1.3, 0.7, (hz, 2 * hz, 3 * hz)), time_s + 0.07 * number, 0.05)
    return sound


@pytest.mark.parametrize("early_bars", [0, 3], ids=["pulse from bar one", "pulse drawn back"])
@pytest.mark.parametrize("make", [free_pad, free_chords])
def test_opening_free_intro_ends_where_the_pulse_sets_in(make, early_bars):
    pulse = pulse_from(8.0 - early_bars * 4 * BEAT_S)
    heard = hear_opening(edge_of(make()), pulse)
    assert heard.kind == "free intro"
    assert heard.first_downbeat_s == pytest.approx(8.0, abs=1e-6)


@pytest.mark.parametrize(
    "pulse",
    [
        pytest.param(
            PulseFact(
                tempo_bpm=100.0, tempo_alternatives_bpm=(), beats_s=(), downbeats_s=(), metre=4,
                confidence=0.0, downbeat_confidence=0.0, residual_ms=0.0,
            ),
            id="no beats",
        ),
        pytest.param(pulse_from(0.5, confidence=0.1), id="unclear beats"),
    ],
)  # fmt: skip
def test_opening_without_a_pulse_is_free(pulse):
    heard = hear_opening(edge_of(free_pad()[: 6 * RATE_HZ]), pulse)
    assert heard.kind == "free intro"
    assert heard.confidence < 0.5
    assert heard.first_downbeat_s == heard.sound_start_s


def test_opening_of_silence_is_heard_without_confidence():
    heard = hear_opening(edge_of(np.zeros(RATE_HZ)), pulse_from(0.0))
    assert heard.confidence == 0.0


OPENING = band(1.0)


@settings(max_examples=10)
@given(gain_db=st.floats(-30, 6))
def test_opening_gain_changes_nothing(gain_db):
    heard = hear_opening(edge_of(OPENING), pulse_from(1.0))
    louder = hear_opening(edge_of(OPENING * 10 ** (gain_db / 20)), pulse_from(1.0))
    assert louder.kind == heard.kind
    assert louder.first_downbeat_s == heard.first_downbeat_s
    assert louder.sound_start_s == pytest.approx(heard.sound_start_s, abs=0.0011)


@settings(max_examples=10)
@given(silence_s=st.floats(0, 5))
def test_opening_silence_in_front_moves_times_only(silence_s):
    shift_s = round(silence_s * RATE_HZ) / RATE_HZ
    sound = np.concatenate([np.zeros(round(silence_s * RATE_HZ)), OPENING])
    heard = hear_opening(edge_of(sound), pulse_from(1.0 + shift_s))
    assert heard.kind == "on the beat"
    assert heard.sound_start_s - shift_s == pytest.approx(1.0, abs=START_TOLERANCE_S)


@pytest.mark.parametrize("fade_s", [6.0, 9.0])
def test_opening_under_a_fader_says_when_the_song_has_come_up(fade_s):
    sound = band(0.0, n_bars=14)
    assert hear_opening(edge_of(sound), pulse_from(0.0)).faded_in_s is None
    n_fade = round(fade_s * RATE_HZ)
    sound[:n_fade] *= np.linspace(0.0, 1.0, n_fade)
    up_s = hear_opening(edge_of(sound), pulse_from(0.0)).faded_in_s
    assert 0.4 * fade_s < up_s < 0.8 * fade_s  # a straight fader is 8 to 2 dB down there


@pytest.mark.parametrize("soft_beats", [1.0, 2.0])
def test_opening_that_is_far_softer_for_a_moment_says_when_the_song_has_come_up(soft_beats):
    sound = band(0.0, n_bars=14)
    sound[: round(soft_beats * BEAT_S * RATE_HZ)] *= 0.1
    up_s = hear_opening(edge_of(sound), pulse_from(0.0)).faded_in_s
    assert up_s == pytest.approx(soft_beats * BEAT_S, abs=0.15)


def test_opening_that_swells_has_come_up_by_the_band_and_one_that_is_soft_for_long_never():
    sound = band(4 * BEAT_S, n_bars=14)
    n_swell = round(4 * BEAT_S * RATE_HZ)
    rising = 10 ** (np.linspace(-40, 0, n_swell) / 20)
    put(sound, rising * np.random.default_rng(4).standard_normal(n_swell), 0.0, 0.1)
    up_s = hear_opening(edge_of(sound), pulse_from(4 * BEAT_S)).faded_in_s
    assert 3 * BEAT_S < up_s < 4 * BEAT_S  # where it is up to 10 dB below its end
    soft = band(0.0, n_bars=14)
    soft[: round(16 * BEAT_S * RATE_HZ)] *= 0.1
    assert hear_opening(edge_of(soft), pulse_from(0.0)).faded_in_s is None
