"""How bright and how deep the bridge is: as the songs, and a bed leaves room for a voice."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.loudness import filtered, first_order_lowpass
from segue.plan.shaping import value_at
from segue.render.bridge_level import AROUND_S

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from segue.arrays import Floats, Floats32
    from segue.plan.plan import Plan
    from segue.render.ride import Fader

AIR_HZ: Final = (1_000.0, 6_000.0)  # what is compared with the songs
SHELF_HZ: Final = 1_000.0  # from here up it is made brighter or darker
SHELF_DB: Final = (-8.0, 12.0)
"""How far what is synthesised is made brighter or darker to sit with the songs."""
_LEAST_S: Final = 0.5  # of sound, to tell its colour by
_WINDOW_FRAMES: Final = 2048  # of a spectrum of its colour; by judgement
_WINDOWS_AT_ONCE: Final = 64  # to hold little memory; changes no value but by rounding


class Spectra:
    """Mean power by frequency of what is on each fader; each stretch of it is looked at once.

    Parameters
    ----------
    buses : mapping of Fader to ndarray, shape (n_frames, 2), float32
        Not changed while they are here, but by `exchange`.
    """

    def __init__(self, buses: Mapping[Fader, Floats32], rate_hz: int) -> None:
        self.buses, self.rate_hz = dict(buses), rate_hz
        self._known: dict[tuple[Fader, float, float], Floats] = {}

    @property
    def made(self) -> tuple[Fader, ...]:
        """The faders of what is made for the bridge."""
        return tuple(name for name in self.buses if name != "songs")

    def exchange(self, fader: Fader, bus: Floats32 | None) -> None:
        """Put another sound on a fader; None takes it away."""
        self._known = {key: power for key, power in self._known.items() if key[0] != fader}
        self.buses.pop(fader, None)
        if bus is not None:
            self.buses[fader] = bus

    def of(self, fader: Fader, low_s: float, high_s: float) -> Floats:
        """Between two times, shape (n_bins,); nothing of what is too short."""
        key = (fader, low_s, high_s)
        if key not in self._known:
            self._known[key] = _spectrum(self.buses[fader], low_s, high_s, self.rate_hz)
        return self._known[key]

    def band_and_rest(
        self, fader: Fader, span_s: tuple[float, float], band_hz: tuple[float, float]
    ) -> tuple[float, float]:
        """Power of a band and of everything else between two times."""
        power = self.of(fader, *span_s)
        hertz = np.fft.rfftfreq(_WINDOW_FRAMES, 1.0 / self.rate_hz)
        is_in = (hertz >= band_hz[0]) & (hertz < band_hz[1])
        return float(power[is_in].sum()), float(power[~is_in].sum())

    def beside(self, plan: Plan, band_hz: tuple[float, float]) -> list[tuple[float, float]]:
        """Band and rest of the old song's last moments and of the new one's first."""
        exit_s, entry_s = plan.seconds_at(plan.exit_beat), plan.seconds_at(plan.entry_beat)
        spans_s = ((exit_s - AROUND_S, exit_s), (entry_s, entry_s + AROUND_S))
        return [self.band_and_rest("songs", span_s, band_hz) for span_s in spans_s]

    def of_bridge(
        self, plan: Plan, band_hz: tuple[float, float]
    ) -> dict[Fader, tuple[float, float]]:
        """Band and rest of all that is made for the bridge, by fader."""
        span_s = plan.seconds_at(plan.exit_beat), plan.seconds_at(plan.entry_beat)
        return {name: self.band_and_rest(name, span_s, band_hz) for name in self.made}


def bridge_shelf_db(spectra: Spectra, plan: Plan) -> float:
    """Decibels of a shelf on what is synthesised that give the bridge the air of the songs.

    Air is the share of 1 to 6 kHz in the power; the songs' is the mean of both, next to the
    bridge, in decibels.

    0 where there is nothing to compare.
    """
    if not plan.bridge_lu or not {"synth", "songs"} <= set(spectra.buses):
        return 0.0
    songs = spectra.beside(plan, AIR_HZ)
    shares = [np.log10(air / (air + rest)) for air, rest in songs if min(air, rest) > _TINY]
    bridge = spectra.of_bridge(plan, AIR_HZ)
    air, rest = bridge.pop("synth")
    if not shares or min(air, rest) <= _TINY:
        return 0.0
    share = min(float(10 ** np.mean(shares)), 0.9)
    other_air = sum(air for air, _ in bridge.values())
    other_rest = sum(rest for _, rest in bridge.values())
    wanted = share * (rest + other_rest) / (1 - share) - other_air
    shelf_db = 10 * np.log10(max(wanted, _TINY) / air)
    return float(np.clip(shelf_db, *SHELF_DB))


DEEP_HZ: Final = 120.0  # below lie the fundamentals of a bass and kicks
DEEPER_DB: Final = 2.0
"""So much more of its power than the song with more of it a bridge may have there: next to it a
bass with nothing above it booms. Set by judgement."""
MOST_DEEP_CUT_DB: Final = 15.0  # a bass is cut by no more; by judgement


def deep_cut_db(spectra: Spectra, plan: Plan) -> float:
    """How far what is synthesised is to be softer in the bass, so that the bridge does not boom.

    Held against the songs is the power below 120 Hz over all other, next to the bridge.

    Returns
    -------
    float
        0 where it has no more of it than the songs, or there is nothing to compare.
    """
    if not plan.bridge_lu or not {"synth", "songs"} <= set(spectra.buses):
        return 0.0
    deep_hz = (20.0, DEEP_HZ)  # from where anything is heard
    songs = spectra.beside(plan, deep_hz)
    odds = [deep / rest for deep, rest in songs if min(deep, rest) > _TINY]
    parts = spectra.of_bridge(plan, deep_hz)
    deep = parts["synth"][0]
    if not odds or deep <= _TINY:
        return 0.0
    most = 10 ** (DEEPER_DB / 10) * max(odds) * sum(rest for _, rest in parts.values())
    left = most - sum(part[0] for name, part in parts.items() if name != "synth")
    return float(np.clip(-10 * np.log10(max(left, _TINY) / deep), 0.0, MOST_DEEP_CUT_DB))


def without_boom(samples: Floats32, cut_db: float, rate_hz: int) -> None:
    """Lowers what lies in the bass, by a first-order shelf; in place."""
    for block, low in _with_what_is_below(samples, DEEP_HZ, rate_hz):
        np.add(block, low * np.float32(10 ** (-cut_db / 20) - 1.0), out=block)


def shelved(samples: Floats32, gain_db: float, rate_hz: int) -> None:
    """Raises or lowers what lies above 1 kHz; in place.

    A first-order shelf: the difference between the sound and its low-passed self, at another gain.
    """
    for block, low in _with_what_is_below(samples, SHELF_HZ, rate_hz):
        high = (block - low) * np.float32(10 ** (gain_db / 20))
        np.add(high, low, out=block)


def _with_what_is_below(
    samples: Floats32, cutoff_hz: float, rate_hz: int
) -> Iterator[tuple[Floats32, Floats32]]:
    """Sound and what lies below a cutoff, some frames at a time, where there is any."""
    sections = first_order_lowpass(cutoff_hz, rate_hz)
    states = np.zeros((samples.shape[1], len(sections), 2))
    for begin in range(0, len(samples), _BLOCK_FRAMES):
        block = samples[begin : begin + _BLOCK_FRAMES]
        if block.any() or states.any():
            low = [filtered(sections, *channel) for channel in zip(block.T, states, strict=True)]
            yield block, np.stack(low, axis=1).astype(np.float32)


def _spectrum(samples: Floats32, low_s: float, high_s: float, rate_hz: int) -> Floats:
    """Mean power by frequency between two times, shape (n_bins,); nothing of what is too short."""
    part = samples[max(round(low_s * rate_hz), 0) : round(high_s * rate_hz)]
    if len(part) < _LEAST_S * rate_hz:
        return np.zeros(_WINDOW_FRAMES // 2 + 1)
    windows = np.lib.stride_tricks.sliding_window_view(part.mean(axis=1), _WINDOW_FRAMES)
    windows = windows[:: _WINDOW_FRAMES // 2]
    shape, power = np.hanning(_WINDOW_FRAMES + 1)[:-1], np.zeros(_WINDOW_FRAMES // 2 + 1)
    for first in range(0, len(windows), _WINDOWS_AT_ONCE):
        some = windows[first : first + _WINDOWS_AT_ONCE]
        spectra = np.fft.rfft((some - some.mean(axis=1, keepdims=True)) * shape, axis=1)
        power += (np.abs(spectra) ** 2).sum(axis=0)
    return power / len(windows)


VOICE_HZ: Final = (1_000.0, 4_000.0)  # where consonants are
ROOM_UNDER_DB: Final = 3.75
"""So much less of the power of a bed lies there than of the songs': 3 to 6 dB (common practice, no
source)."""
MOST_ROOM_DB: Final = 12.0  # a bed that is brighter than the songs is dipped by no more
ROOM_Q: Final = 0.5  # of the dip: at the ends of that band it is half as deep, in decibels
MIDDLE_RATIO: Final = 1.35  # its depth in the middle of the band to that in the mean
ROOM_LU: Final = (-10.0, -6.0)
"""A bridge under the first is a bed and has the whole dip; one above the second has none."""


def room_wanted_db(spectra: Spectra, plan: Plan) -> float:
    """How deep a bed is to be dipped for a voice: 0 where it is as dark as that, or none."""
    bed = [point.beat for point in plan.bridge_lu if point.value <= ROOM_LU[0]]
    if not bed or "songs" not in spectra.buses:
        return 0.0
    exit_s, entry_s = plan.seconds_at(plan.exit_beat), plan.seconds_at(plan.entry_beat)
    until_s = entry_s if len(bed) == len(plan.bridge_lu) else plan.seconds_at(bed[-1])
    songs = spectra.beside(plan, VOICE_HZ)
    shares = [10 * np.log10(v / (v + r)) for v, r in songs if min(v, r) > _TINY]
    if not shares or not spectra.made:
        return 0.0
    bed_power = np.sum([spectra.of(name, exit_s, until_s) for name in spectra.made], axis=0)
    if bed_power.sum() <= _TINY:
        return 0.0
    return _depth_for(10 ** ((np.mean(shares) - ROOM_UNDER_DB) / 10), bed_power, spectra.rate_hz)


def _depth_for(share: float, power: Floats, rate_hz: int) -> float:
    """How deep a spectrum is to be dipped so that no more than a share of it lies where a voice is.

    Tried out on the spectrum: what lies at the ends of the band is dipped less.
    """
    from scipy.signal import sosfreqz

    hertz = np.fft.rfftfreq(_WINDOW_FRAMES, 1.0 / rate_hz)
    peak = sosfreqz(_room_sections(rate_hz), worN=hertz, fs=rate_hz)[1]
    is_voice = (hertz >= VOICE_HZ[0]) & (hertz < VOICE_HZ[1])
    for depth_db in np.arange(0.0, MOST_ROOM_DB, _DEPTH_STEP_DB):
        left = power * np.abs(1.0 + (10 ** (-MIDDLE_RATIO * depth_db / 20) - 1.0) * peak) ** 2
        if left[is_voice].sum() <= share * left.sum():
            return float(depth_db)
    return MOST_ROOM_DB


def _room_sections(rate_hz: int) -> Floats:
    """The filter whose output is taken away from a bed."""
    from scipy.signal import iirpeak, tf2sos  # heavy, and few bridges are beds

    middle_hz = min(float(np.sqrt(VOICE_HZ[0] * VOICE_HZ[1])), 0.4 * rate_hz)
    return np.asarray(tf2sos(*iirpeak(middle_hz, ROOM_Q, fs=rate_hz)))


_DEPTH_STEP_DB: Final = 0.25  # finer is not heard


def room_for_a_voice(samples: Floats32, plan: Plan, rate_hz: int, depth_db: float) -> None:
    """Dips some of the bridge where it lies far below the songs, so that one may talk; in place."""
    if not depth_db:
        return
    from scipy.signal import sosfilt  # heavy, and few bridges are beds

    sections = _room_sections(rate_hz)
    state = np.zeros((len(sections), 2, samples.shape[1]))
    first, last = (
        max(round(plan.seconds_at(beat) * rate_hz), 0) for beat in (plan.exit_beat, plan.entry_beat)
    )
    for begin in range(first, min(last, len(samples)), _BLOCK_FRAMES):
        block = samples[begin : min(begin + _BLOCK_FRAMES, last)]
        knots_s = np.linspace(begin / rate_hz, (begin + len(block)) / rate_hz, num=_KNOTS)
        levels = [value_at(plan.bridge_lu, beat) for beat in plan.beats_at(knots_s.tolist())]
        shares = np.clip((ROOM_LU[1] - np.array(levels)) / (ROOM_LU[1] - ROOM_LU[0]), 0.0, 1.0)
        shares *= np.clip((knots_s - first / rate_hz) / _SET_IN_S, 0.0, 1.0)
        seconds = (begin + np.arange(len(block))) / rate_hz
        gain = 10 ** (-MIDDLE_RATIO * depth_db * shares / 20)
        peak, state = sosfilt(sections, block, axis=0, zi=state)
        block += (np.interp(seconds, knots_s, gain - 1.0)[:, None] * peak).astype(np.float32)


_BLOCK_FRAMES: Final = 1 << 14  # worked on at a time
_SET_IN_S: Final = 0.2  # the dip sets in over this; by judgement
_KNOTS: Final = 9  # of the depth in each of them
_TINY: Final = 1e-12  # keeps a division from nought
