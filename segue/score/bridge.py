"""What is heard between the two songs: pulse, level, what rises, how dense it is.

All of it is measured on the rendered sound, against the songs next to the bridge. The pulse is
the strength of onsets (`segue.analysis.onsets`) in the bridge over that in the songs; level
is momentary loudness (ITU-R BS.1770).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.envelope import mono_of
from segue.analysis.onsets import RISES_HOP_S, STRONG_PERCENT, band_levels, rises_of
from segue.audio.loudness import lufs_of_a_song, mean_lufs, momentary_lufs

if TYPE_CHECKING:
    from segue.arrays import Floats
    from segue.audio.clip import Clip
    from segue.plan.plan import Plan


AROUND_S: Final = 8.0
"""So much of either song the bridge is held against."""
LEAST_BRIDGE_S: Final = 2.0  # shorter is no stretch of music
STATIC_PULSE: Final = 0.35
"""Below this share of the songs' onsets nothing beats."""
LIFT_LU, LIFT_RATIO = 4.0, 1.3
"""A lift is louder by this, and brighter and denser by this ratio, from its first quarter to its
last: two of the three. Loudness drives felt arousal (R. Dean, F. Bailes and E. Schubert, PLoS ONE
6(4), 2011)."""
CALM_HITS_A_S: Final = 2.5  # more hits a second are not calm; by judgement
N_CURVE: Final = 16  # points of the loudness curve that two bridges are compared by
LEVEL_HOP_S: Final = 0.1  # seconds between points of the curve of loudness
_ONSET_SHARE: Final = 0.4
"""An onset is a peak of this share of the songs' strong ones."""
_STANDS_OUT, _AROUND_HIT_S = 2.5, 2.0
"""A hit is so many times the usual rise of the seconds around it. In noise, in clouds of spectra
and in held chords, which have none, 0.1 to 0.7 peaks a second do, at every rate; of clicks planted
in them, 1 to 12 a second and 6 dB louder, all (`tests/score/test_bridge.py`)."""
_STRONG_OF_A_FEW: Final = 98.0
"""Percentile of the rises that stands for their peaks in one or two bars: a hit or two a second."""
_CLOUD_DB: Final = 1.05
"""Stands out in clouds of spectra with phases drawn anew, made of real bridges: 0.8 to 1.2."""
_BREATHING_LU: Final = 6.0  # songs move by so much by themselves
_FLOOR_LUFS: Final = -100.0  # stands for silence
_AIR_HZ: Final = (1_000.0, 6_000.0)  # where a bridge is behind a curtain, or too bright


@dataclass(frozen=True, slots=True)
class Curve:
    """A value over time: two arrays of one length."""

    times_s: Floats
    values: Floats

    def part(self, low_s: float, high_s: float) -> Floats:
        """Its values from one time up to another."""
        return self.values[(self.times_s >= low_s) & (self.times_s < high_s)]

    def median(self, low_s: float, high_s: float) -> float:
        """Its median there; its least value where there is nothing."""
        part = self.part(low_s, high_s)
        return float(np.median(part)) if len(part) else float(self.values.min(initial=0.0))

    def at(self, times_s: Floats) -> Floats:
        """Its values at some times, in between by a line."""
        return np.interp(times_s, self.times_s, self.values)

    def strong(self, low_s: float, high_s: float, percentile: float = STRONG_PERCENT) -> float:
        """How high its peaks are in a stretch; 0 where there is nothing."""
        part = self.part(low_s, high_s)
        return float(np.percentile(part, percentile)) if len(part) else 0.0

    def onsets_a_s(self, low_s: float, high_s: float, least: float) -> float:
        """Peaks a second of at least some height."""
        return len(self.peaks_s(low_s, high_s, least)) / max(high_s - low_s, 0.1)

    def peaks_s(self, low_s: float, high_s: float, least: float) -> Floats:
        """Times of its peaks of at least some height, 60 ms apart or more.

        None where it is as uneven all the time: a peak stands out of what is usual around it.
        """
        from scipy.ndimage import median_filter
        from scipy.signal import find_peaks

        inside = (self.times_s >= low_s) & (self.times_s < high_s)
        part = self.values[inside]
        if not len(part):
            return part
        usual = median_filter(part, round(_AROUND_HIT_S / RISES_HOP_S))
        height = np.maximum(_STANDS_OUT * usual, max(least, 1e-9))
        found = find_peaks(part, height=height, distance=round(0.06 / RISES_HOP_S))[0]
        return np.asarray(self.times_s[inside][found])


