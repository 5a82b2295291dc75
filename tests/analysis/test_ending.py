"""Endings of a synthetic band whose last hit and decay are known exactly."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from segue.analysis.ending import hear_ending
from segue.analysis.facts import PulseFact
from segue.audio.clip import Clip, SongEdge, Stem

RATE_HZ = 48_000
BEAT_S = 0.55
N_BEATS = 24
BAND_END_S = N_BEATS * BEAT_S
HIT_TOLERANCE_S = 0.005  # a quarter of what is heard between two drums, about 20 ms, from memory
SOUND_END_TOLERANCE_S = 0.06  # a few hops of the level curve
DECAY_S = 0.5  # time constant of the last chord: 60 dB in 3.45 s


def struck(rng, length_s, decay_s, hz=()):
    """Partials (or noise, where none are given) under an exponential decay."""
    time_s = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    tone = sum(np.sin(2 * np.pi * f * time_s + rng.uniform(0, 6)) for f in hz)
    return (tone if len(hz) else rng.standard_normal(len(time_s))) * np.exp(-time_s / decay_s)


def put(sound, what, time_s, gain):
    at = round(time_s * RATE_HZ)
    piece = what[: max(len(sound) - at, 0)]
    sound[at : at + len(piece)] += gain * piece


def band(tail_s=0.0):
    """Kick, snare, hat and a chord a bar, up to the bar line at `BAND_END_S`."""
    rng = np.random.default_rng(1)
    sound = np.zeros(round((BAND_END_S + tail_s) * RATE_HZ))
    for beat in range(N_BEATS):
        drum = struck(rng, 0.3, 0.06, (55,)) if beat % 2 == 0 else struck(rng, 0.3, 0.05)
        put(sound, drum, beat * BEAT_S, 0.5 if beat % 2 == 0 else 0.15)
        put(sound, struck(rng, 0.1, 0.02), (beat + 0.5) * BEAT_S, 0.05)
        if beat % 4 == 0:
            put(sound, chord(rng, 4 * BEAT_S, 1.2), beat * BEAT_S, 0.06)
    return sound, rng


def chord(rng, length_s, decay_s):
    return struck(rng, length_s, decay_s, [131 * k * r for r in (1, 1.26, 1.5) for k in (1, 2, 3)])


def edge_of(sound, start_s=100.0):
    samples = np.stack([sound, sound], axis=1).astype(np.float32)
    clip = Clip(samples=samples, rate_hz=RATE_HZ, start_s=start_s)
    stem = Stem(role="mix", file="song.wav", clip=clip)
    return SongEdge(
        path=Path("song.wav"), title="song", edge="end", stems=(stem,), duration_s=clip.end_s
    )


def pulse_at(start_s=100.0):
    beats_s = tuple(start_s + beat * BEAT_S for beat in range(N_BEATS))
    return PulseFact(
        tempo_bpm=60 / BEAT_S,
        tempo_alternatives_bpm=(),
        beats_s=beats_s,
        downbeats_s=beats_s[::4],
        metre=4,
        confidence=0.9,
        downbeat_confidence=0.9,
        residual_ms=1.0,
    )


def loop():
    return band()[0], (N_BEATS - 0.5) * BEAT_S


def cold_stop():
    sound, rng = band(tail_s=2.0)
    put(sound, struck(rng, 0.3, 0.06, (55,)), BAND_END_S, 0.5)
    put(sound, chord(rng, 0.2, 1.2), BAND_END_S, 0.08)
    return sound, BAND_END_S


def cold_stop_in_a_hall():
    """A reverb of 1.5 s, 12 dB below the band: noise under a decay of 60 dB in 1.5 s."""
    sound, last_hit_s = cold_stop()
    put(sound, struck(np.random.default_rng(2), 1.8, 1.5 / np.log(1000)), last_hit_s + 0.2, 0.01)
    return sound, last_hit_s


def ring_out():
    sound, rng = band(tail_s=5.0)
    put(sound, chord(rng, 5.0, DECAY_S), BAND_END_S, 0.1)
    return sound, BAND_END_S


def ring_out_cut():
    sound, last_hit_s = ring_out()
    return sound[: round((last_hit_s + 1.2) * RATE_HZ)], last_hit_s


def fade_in_db():
    sound, last_hit_s = loop()
    n_fade = round(7.0 * RATE_HZ)
    sound[-n_fade:] *= 10 ** (np.linspace(0, -50, n_fade) / 20)
    return sound, last_hit_s


def fade_in_amplitude():
    sound, last_hit_s = loop()
    n_fade = round(6.0 * RATE_HZ)
    sound[-n_fade:] *= np.linspace(1, 0, n_fade)
    return sound, last_hit_s


def quieter_outro():
    """The band's last two bars 14 dB down and without drums, then its last chord."""
    sound, rng = band(tail_s=4 * 4 * BEAT_S + 5.0)
    for bar in range(4):
        put(sound, chord(rng, 4 * BEAT_S, 1.2), BAND_END_S + 4 * bar * BEAT_S, 0.02)
    last_s = BAND_END_S + 16 * BEAT_S
    put(sound, chord(rng, 5.0, DECAY_S), last_s, 0.03)
    return sound, last_s


