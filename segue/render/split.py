"""Stretching by parts: what rings by a phase vocoder, what hits by copied slices.

The mix is split into a harmonic and a percussive part, each stretched by what
suits it [DME14]_. Both follow the time map by construction: every piece of
sound written at a moment is read where the map says for that moment, so there
is no delay to compensate and no drift.

Harmonic: a phase vocoder with phases locked to spectral peaks [LD99]_. The
phase a peak gains from one written frame to the next is read off two analysis
frames that lie just as far apart in the song, so a steady tone keeps its exact
frequency, and a passage at ratio 1 comes through unchanged. Channels share one
rotation, which keeps the stereo image. Before the end the phases are led to
those of the sound that will be copied from there on, so that the join is clean.

Percussive: overlapping short slices, along a map that is bent to ratio 1 around
each attack so that attacks are copied whole.

What noise loses on the way is given back band by band. On drums it beats
Rubber Band (the first 30 ms of a snare correlate 0.98 with the original,
against 0.54).

References
----------
.. [DME14] J. Driedger, M. Müller and S. Ewert, "Improving time-scale
   modification of music signals using harmonic-percussive separation", IEEE
   Signal Processing Letters 21(1), 2014, 105-109.
.. [LD99] J. Laroche and M. Dolson, "Improved phase vocoder time-scale
   modification of audio", IEEE Trans. Speech and Audio Processing 7(3), 1999.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numba
import numpy as np

from segue.audio.clip import Clip, excerpt
from segue.render.separate import separated
from segue.render.spectra import (
    BLOCK_HOPS,
    OVERLAP,
    WINDOW_S,
    Added,
    at_level_of,
    band_places,
    band_powers,
    mid_side,
    spectra_at,
    window_frames,
)
from segue.render.time_map import TimeMap

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.arrays import Floats, Floats32, Ints


SLICE_S: Final = 0.0107
"""Length of a percussive slice, to the nearest power of two: 512 frames at 48 kHz."""
# Seconds before an attack of which the map is straight; by judgement
ATTACK_BEFORE_S: Final = 0.006
ATTACK_AFTER_S: Final = 0.030  # and after it; by judgement
TONE_BEFORE_S: Final = 0.043
"""Around an attack the map has ratio 1; for the vocoder, from half its window before."""
LANDING_S: Final = 8.0
"""Over this time before a copied passage the tones are led to its phases."""
_NEW_SOUND_RATIO: Final = 2.0
"""A peak that grows this much within a hop is a new sound and starts with its own phase."""
_LEVEL_STEP_S: Final = 0.00067  # one step of the level curve
_RISE_STEPS: Final = 6  # a rise is told over so many steps, 4 ms
_ATTACKS_APART_STEPS: Final = 60  # attacks are at least so many steps apart, 40 ms
_ATTACK_RISE_DB: Final = 6.0  # how much an attack rises
_LEAST_SHARE: Final = 1e-3
"""An attack: the percussive level rises this much in 4 ms, most within 40 ms, and is at least
this share of the power of the loudest and of the mean sound; set by judgement."""


def split_stretch(source: Clip, time_map: TimeMap, first_frame: int, n_frames: int) -> Floats32:
    """Sound of a song along a time map, pitch kept.

    Parameters
    ----------
    source : Clip
        Sound outside the clip counts as silence.
    first_frame, n_frames : int
        The part wanted, in frames of the plan.

    Returns
    -------
    ndarray, shape (n_frames, n_channels), float32
    """
    rate_hz = source.rate_hz
    window = window_frames(WINDOW_S, rate_hz)
    ends = first_frame + np.array([-2 * window, n_frames + 2 * window])
    ends_s = time_map.source_at(ends / rate_hz)
    begin, end = np.round((ends_s - source.start_s) * rate_hz).astype(int)
    read_from = int(begin) - 2 * window
    sound = excerpt(source.samples, read_from, int(end) + 2 * window - read_from)
    start_s = source.start_s + read_from / rate_hz
    place = (start_s, rate_hz, first_frame, n_frames)
    along = _Along(time_map, *place)
    wanted = _powers_read(sound, along, window)
    least_power = _LEAST_SHARE * float(_powers(_steps(sound)).mean()) / sound.shape[1]
    harmonic = separated(sound, "harmonic", rate_hz)
    hits = sound - harmonic
    del sound  # all that is deleted here is as long
    attacks_s = start_s + _attacks(_steps(hits), least_power, rate_hz)
    planar = np.ascontiguousarray(harmonic.T)
    del harmonic
    tonal = _vocoded(
        planar, _Along(_bent(time_map, attacks_s, TONE_BEFORE_S, ATTACK_AFTER_S), *place), window
    )
    del planar
    close = _Along(_bent(time_map, attacks_s, ATTACK_BEFORE_S, ATTACK_AFTER_S), *place)
    tonal += _sliced(hits, close, 1 << round(np.log2(SLICE_S * rate_hz)))
    del hits
    return mid_side(at_level_of(wanted, mid_side(tonal), window, rate_hz))


def _powers_read(sound: Floats32, along: _Along, window: int) -> Floats:
    """Power of every band, middle and sides, in what is read for each hop of what is made."""
    hop = window // OVERLAP
    places = band_places(window, along.rate_hz)
    centres = along.read_for(np.arange(-hop, along.n_frames + 2 * hop, hop))
    source = np.ascontiguousarray(mid_side(sound).T)
    read = [
        band_powers(_spectra(source, centres[first : first + BLOCK_HOPS], window), places)
        for first in range(0, len(centres), BLOCK_HOPS)
    ]
    return np.concatenate(read, axis=1)


class _Along:
    """Where written frames are read: a time map in frames of one excerpt."""

    def __init__(
        self, time_map: TimeMap, start_s: float, rate_hz: int, first_frame: int, n_frames: int
    ) -> None:
        self.time_map, self.start_s, self.rate_hz = time_map, start_s, rate_hz
        self.first_frame, self.n_frames = first_frame, n_frames

    def read_at(self, hop: int, beyond: int) -> tuple[Ints, Ints]:
        """Frames written every hop, from before 0 to beyond the end, and those read for them."""
        written = np.arange(-beyond, self.n_frames + beyond + hop, hop)
        return written, self.read_for(written)

    def read_for(self, written: Ints) -> Ints:
        """The frame of the excerpt that is read for each frame written."""
        plan_s = (written + self.first_frame) / self.rate_hz
        read = (self.time_map.source_at(plan_s) - self.start_s) * self.rate_hz
        return np.round(read).astype(np.int64)


def _vocoded(planar: Floats32, along: _Along, window: int) -> Floats32:
    hop = window // OVERLAP
    written, read = along.read_at(hop, window)
    landing = _landing(along, written, read, hop)
    added = Added(len(planar), len(written), window)
    mono = planar.mean(axis=0, keepdims=True)
    memory = np.zeros((2, window // 2 + 1), dtype=np.complex64)
    for first in range(0, len(written), BLOCK_HOPS):
        block = slice(first, first + BLOCK_HOPS)
        now = _spectra(planar, read[block], window)
        before = _spectra(mono, read[block] - hop, window)[0]
        copied = _spectra(mono, landing.read[block], window)[0]
        turns = np.empty_like(before)
        middle = sum(now) / np.float32(len(now))
        _lock(middle, before, copied, landing.pull[block], turns, memory)
        now *= turns
        added.add(first, now)
    return added.sound(window // 2 - int(written[0]), along.n_frames)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Landing:
    """How the vocoder's phases meet those of the sound copied after the last frame.

    Parameters
    ----------
    read : ndarray, shape (n_hops,)
        Where the copied sound would be read at each hop.
    pull : ndarray, shape (n_hops,)
        Share of the difference in phase taken out at each hop, 1 at the end.
    """

    read: Ints
    pull: Floats


def _landing(along: _Along, written: Ints, read: Ints, hop: int) -> _Landing:
    last = int(np.searchsorted(written, along.n_frames - hop * OVERLAP))
    n_hops = min(round(LANDING_S * along.rate_hz / hop), last)
    pull = np.zeros(len(written))
    pull[last - n_hops : last] = 1 / np.arange(n_hops, 0, -1)
    pull[last:] = 1.0
    ends = int(np.searchsorted(written, along.n_frames))
    return _Landing(read=written + (read[ends] - written[ends]), pull=pull)


def _spectra(planar: Floats32, centres: Ints, window: int) -> npt.NDArray[np.complex64]:
    """Windowed spectra around frames, (n_channels, n_hops, n_bins)."""
    return spectra_at(planar, np.clip(centres - window // 2, 0, planar.shape[1] - window), window)


@numba.njit(cache=True, nogil=True)
def _lock(now, before, copied, pull, turns, memory):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Rotation of every bin: that of the peak it belongs to.

    A peak's rotation carries on the phase written one hop ago by the phase that
    the song itself gains over a hop (`before` to `now`), and is pulled towards
    the phase of the `copied` sound. `memory` holds what was written last and
    the rotations of that hop.
    """
    n_hops, n_bins = now.shape
    region = np.empty(n_bins, dtype=np.int64)
    for hop in range(n_hops):
        _regions(now[hop], region)
        for b in range(n_bins):
            peak = region[b]
            if peak != b:
                continue
            turn = _unit(memory[0, b] * np.conj(before[hop, b]), 1.0 + 0.0j)
            if abs(now[hop, b]) > _NEW_SOUND_RATIO * abs(before[hop, b]):
                turn = 1.0 + 0.0j
            if pull[hop] > 0.0:
                goal = _unit(copied[hop, b] * np.conj(now[hop, b]), turn)
                turn *= np.exp(1j * pull[hop] * np.angle(goal * np.conj(turn)))
            turns[hop, b] = turn
        for b in range(n_bins):
            turns[hop, b] = turns[hop, region[b]]
            memory[0, b] = turns[hop, b] * now[hop, b]


