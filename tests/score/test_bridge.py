"""What is heard between two songs, on bridges with known truth."""

from dataclasses import replace

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.render import render_candidate
from segue.score.bridge import bridge_of, room_curves
from tests.render.conftest import curve, music, plan_by_hand, song
from tests.render.test_ride import bridged

RATE_HZ = 22_050


@pytest.fixture(scope="module")
def made(plan):
    """A bridge of a steady pad between songs with hits on every beat."""
    old = song(music(14.0, 120.0, rate_hz=RATE_HZ), rate_hz=RATE_HZ)
    new = song(music(14.0, 100.0, rate_hz=RATE_HZ, seed=2), rate_hz=RATE_HZ)
    return render_candidate(bridged(plan, curve((4, -3.0))), old, new)


@pytest.fixture(scope="module")
def plan():
    return plan_by_hand()


def heard_in(candidate):
    return bridge_of(candidate.plan, candidate.music)


def with_bridge(candidate, change):
    """The same with the sound of its bridge changed."""
    plan = candidate.plan
    low, high = (
        round(plan.seconds_at(beat) * RATE_HZ) for beat in (plan.exit_beat, plan.entry_beat)
    )
    samples = candidate.music.samples.copy()
    samples[low:high] = change(samples[low:high])
    return replace(candidate, music=Clip(samples=samples, rate_hz=RATE_HZ))


def test_a_pad_between_songs_is_static_and_at_its_level(made):
    bridge = heard_in(made)
    assert bridge.is_static
    assert bridge.below_lu == pytest.approx(3.0, abs=1.5)
    assert len(bridge.curve_lu) == 16


def test_hits_in_it_are_a_pulse(made):
    hits = music(14.0, 120.0, rate_hz=RATE_HZ, seed=5).astype(np.float32)
    bridge = heard_in(with_bridge(made, lambda sound: hits[: len(sound)]))
    assert not bridge.is_static
    assert 0.5 < bridge.pulse < 1.5
    assert bridge.thinnest_pulse > 0.35
    assert bridge.onsets_a_s == pytest.approx(2.0, abs=0.7)


def test_what_rises_is_told(made):
    def rising(sound):
        return sound * np.linspace(0.3, 1.2, len(sound))[:, None].astype(np.float32)

    assert heard_in(with_bridge(made, rising)).rise_lu > 4.0
    assert abs(heard_in(made).rise_lu) < 2.5


def test_a_new_song_far_below_the_old_one_excuses_no_sag(made):
    plan = made.plan
    entry = round(plan.seconds_at(plan.entry_beat) * RATE_HZ)

    def sagging(sound):
        gain = np.ones(len(sound), dtype=np.float32)
        gain[-RATE_HZ:] = np.linspace(1.0, 0.1, RATE_HZ)
        return sound * gain[:, None]

    def dip_lu(new_db):
        candidate = with_bridge(made, sagging)
        samples = candidate.music.samples.copy()
        samples[entry:] *= np.float32(10 ** (new_db / 20))
        return heard_in(replace(candidate, music=Clip(samples=samples, rate_hz=RATE_HZ))).dip_lu

    # the last second ends 20 dB below the bridge; of the new song's level 6 LU are taken off
    assert all(dip_lu(new_db) > 6.0 for new_db in (-20.0, -30.0))


def test_a_gain_on_everything_changes_nothing(made):
    quieter = replace(
        made, music=Clip(samples=made.music.samples * np.float32(0.5), rate_hz=RATE_HZ)
    )
    one, other = heard_in(made), heard_in(quieter)
    assert one.below_lu == pytest.approx(other.below_lu, abs=0.1)
    assert one.pulse == pytest.approx(other.pulse, rel=0.1)
    assert one.air_db == pytest.approx(other.air_db, abs=0.1)


def test_a_bridge_that_sets_in_late_becomes_denser(made):
    """Where nothing is struck at first a ratio of what is struck must still tell which way."""
    hits = music(14.0, 120.0, rate_hz=RATE_HZ, seed=5).astype(np.float32)

    def late(sound):
        half = len(sound) // 2
        return np.concatenate([0.0 * sound[:half], hits[: len(sound) - half]])

    def early(sound):
        half = len(sound) // 2
        return np.concatenate([hits[:half], 0.0 * sound[half:]])

    assert heard_in(with_bridge(made, late)).denser > 1.5
    assert heard_in(with_bridge(made, early)).denser < 0.7


def test_the_air_of_a_bridge_is_its_own_and_not_that_of_the_songs_around_it(made):
    """A bridge without anything above 1 kHz has no air, however bright the songs that meet it."""
    hum = 0.1 * np.sin(2 * np.pi * 110.0 * np.arange(60 * RATE_HZ) / RATE_HZ)[:, None]

    def dull(sound):
        return np.broadcast_to(hum[: len(sound)], sound.shape).astype(np.float32)

    assert heard_in(with_bridge(made, dull)).air_db < -50.0


def steady(kind, rate_hz):
    """20 s of a sound that is never struck: noise, or a held chord in a cloud of phases."""
    generator = np.random.default_rng(1912)
    noise = generator.standard_normal(20 * rate_hz)
    if kind == "noise":
        return 0.1 * noise
    size = np.fft.rfft(noise)
    hertz = np.fft.rfftfreq(len(noise), 1 / rate_hz)
    near = [np.exp(-(((hertz / (110.0 * n) - 1) / 0.002) ** 2)) / n for n in range(1, 30)]
    cloud = np.fft.irfft(size * np.sum(near, axis=0), len(noise))
    return cloud + 0.01 * np.std(cloud) * noise  # no recording is without a little hiss


def struck(sound, rate_hz, hits_a_s):
    """With so many clicks a second, 6 dB louder than it."""
    generator = np.random.default_rng(1913)
    length = round(0.06 * rate_hz)
    click = generator.standard_normal(length) * np.exp(-np.arange(length) / (0.02 * rate_hz))
    click *= 2.0 * np.sqrt(np.mean(sound**2) / np.mean(click**2))
    louder = sound.copy()
    for second in np.arange(0.5, 19.0, 1.0 / hits_a_s):
        first = round(second * rate_hz)
        louder[first : first + length] += click
    return louder


def hits_a_s(sound, rate_hz):
    clip = Clip(samples=np.repeat(sound[:, None], 2, axis=1).astype(np.float32), rate_hz=rate_hz)
    return room_curves(clip).onsets.onsets_a_s(1.0, 18.0, 0.0)


@pytest.mark.parametrize("rate_hz", [12_000, 44_100])
@pytest.mark.parametrize("kind", ["noise", "cloud"])
def test_what_nobody_would_hear_as_a_hit_is_none_and_a_pulse_in_it_is(kind, rate_hz):
    sound = steady(kind, rate_hz)
    assert hits_a_s(sound, rate_hz) < 1.0
    for planted in (2.0, 4.0, 8.0):
        heard = hits_a_s(struck(sound, rate_hz, planted), rate_hz)
        assert heard == pytest.approx(planted, abs=1.0)