def long_ring():
    """A last chord that takes eight seconds to fall 30 dB, treble first."""
    sound, rng = band(tail_s=12.0)
    for hertz, decay_s in ((131, 2.6), (330, 2.0), (660, 1.3), (1320, 0.8), (2640, 0.5)):
        put(sound, struck(rng, 12.0, decay_s, (hertz, hertz * 1.26)), BAND_END_S, 0.1)
    return sound, BAND_END_S


def soft_swells_after_the_band():
    """Strings that swell three times, 25 dB below the band, without an attack."""
    sound, _ = band(tail_s=16.0)
    time_s = np.arange(round(15.0 * RATE_HZ)) / RATE_HZ
    swell = np.sin(np.pi * time_s / 5.0) ** 2 + 0.05
    tone = sum(np.sin(2 * np.pi * hertz * time_s) for hertz in (220, 277, 330, 440))
    put(sound, tone * swell, BAND_END_S, 0.006)
    return sound, BAND_END_S + 10.0


def as_is(sound):
    return sound


def with_silence(sound):
    return np.concatenate([sound, np.zeros(2 * RATE_HZ)])


def with_room_noise(sound):
    noise = np.random.default_rng(3).standard_normal(len(sound) + 2 * RATE_HZ)
    return with_silence(sound) + 2e-4 * noise


def with_16_bit_dither(sound):
    """Triangular dither of one step, as common practice has it."""
    rng = np.random.default_rng(4)
    whole = with_silence(sound)
    return whole + (rng.random(len(whole)) - rng.random(len(whole))) / 2**15


@pytest.mark.parametrize("after", [as_is, with_silence, with_room_noise, with_16_bit_dither])
@pytest.mark.parametrize(
    ("make", "kind"),
    [
        pytest.param(cold_stop, "cold stop", id="cold stop"),
        pytest.param(cold_stop_in_a_hall, "cold stop", id="cold stop in a hall"),
        pytest.param(ring_out, "ring-out", id="ring-out"),
        pytest.param(fade_in_db, "fade", id="fade, straight in decibels"),
        pytest.param(fade_in_amplitude, "fade", id="fade, straight in amplitude"),
    ],
)
def test_ending_is_of_its_kind_whatever_follows(make, kind, after):
    sound, _ = make()
    heard = hear_ending(edge_of(after(sound)), pulse_at())
    assert heard.kind == kind
    assert heard.confidence > 0.5
    assert (heard.fade_start_s is not None) == (kind == "fade")


@pytest.mark.parametrize(
    ("make", "kind"),
    [
        pytest.param(loop, "keeps going", id="loop cut at its bar line"),
        pytest.param(ring_out_cut, "ring-out", id="ring-out cut by the file's end"),
    ],
)
def test_ending_at_the_end_of_the_file(make, kind):
    sound, _ = make()
    heard = hear_ending(edge_of(sound), pulse_at())
    assert heard.kind == kind
    assert heard.sound_end_s == pytest.approx(100.0 + len(sound) / RATE_HZ, abs=1e-6)


@pytest.mark.parametrize("make", [loop, cold_stop, cold_stop_in_a_hall, ring_out, ring_out_cut])
def test_ending_last_hit_is_the_attack(make):
    sound, last_hit_s = make()
    heard = hear_ending(edge_of(sound), pulse_at())
    assert heard.last_hit_s == pytest.approx(100.0 + last_hit_s, abs=HIT_TOLERANCE_S)


