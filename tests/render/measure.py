"""Measures that several render tests share."""

from dataclasses import replace

import numpy as np

from segue.render.layer_sound import Ruler, ruler_of


def db(ratio):
    return 20 * np.log10(np.maximum(ratio, 1e-12))


def rms_db(sound):
    return float(10 * np.log10(np.mean(np.square(sound, dtype=np.float64)) + 1e-20))


def spectrum_of(sound, rate_hz):
    """Frequencies and amplitude spectrum under a Blackman-Harris window: side lobes at -92 dB."""
    from scipy.signal.windows import blackmanharris

    mono = np.asarray(sound, dtype=np.float64)
    mono = mono if mono.ndim == 1 else mono[:, 0]
    size = 1 << int(np.ceil(np.log2(4 * len(mono))))
    spectrum = np.abs(np.fft.rfft(mono * blackmanharris(len(mono)), size))
    return np.fft.rfftfreq(size, 1 / rate_hz), spectrum


def pitch_hz(sound, rate_hz, near_hz):
    """The strongest tone within a semitone of a frequency, between bins."""
    hertz, spectrum = spectrum_of(sound, rate_hz)
    near = np.flatnonzero(np.abs(12 * np.log2(np.maximum(hertz, 1.0) / near_hz)) < 1)
    top = near[np.argmax(spectrum[near])]
    below, at, above = np.log(spectrum[top - 1 : top + 2])
    place = top + 0.5 * (below - above) / (below - 2 * at + above)
    return float(place * hertz[1])


def attack_frames(sound, near_frames, rate_hz, reach_s=0.02):
    """Where the level first passes a tenth of the peak near each frame."""
    found = []
    reach = round(reach_s * rate_hz)
    for near in near_frames:
        low = max(near - reach, 0)
        level = np.abs(sound[low : near + reach]).max(axis=1)
        found.append(low + int(np.flatnonzero(level > 0.1 * level.max())[0]))
    return np.array(found)


def at_rate(plan, rate_hz) -> Ruler:
    return ruler_of(plan, rate_hz)


def only(plan, layer, **changes):
    return replace(plan, layers=(layer,), **changes)
