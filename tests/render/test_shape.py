"""Shaping: neutral is untouched, pan keeps the power, echoes keep the beat, nothing zips."""

from dataclasses import replace

import numpy as np
import pytest

from segue.plan.layer import Shaping
from segue.render.layer_sound import LayerSound, ruler_of
from segue.render.shape import REPEAT_DB, balance, echoes, shaped
from tests.render.conftest import curve
from tests.render.measure import db, rms_db, spectrum_of

RATE_HZ = 48_000
ZIPPER_DB = -70.0


def layer(**changes):
    return Shaping(name="any", **changes)


def tone(n_frames, hertz=1_000.0, rate_hz=RATE_HZ):
    phase = 2 * np.pi * hertz * np.arange(n_frames) / rate_hz
    return np.stack((np.sin(phase), np.sin(phase)), axis=1).astype(np.float32) * np.float32(0.5)


def test_a_part_of_the_ruler_has_the_beats_of_the_whole_there(plan):
    ruler = ruler_of(plan, RATE_HZ)
    assert len(ruler.beats) == ruler.n_frames
    part = ruler.part(12_345, 98_765).part(1_000, 500_000)  # the end of a part is the end
    assert np.array_equal(part.beats, ruler.beats[13_345:98_765])
    assert ruler.part(ruler.n_frames + 5, ruler.n_frames + 9).n_frames == 0
    seconds = (np.arange(0, ruler.n_frames, 4_801) / RATE_HZ).tolist()
    assert ruler.beats[::4_801] == pytest.approx(plan.beats_at(seconds), abs=1e-4)


def test_neutral_shaping_changes_no_sample(plan):
    noise = np.random.default_rng(1).standard_normal((RATE_HZ, 2)).astype(np.float32)
    made = LayerSound(samples=noise, first_frame=5_000)
    out = shaped(made, layer(), plan, ruler_of(plan, RATE_HZ))
    assert out.first_frame == 5_000
    assert np.array_equal(out.samples, noise)


def test_pan_keeps_the_power_and_the_middle():
    factors = balance(np.linspace(-1, 1, 101))
    assert np.square(factors).sum(axis=1) == pytest.approx(2.0)
    assert factors[50] == pytest.approx([1.0, 1.0])
    assert factors[0] == pytest.approx([np.sqrt(2), 0.0], abs=1e-12)


def test_pan_follows_its_curve(plan):
    ruler = ruler_of(plan, RATE_HZ)
    sound = tone(ruler.n_frames)
    panned = shaped(LayerSound(samples=sound), layer(pan=curve((0, -1), (20, 1))), plan, ruler)
    start, end = panned.samples[2_000:6_000], panned.samples[-6_000:-2_000]
    assert rms_db(start[:, 0]) > rms_db(start[:, 1]) + 25
    assert rms_db(end[:, 1]) > rms_db(end[:, 0]) + 25