@dataclass(frozen=True, slots=True, kw_only=True)
class BridgeSound:
    """The bridge of a candidate as heard.

    Parameters
    ----------
    pulse : float
        Strength of its onsets over that of the songs' next to it; 1 where it is too short to tell.
    thinnest_pulse : float
        The same in the quarter of the bridge that has least of it.
    onsets_a_s : float
        Onsets a second.
    below_lu : float
        How far its loudness lies under the quieter song; negative above it.
    rise_lu, brighter, denser : float
        Loudness, spectral centroid and onsets of its last quarter against its first: a
        difference, and two ratios.
    dip_lu : float
        How far the last second before the entry falls below the quieter of bridge and new song; a
        new song far below the old one excuses no more than the songs' own breathing.
    air_db : float
        Share of 1 to 6 kHz against the mean of the songs.
    curve_lu : tuple of float
        Loudness against the quieter song, `N_CURVE` points from the exit to the entry.
    """

    length_s: float
    pulse: float
    thinnest_pulse: float
    onsets_a_s: float
    below_lu: float
    rise_lu: float
    brighter: float
    denser: float
    dip_lu: float
    air_db: float
    curve_lu: tuple[float, ...]

    @property
    def is_static(self) -> bool:
        """Whether nothing in it beats."""
        return self.pulse < STATIC_PULSE

    @property
    def lifts(self) -> bool:
        """Whether it lifts, by what is heard: two of louder, brighter and denser."""
        signs = (
            self.rise_lu >= LIFT_LU,
            self.brighter >= LIFT_RATIO,
            self.denser >= LIFT_RATIO,
        )
        return sum(signs) >= 2  # noqa: PLR2004 - two of three


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoomCurves:
    """What the room hears, over time.

    Parameters
    ----------
    level : Curve
        Momentary loudness in LUFS, every 0.1 s, not below -100.
    onsets : Curve
        How much louder the bands become from hop to hop, in decibels, every 12 ms.
    bands_db : ndarray, shape (n_hops, n_bands)
        Levels of bands of equal width in log frequency, at the times of `onsets`.
    band_hz : ndarray, shape (n_bands,)
        Their lower edges.
    """

    level: Curve
    onsets: Curve
    bands_db: Floats
    band_hz: Floats

    def hits_db(self, low_s: float, high_s: float) -> float:
        """How far the rises of hits stand out of the usual ones, less what they do in a cloud.

        A hit a second is enough, however little moves between.
        """
        onsets = self.onsets
        strong, usual = (onsets.strong(low_s, high_s, p) for p in (_STRONG_OF_A_FEW, 50.0))
        return max(strong - usual - _CLOUD_DB, 0.0)

    def band_level_db(self, low_s: float, high_s: float, low_hz: float, high_hz: float) -> float:
        """Mean power of a range of bands in a stretch of time, in decibels."""
        hops = (self.onsets.times_s >= low_s) & (self.onsets.times_s < high_s)
        bands = (self.band_hz >= low_hz) & (self.band_hz < high_hz)
        if not hops.any() or not bands.any():
            return float(self.bands_db.min(initial=0.0))
        power = 10.0 ** (self.bands_db[np.ix_(hops, bands)] / 10.0)
        return float(10.0 * np.log10(power.sum(axis=1).mean()))


def room_curves(music: Clip) -> RoomCurves:
    """Loudness, onsets and bands of a clip."""
    level_s, lufs = momentary_lufs(music, hop_s=LEVEL_HOP_S)
    times_s, bands_db, band_hz = band_levels(music)
    return RoomCurves(
        level=Curve(level_s, np.maximum(lufs, _FLOOR_LUFS)),
        onsets=Curve(times_s, rises_of(bands_db)),
        bands_db=bands_db,
        band_hz=band_hz,
    )