def test_ending_sound_ends_60_db_below_the_body():
    # a steady tone, then an exponential decay: 60 dB take ln(1000) time constants
    time_s = np.arange(14 * RATE_HZ) / RATE_HZ
    sound = 0.5 * np.sin(2 * np.pi * 220 * time_s) * np.exp(-np.maximum(time_s - 8.0, 0) / DECAY_S)
    heard = hear_ending(edge_of(sound), pulse_at())
    decay_s = np.log(1000) * DECAY_S
    assert heard.sound_end_s == pytest.approx(108.0 + decay_s, abs=SOUND_END_TOLERANCE_S)


def test_ending_fade_starts_where_it_has_taken_3_db():
    sound, _ = fade_in_db()
    heard = hear_ending(edge_of(sound), pulse_at())
    assert heard.fade_start_s == pytest.approx(
        100.0 + BAND_END_S - 7.0 * 47 / 50, abs=2 * BEAT_S
    )  # its level is a mean over two beats


def test_ending_organ_chord_change_without_attack_is_the_last_hit():
    time_s = np.arange(8 * RATE_HZ) / RATE_HZ
    blend = 1 / (1 + np.exp(-(time_s - 5.0) / 0.015))
    first, second = (
        sum(np.sin(2 * np.pi * f * k * time_s) / k for f in chord for k in range(1, 6))
        for chord in ((262, 330, 392), (294, 349, 440))
    )
    sound = 0.05 * ((1 - blend) * first + blend * second)
    heard = hear_ending(edge_of(sound), pulse_at())
    assert heard.last_hit_s == pytest.approx(105.0, abs=0.08)


def test_a_quieter_last_part_is_no_fade_and_is_played():
    sound, last_hit_s = quieter_outro()
    heard = hear_ending(edge_of(sound), pulse_at())
    assert heard.kind == "ring-out"
    assert heard.last_hit_s == pytest.approx(100.0 + last_hit_s, abs=HIT_TOLERANCE_S)
    assert heard.outro_start_s == pytest.approx(100.0 + BAND_END_S, abs=2.0)  # a mean over 3 s
    assert heard.outro_db < -6.0


def test_a_long_ring_that_loses_its_treble_is_no_fade():
    sound, last_hit_s = long_ring()
    heard = hear_ending(edge_of(sound), pulse_at())
    assert heard.kind == "ring-out"
    assert heard.last_hit_s == pytest.approx(100.0 + last_hit_s, abs=HIT_TOLERANCE_S)
    assert heard.outro_start_s is None


def hall(*bumps_db):
    """A last hit in a hall of 12 s whose noise, now and then, is louder for a twentieth."""
    sound, rng = band(tail_s=13.0)
    put(sound, struck(rng, 0.3, 0.06, (55,)), BAND_END_S, 0.5)
    put(sound, chord(rng, 4.0, 1.2), BAND_END_S, 0.06)
    put(sound, struck(rng, 13.0, 12.0 / np.log(1000.0)), BAND_END_S, 0.12)
    for number, bump_db in enumerate(bumps_db):
        at, n = round((BAND_END_S + 4.0 + 0.9 * number) * RATE_HZ), round(0.06 * RATE_HZ)
        sound[at : at + n] *= 1 + (10 ** (bump_db / 20) - 1) * np.hanning(n) ** 0.2
    return sound, rng


def test_ripples_of_a_hall_are_no_hits():
    heard = hear_ending(edge_of(hall(5.0, 5.0)[0]), pulse_at())
    assert heard.last_hit_s == pytest.approx(100.0 + BAND_END_S, abs=HIT_TOLERANCE_S)


@pytest.mark.parametrize("gain", [0.02, 0.06])
def test_a_soft_chord_in_a_hall_is_a_hit(gain):
    sound, rng = hall(5.0)
    put(sound, chord(rng, 4.0, 1.2), BAND_END_S + 4.5, gain)
    heard = hear_ending(edge_of(sound), pulse_at())
    assert heard.last_hit_s == pytest.approx(100.0 + BAND_END_S + 4.5, abs=0.01)