@pytest.mark.parametrize("rate_hz", [22_050, 48_000, 96_000])
def test_every_repeat_falls_on_its_beat_even_on_a_ramp(plan, rate_hz):
    """A click at each eighth of the ramp (beats 4 to 12); repeats three quarters of a beat on."""
    n_frames = ruler_of(plan, rate_hz).n_frames
    for beat in (1.0, 4.5, 6.0, 7.5):
        send = np.zeros((n_frames, 2), dtype=np.float32)
        at = round(plan.seconds_at(beat) * rate_hz)
        send[at : at + rate_hz // 2_000] = 1.0
        back = np.abs(echoes(send, plan, rate_hz, 0, 0.75)).max(axis=1)
        assert back[: at + rate_hz // 10].max() < 1e-6
        for repeat in range(1, 6):
            wanted = plan.seconds_at(beat + 0.75 * repeat) * rate_hz
            low = round(wanted) - rate_hz // 50
            window = back[low : low + rate_hz // 25]
            found = low + int(np.flatnonzero(window > 0.2 * window.max())[0])
            assert abs(found - wanted) / rate_hz < 0.001


def test_repeats_sink_and_darken(plan):
    """4.5 dB a repeat where the colour hardly changes, more at the top."""
    noise = np.random.default_rng(2).standard_normal((RATE_HZ // 10, 2)).astype(np.float32)
    ruler = ruler_of(plan, RATE_HZ)
    send = np.zeros((ruler.n_frames, 2), dtype=np.float32)
    send[: len(noise)] = noise
    back = echoes(send, plan, RATE_HZ, 0, 1.0)
    levels = {}
    for repeat in (1, 2, 3):
        low = round((plan.seconds_at(float(repeat)) - plan.seconds_at(0.0)) * RATE_HZ)
        hertz, spectrum = spectrum_of(back[low : low + len(noise)], RATE_HZ)
        for name, (least, most) in {"mid": (300, 900), "high": (6_000, 12_000)}.items():
            band = (hertz > least) & (hertz < most)
            levels[name, repeat] = 10 * np.log10(np.mean(spectrum[band] ** 2))
    assert levels["mid", 2] - levels["mid", 1] == pytest.approx(REPEAT_DB, abs=0.3)
    assert levels["high", 2] - levels["high", 1] < REPEAT_DB - 3
    assert levels["high", 3] - levels["high", 2] < REPEAT_DB - 3


def test_an_echo_joins_its_pieces_without_a_step(plan):
    """A steady tone over the ramp: no step of the repeats beyond those of the tone itself."""
    ruler = ruler_of(plan, RATE_HZ)
    at = [round(plan.seconds_at(beat) * RATE_HZ) for beat in (4.0, 12.0)]
    back = echoes(tone(ruler.n_frames, 440.0), plan, RATE_HZ, 0, 0.75).astype(np.float64)
    bends = np.abs(np.diff(back[at[0] : at[1], 0], 2))
    steady = np.abs(np.diff(back[RATE_HZ : at[0], 0], 2))
    assert bends.max() < 3 * steady.max()


def test_sends_ring_on_after_the_layer(plan):
    ruler = ruler_of(plan, RATE_HZ)
    made = LayerSound(samples=tone(RATE_HZ), first_frame=RATE_HZ)
    for sent in (layer(echo_db=curve((0, -6))), layer(reverb_db=curve((0, -6)))):
        out = shaped(made, sent, plan, ruler)
        assert np.abs(out.samples[RATE_HZ + 5_000 :]).max() > 0.01
        is_whole = len(out.samples) == ruler.n_frames - RATE_HZ
        assert is_whole or np.abs(out.samples[-RATE_HZ // 10 :]).max() < 1e-6
    none = shaped(made, layer(echo_db=curve((0, -60))), plan, ruler)
    assert len(none.samples) == RATE_HZ


def swept(n_frames, rate_hz, start_hz=800.0, octaves=2.5):
    time_s = np.arange(n_frames) / rate_hz
    rate = octaves * np.log(2) / time_s[-1]
    phase = 2 * np.pi * start_hz * (np.exp(rate * time_s) - 1) / rate
    sine = (0.5 * np.cos(phase)).astype(np.float32)
    return np.stack((sine, sine), axis=1), np.exp(-1j * phase)


def sidebands_db(sound, against, rate_hz):
    """Strongest modulation between 60 and 700 Hz against the carrier, of a swept sine."""
    envelope = sound[:, 0] * against
    spectrum = np.abs(np.fft.fft(envelope * np.blackman(len(envelope))))
    hertz = np.abs(np.fft.fftfreq(len(envelope), 1 / rate_hz))
    return float(db(spectrum[(hertz > 60) & (hertz < 700)].max() / spectrum[hertz < 20].max()))


@pytest.mark.parametrize(
    "changes",
    [
        pytest.param({"lowpass_hz": curve((0, 300.0), (10, 12_000.0), (20, 500.0))}, id="low-pass"),
        pytest.param({"highpass_hz": curve((0, 4_000.0), (20, 40.0))}, id="high-pass"),
        pytest.param({"gain_db": curve((0, -40.0), (12, 0.0), (20, -30.0))}, id="gain"),
        pytest.param({"pan": curve((0, -1.0), (10, 1.0), (20, -1.0))}, id="pan"),
    ],
)
def test_moving_curves_do_not_zip_on_a_swept_sine(plan, changes):
    """Modulation sidebands at least 70 dB below the signal."""
    ruler = ruler_of(plan, RATE_HZ)
    sine, against = swept(ruler.n_frames, RATE_HZ)
    out = shaped(LayerSound(samples=sine), layer(**changes), plan, ruler)
    assert sidebands_db(out.samples, against, RATE_HZ) < ZIPPER_DB


@pytest.mark.parametrize("send", ["reverb_db", "echo_db"])
def test_a_moving_send_does_not_zip(plan, send):
    """A tone through an effect that only adds delayed copies stays a tone: nothing beside it."""
    steady = replace(plan, tempo=replace(plan.tempo, spans=plan.tempo.spans[:1]))
    ruler = ruler_of(steady, RATE_HZ)
    sound = tone(ruler.n_frames)
    sent = layer(**{send: curve((0, -50.0), (8, 0.0), (20, -20.0))})
    out = shaped(LayerSound(samples=sound), sent, steady, ruler).samples - sound
    hertz, spectrum = spectrum_of(out[RATE_HZ : 8 * RATE_HZ], RATE_HZ)
    beside = spectrum[np.abs(hertz - 1_000.0) > 30].max()
    assert db(beside / spectrum.max()) < ZIPPER_DB