def bridge_of(plan: Plan, music: Clip, room: RoomCurves | None = None) -> BridgeSound:
    """Listen to the bridge of a rendered plan and to the songs next to it.

    Parameters
    ----------
    room : RoomCurves, optional
        Of the music, where they are known.
    """
    exit_s, entry_s = plan.seconds_at(plan.exit_beat), plan.seconds_at(plan.entry_beat)
    room = room or room_curves(music)
    level, flux = room.level, room.onsets
    old, new = (
        lufs_of_a_song(part) if len(part) else _FLOOR_LUFS
        for part in (
            level.part(exit_s - AROUND_S, exit_s - 0.3),
            level.part(entry_s + 0.3, entry_s + AROUND_S),
        )
    )
    quieter = min(old, new)
    strong = float(
        np.mean([flux.strong(exit_s - AROUND_S, exit_s), flux.strong(entry_s, entry_s + AROUND_S)])
    )
    length_s = entry_s - exit_s
    quarter = max(length_s / 4, 0.5)
    first, last = (exit_s, exit_s + quarter), (entry_s - quarter, entry_s)
    inside, before = level.part(exit_s + 0.3, entry_s - 0.2), level.part(entry_s - 1.0, entry_s)
    quarters = [(exit_s + n * quarter, exit_s + (n + 1) * quarter) for n in range(4)]
    told = length_s > LEAST_BRIDGE_S and strong > 0
    return BridgeSound(
        length_s=length_s,
        pulse=flux.strong(exit_s + 0.5, entry_s - 0.2) / strong if told else 1.0,
        thinnest_pulse=min(flux.strong(*span, _STRONG_OF_A_FEW) for span in quarters) / strong
        if told
        else 1.0,
        onsets_a_s=flux.onsets_a_s(exit_s, entry_s, _ONSET_SHARE * strong),
        below_lu=quieter - mean_lufs(inside) if len(inside) else 0.0,
        rise_lu=level.median(*last) - level.median(*first),
        brighter=_centroid_hz(music, *last) / max(_centroid_hz(music, *first), 1.0),
        denser=(flux.onsets_a_s(*last, _ONSET_SHARE * strong) + 0.25)
        / (flux.onsets_a_s(*first, _ONSET_SHARE * strong) + 0.25),
        dip_lu=_dip_lu(before, inside, least_lufs=max(new, old - _BREATHING_LU)),
        air_db=_air_db(music, exit_s, entry_s),
        curve_lu=tuple(level.at(np.linspace(exit_s, entry_s, N_CURVE)) - quieter),
    )


def _dip_lu(before: Floats, inside: Floats, *, least_lufs: float) -> float:
    """How far the last second before the entry falls below the bridge, or a level below it."""
    if not len(before):
        return 0.0
    floor = min(float(np.median(inside)), least_lufs) if len(inside) else least_lufs
    return max(floor - float(before.min()), 0.0)


_WINDOW_FRAMES: Final = 2048  # of a spectrum
_WINDOWS_AT_ONCE: Final = 64  # to hold little memory


def _spectrum(music: Clip, low_s: float, high_s: float) -> tuple[Floats, Floats]:
    from scipy.signal import welch

    rate_hz = music.rate_hz
    part = music.samples[max(round(low_s * rate_hz), 0) : round(high_s * rate_hz)]
    if len(part) < 256:  # noqa: PLR2004 - no spectrum
        return np.ones(1), np.full(1, 1e-12)
    mono, window = mono_of(part), min(_WINDOW_FRAMES, len(part))
    hop = window - window // 2
    n_windows = (len(mono) - window // 2) // hop
    total = np.zeros(window // 2 + 1)
    for first in range(0, n_windows, _WINDOWS_AT_ONCE):
        n_some = min(_WINDOWS_AT_ONCE, n_windows - first)
        some = mono[first * hop : (first + n_some) * hop + window // 2]
        _, power = welch(some, rate_hz, nperseg=window)
        total += n_some * power.astype(np.float64)
    hertz: Floats = np.fft.rfftfreq(window, 1.0 / rate_hz).astype(np.float64)
    return hertz, total / n_windows


def _centroid_hz(music: Clip, low_s: float, high_s: float) -> float:
    hertz, power = _spectrum(music, low_s, high_s)
    size = np.sqrt(power)
    return float((hertz * size).sum() / max(float(size.sum()), 1e-12))


def _air_db(music: Clip, exit_s: float, entry_s: float) -> float:
    shares = []
    for low_s, high_s in (
        (exit_s + 0.3, entry_s - 0.2),
        (exit_s - AROUND_S, exit_s),
        (entry_s, entry_s + AROUND_S),
    ):
        hertz, power = _spectrum(music, low_s, high_s)
        air = power[(hertz > _AIR_HZ[0]) & (hertz < _AIR_HZ[1])].sum()
        shares.append(10 * np.log10((air + 1e-15) / (power.sum() + 1e-15)))
    return float(shares[0] - np.mean(shares[1:]))