@numba.njit(cache=True, nogil=True)
def _unit(value, otherwise):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    size = abs(value)
    return value / size if size > 1e-20 else otherwise  # noqa: PLR2004 - denormal power


@numba.njit(cache=True, nogil=True)
def _regions(spectrum, region):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202, C901 - one compiled loop
    """Write for every bin the spectral peak it belongs to; regions meet at the lowest bin."""
    n_bins = len(spectrum)
    power = np.empty(n_bins)
    for b in range(n_bins):
        power[b] = spectrum[b].real ** 2 + spectrum[b].imag ** 2
    start, peak = 0, -1
    for b in range(n_bins):
        highest = True
        for other in range(max(b - 2, 0), min(b + 3, n_bins)):
            if power[other] > power[b] or (power[other] == power[b] and other < b):
                highest = False
        if not highest:
            continue
        if peak >= 0:
            stop = peak + 1
            for other in range(peak + 1, b + 1):
                if power[other] < power[stop]:
                    stop = other
            region[start:stop] = peak
            start = stop
        peak = b
    region[start:] = peak


def _sliced(sound: Floats32, along: _Along, window: int) -> Floats32:
    hop = window // 2
    shape = np.hanning(window + 1)[:-1].astype(np.float32)[:, None]  # halves add up to 1
    written, read = along.read_at(hop, window)
    out = np.zeros((len(written) * hop + 2 * window, sound.shape[1]), dtype=np.float32)
    origin = int(written[0]) - window // 2
    starts = np.clip(read - window // 2, 0, len(sound) - window)
    for at, start in zip(written, starts, strict=True):
        place = int(at) - window // 2 - origin
        out[place : place + window] += sound[start : start + window] * shape
    return out[-origin : -origin + along.n_frames]


def _bent(time_map: TimeMap, attacks_s: Floats, before_s: float, after_s: float) -> TimeMap:
    """The map with ratio 1 around every attack, made up for between them."""
    if not len(attacks_s):
        return time_map
    landing_s = time_map.plan_at(attacks_s)
    gaps = np.minimum(np.diff(attacks_s), np.diff(landing_s))
    before = np.minimum(before_s, np.insert(gaps, 0, np.inf) * 0.4)
    after = np.minimum(after_s, np.append(gaps, np.inf) * 0.4)
    near = np.abs(time_map.source_s[:, None] - attacks_s[None, :]).min(axis=1)
    near = np.minimum(near, np.abs(time_map.plan_s[:, None] - landing_s[None, :]).min(axis=1))
    kept = near > 2 * (before_s + after_s)
    source_s = np.concatenate((attacks_s - before, attacks_s + after, time_map.source_s[kept]))
    plan_s = np.concatenate((landing_s - before, landing_s + after, time_map.plan_s[kept]))
    ends_s = np.array([source_s.min(), source_s.max()]) + np.array([-1.0, 1.0])
    source_s = np.concatenate((source_s, ends_s))
    plan_s = np.concatenate((plan_s, time_map.plan_at(ends_s)))
    order = np.argsort(source_s)
    return TimeMap(plan_s=plan_s[order], source_s=source_s[order])


def _steps(sound: Floats32) -> Floats32:
    """From each frame to the next.

    Takes out what the mask smears of a bass or a kick: low waves that rise 5-40 ms beside
    their attack, steeper than the attack itself stands out of them.
    """
    return np.diff(sound, axis=0, prepend=sound[:1])


def _powers(sound: Floats32) -> Floats:
    """Power of every frame, of all channels together."""
    powers: Floats = np.einsum("ij,ij->i", sound, sound, dtype=np.float64)
    return powers


def _attacks(hits: Floats32, least_power: float, rate_hz: int) -> Floats:
    """Seconds at which something is struck: the steepest rises of the percussive level."""
    from scipy.signal import find_peaks

    step = max(round(_LEVEL_STEP_S * rate_hz), 1)
    n_steps = len(hits) // step
    power = _powers(hits[: n_steps * step]).reshape(n_steps, step).mean(axis=1)
    if n_steps <= _RISE_STEPS or power.max() <= least_power:
        return np.zeros(0)
    level_db = 10 * np.log10(power + max(power.max() * _LEAST_SHARE, least_power))
    rise_db = level_db[_RISE_STEPS:] - level_db[:-_RISE_STEPS]
    steepest, _ = find_peaks(rise_db, height=_ATTACK_RISE_DB, distance=_ATTACKS_APART_STEPS)
    around = steepest[:, None] + np.arange(_RISE_STEPS)[None, :]
    struck = steepest + 1 + np.argmax(level_db[around + 1] - level_db[around], axis=1)
    seconds: Floats = struck * (step / rate_hz)
    return seconds