@pytest.mark.parametrize(
    ("gain", "is_played"), [(0.003, False), (0.008, True)], ids=["a click", "a soft hit"]
)
@pytest.mark.parametrize("rest_s", [0.2, 1.0], ids=["to the end of the file", "silence follows"])
def test_a_click_in_what_is_left_of_a_ring_is_no_hit(gain, is_played, rest_s):
    at_s = (
        BAND_END_S + 2.6
    )  # the chord is 37 dB below the band; the click lifts it by 3, the hit by 10
    sound, last_hit_s = ring_out()
    put(sound, struck(np.random.default_rng(5), 0.4, 0.1), at_s, gain)
    n_sounds = round((BAND_END_S + 3.4) * RATE_HZ)
    sound = np.concatenate([sound[:n_sounds], np.zeros(round(rest_s * RATE_HZ))])
    heard = hear_ending(edge_of(sound), pulse_at())
    expected_s = at_s if is_played else last_hit_s
    assert heard.last_hit_s == pytest.approx(100.0 + expected_s, abs=HIT_TOLERANCE_S)


def test_what_swells_again_is_played_however_soft():
    sound, last_swell_s = soft_swells_after_the_band()
    heard = hear_ending(edge_of(sound), pulse_at())
    assert heard.kind != "fade"
    assert heard.last_hit_s > 100.0 + last_swell_s - 1.0


@pytest.mark.parametrize("make", [cold_stop, ring_out, ring_out_cut])
def test_the_last_chord_starts_at_or_before_the_last_hit_and_rings_out_after_it(make):
    sound, _ = make()
    heard = hear_ending(edge_of(sound), pulse_at())
    assert heard.last_chord_s <= heard.last_hit_s <= heard.rung_out_s <= heard.sound_end_s
    assert heard.last_bar_line_s <= heard.last_hit_s + 0.07


def test_a_ring_has_fallen_20_db_where_it_has_rung_out():
    sound, last_hit_s = ring_out()
    heard = hear_ending(edge_of(sound), pulse_at())
    # 20 dB take ln(10) time constants of an exponential decay
    fallen_s = 100.0 + last_hit_s + np.log(10) * DECAY_S
    assert heard.rung_out_s == pytest.approx(fallen_s, abs=0.15)


@settings(max_examples=8)
@given(
    length_s=st.floats(5.0, 9.0), law=st.sampled_from(["decibels", "amplitude", "square", "cosine"])
)
def test_a_fader_of_any_law_is_a_fade(length_s, law):
    sound, _ = loop()
    n_fade = round(length_s * RATE_HZ)
    way = np.linspace(0, 1, n_fade)
    sound[-n_fade:] *= {
        "decibels": 10 ** (-50 * way / 20),
        "amplitude": 1 - way,
        "square": (1 - way) ** 2,
        "cosine": 0.5 + 0.5 * np.cos(np.pi * way),
    }[law]
    assert hear_ending(edge_of(sound), pulse_at()).kind == "fade"


def test_ending_of_silence_is_heard_without_confidence():
    heard = hear_ending(edge_of(np.zeros(RATE_HZ)), pulse_at())
    assert heard.confidence == 0.0
    assert heard.last_hit_s == heard.sound_end_s == 100.0


MAKERS = {f.__name__: f() for f in (loop, cold_stop, ring_out, fade_in_db)}


@cache
def heard_plain(name):
    return hear_ending(edge_of(MAKERS[name][0]), pulse_at())


@settings(max_examples=12)
@given(name=st.sampled_from(sorted(MAKERS)), gain_db=st.floats(-30, 6))
def test_ending_gain_changes_nothing(name, gain_db):
    sound, _ = MAKERS[name]
    heard = heard_plain(name)
    louder = hear_ending(edge_of(sound * 10 ** (gain_db / 20)), pulse_at())
    assert louder.kind == heard.kind
    assert louder.last_hit_s == pytest.approx(heard.last_hit_s, abs=0.0011)  # one fine step
    assert louder.sound_end_s == pytest.approx(heard.sound_end_s, abs=0.011)  # one hop


@settings(max_examples=12)
@given(name=st.sampled_from(sorted(MAKERS)), start_s=st.floats(0, 3600))
def test_ending_moves_with_its_edge(name, start_s):
    sound, _ = MAKERS[name]
    here = heard_plain(name)
    there = hear_ending(edge_of(sound, start_s), pulse_at(start_s))
    assert there.kind == here.kind
    assert there.last_hit_s - start_s == pytest.approx(here.last_hit_s - 100.0, abs=1e-6)
    assert there.sound_end_s - start_s == pytest.approx(here.sound_end_s - 100.0, abs=1e-6)
