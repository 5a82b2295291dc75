"""Click and cue: on the beat, the accent higher, never above the ceiling."""

from dataclasses import replace

import numpy as np
import pytest

from segue.plan.plan import ClickHit, CueNote
from segue.render.guide_sounds import click_bus, cue_bus

RATE_HZ = 48_000
N_FRAMES = 12 * RATE_HZ


def pitch_hz(sound):
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), 1 << 17))
    return float(np.argmax(spectrum)) * RATE_HZ / (1 << 17)


def test_every_click_starts_on_its_beat(plan):
    bus = click_bus(plan, RATE_HZ, N_FRAMES)[:, 0]
    for hit in plan.click:
        at = round(plan.seconds_at(hit.beat) * RATE_HZ)
        assert not bus[at - 200 : at].any()
        assert np.abs(bus[at : at + 48]).max() > 0.05


def test_the_accent_is_higher_and_louder(plan):
    bus = click_bus(plan, RATE_HZ, N_FRAMES)[:, 0]
    bar, beat = (
        bus[round(plan.seconds_at(b) * RATE_HZ) :][: round(0.035 * RATE_HZ)] for b in (0, 1)
    )
    assert pitch_hz(bar) > 1.4 * pitch_hz(beat)
    assert np.abs(bar).max() > np.abs(beat).max()


def test_nothing_exceeds_the_ceiling(plan):
    """Also where someone plans a hundred notes at once: -12 dBFS, and not a hair above."""
    crowd = replace(
        plan,
        click=(ClickHit(beat=1.0, kind="bar"),) * 5,
        cue=tuple(CueNote(start_beat=1, end_beat=3, midi=60.0 + n) for n in range(100)),
    )
    for bus in (click_bus(crowd, RATE_HZ, N_FRAMES), cue_bus(crowd, RATE_HZ, N_FRAMES)):
        assert float(np.abs(bus).max()) <= 10 ** (-12 / 20)


def test_clicks_are_band_limited(plan):
    """Hardly anything above 6 kHz, so that they neither alias nor hiss."""
    bus = click_bus(plan, RATE_HZ, N_FRAMES)[:, 0]
    power = np.abs(np.fft.rfft(bus)) ** 2
    hertz = np.fft.rfftfreq(N_FRAMES, 1 / RATE_HZ)
    assert 10 * np.log10(power[hertz > 6_000].sum() / power.sum()) < -60


def test_the_cue_plays_the_note_in_the_incoming_tuning(plan):
    """MIDI 67 is 391.995 Hz at A4 = 440 Hz (equal temperament)."""
    for cents in (0.0, 30.0):
        bus = cue_bus(replace(plan, key_to_tuning_cents=cents), RATE_HZ, N_FRAMES)[:, 0]
        first, last = (round(plan.seconds_at(b) * RATE_HZ) for b in (8, 10))
        assert not bus[:first].any()
        assert not bus[last + 1 :].any()
        heard = 1200 * np.log2(pitch_hz(bus[first:last]) / 391.995)
        assert heard == pytest.approx(cents, abs=2.0)


def test_a_click_is_short_and_begins_at_once(plan):
    """Within 2 ms it is there, in 35 ms it is gone: long enough for a pitch, too short to ring."""
    bus = np.abs(click_bus(plan, RATE_HZ, N_FRAMES)[:, 0])
    at = round(plan.seconds_at(plan.click[0].beat) * RATE_HZ)
    peak = bus[at : at + 4_800].max()
    assert bus[at : at + 96].max() > 0.5 * peak
    assert not bus[at + round(0.035 * RATE_HZ) : at + 4_800].any()
    assert bus[at + round(0.020 * RATE_HZ) : at + 4_800].max() < 0.3 * peak


def test_the_cue_is_soft_of_three_partials_and_does_not_click(plan):
    bus = cue_bus(plan, RATE_HZ, N_FRAMES)[:, 0]
    first, last = (round(plan.seconds_at(b) * RATE_HZ) for b in (8, 10))
    tone = bus[first:last]
    assert np.abs(tone).max() == pytest.approx(10 ** (-18 / 20), rel=0.25)
    assert np.abs(tone[:48]).max() < 0.01 * np.abs(tone).max()
    assert np.abs(tone[-48:]).max() < 0.01 * np.abs(tone).max()
    middle = tone[len(tone) // 4 : -len(tone) // 4]
    spectrum = np.abs(np.fft.rfft(middle * np.hanning(len(middle)), 1 << 18))
    bin_hz = RATE_HZ / (1 << 18)
    levels = [
        spectrum[round((n * 391.995 - 10) / bin_hz) : round((n * 391.995 + 10) / bin_hz)].max()
        for n in (1, 2, 3, 4)
    ]
    assert levels[0] > 2 * levels[1] > 4 * levels[2] > 100 * levels[3]
