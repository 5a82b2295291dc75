"""A song's own kick, snare and hat, found and cut out.

Every onset is described by how much it raises four bands: low (a kick's body),
body, noise (a snare's wires) and high. A drum's cleanest loud hit is the one
with most of its own band, least of the others, and the longest rest after it;
other hits of the same sound are averaged with it, each aligned to the frame, so
that what sounds with one of them is softer: under real music kicks come out
4 dB cleaner (median of eight songs).
Bands and limits are common practice, no source; tested on synthetic kits.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.clip import excerpt

if TYPE_CHECKING:
    from segue.arrays import Floats, Floats32, Ints
    from segue.plan.layer import Drum

# Kick, body, noise of a snare, hats; by judgement
BANDS_HZ: Final = ((40.0, 120.0), (170.0, 500.0), (1_000.0, 5_000.0), (7_000.0, 16_000.0))
_LOW, _BODY, _NOISE, _HIGH = range(4)
BEFORE_S: Final = 0.004
"""Kept before an attack."""
LONGEST_S: Final = 0.6  # no hit is kept for longer; by judgement
_SHORT_S: Final = 0.15
"""A hit with less rest after it hardly has a sound of its own."""
_HIT_S: Final = 0.06  # a hit's bands are measured over this time from its attack; by judgement
_STEP_S: Final = 0.001  # one step of the level curve
# Steps that a level is the mean of, and half the reach of a rise; by judgement
_SMOOTH_STEPS: Final = 5
_RISE_DB: Final = 6.0  # a rise of a band that makes a hit; by judgement
_APART_STEPS: Final = 45  # hits are at least so many steps of 1 ms apart; by judgement
_ATTACK_RATIO: Final = 0.2
"""An attack is where the level first passes this share of the peak that follows."""
_LEAST_DB: Final = -30.0  # levels this far below the loudest count as silence; by judgement
_LEAST_BAND: Final = 1e-3  # of the strongest band: a band with less has no drum of its own
_HAT_FROM_HZ: Final = 7_000.0  # what of a snare is lent to a hat lies above; by judgement
_BORROWED_HAT_S: Final = 0.08  # length of a hat that is cut from a snare; by judgement
_BORROWED_HAT_DB: Final = -8.0  # and its level against that snare; by judgement
_LEAST_HAT_DB: Final = 1.5
"""Peak of a hat over the mean of all hits and what lies between them. Heard in ten songs: hats
peak 2 to 16 dB over it, the top of plucked strings and choirs 13 to 1 dB under or over it."""
_LEAST_TOP_DB: Final = -10.0
"""The same of the top of a snare: in those songs 8 dB under and more, and of what was no snare 24
to 58 dB under it."""
_MADE_HAT_DB: Final = 6.0  # peak of a made hat over the same; a little under those of the songs
_MADE_HAT_HZ: Final = (4_000.0, 11_000.0)  # noise of a closed hat or a shaker; by judgement
_MADE_HAT_DECAY_S: Final = 0.018  # to a third; by judgement


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrumSound:
    """One drum, cut out.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, 2), float32
        At the level the song plays it at.
    attack_frame : int
        Where in the samples it strikes.
    """

    samples: Floats32
    attack_frame: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Onsets:
    """Hits of a song.

    Parameters
    ----------
    frames : ndarray, shape (n_onsets,)
        Where each strikes.
    bands : ndarray, shape (n_onsets, 4)
        Power that each adds to each band.
    """

    frames: Ints
    bands: Floats


def drum_kit(hits: Floats32, rate_hz: int) -> tuple[dict[Drum, DrumSound], tuple[str, ...]]:
    """Kick, snare and hat as far as they are found, and what is missing.

    Parameters
    ----------
    hits : ndarray, shape (n_frames, 2), float32
        A drum stem, or the percussive part of a mix.

    Returns
    -------
    kit : dict
        At most one sound for each drum.
    remarks : tuple of str
        What was borrowed or left out, such as 'no kick was found'.
    """
    onsets = _onsets(hits, rate_hz)
    kit: dict[Drum, DrumSound] = {}
    for drum, purity in _purities(onsets.bands).items():
        best = _best(purity, onsets, drum, rate_hz)
        if best is not None:
            own = onsets.bands[:, _OWN_BAND[drum]]
            typical = float(np.median(own[_members(purity, onsets, drum)]))
            alike = _alike(hits, onsets, best, _members(purity, onsets, drum), rate_hz)
            cut = _cut(hits, onsets, best, alike, rate_hz)
            loud = np.float32(np.sqrt(typical / own[best]))
            cut = replace(cut, samples=cut.samples * loud)
            kit[drum] = _cleared(cut, drum, rate_hz)
    remarks = [f"no {drum} was found" for drum in ("kick", "snare") if drum not in kit]
    usual_db = _power_db(hits)
    if "hat" in kit and _peak_db(kit["hat"].samples) < usual_db + _LEAST_HAT_DB:
        del kit["hat"]  # the top of something else
    if "hat" not in kit and kit:
        kit["hat"], what = _hat_instead(kit, usual_db, rate_hz)
        remarks.append(f"no hat was found: {what}")
    elif not kit:
        remarks.append("no hat was found")
    return kit, tuple(remarks)


def _hat_instead(
    kit: dict[Drum, DrumSound], usual_db: float, rate_hz: int
) -> tuple[DrumSound, str]:
    """What beats time where no hat does: the top of the snare, or noise where that is too soft."""
    if "snare" in kit:
        top = _borrowed_hat(kit["snare"], rate_hz)
        if _peak_db(top.samples) >= usual_db + _LEAST_TOP_DB:
            return top, "the top of the snare stands in"
    return _made_hat(usual_db + _MADE_HAT_DB, rate_hz), "a short noise stands in"


def _onsets(hits: Floats32, rate_hz: int) -> _Onsets:
    from scipy.signal import find_peaks

    step = max(round(_STEP_S * rate_hz), 1)
    bands = _band_powers(hits, step, rate_hz)
    kernel = np.ones(_SMOOTH_STEPS) / _SMOOTH_STEPS
    smooth = np.apply_along_axis(np.convolve, 0, bands, kernel, mode="full")[: len(bands)]
    floor = np.maximum(smooth.max(axis=0) * 10 ** (_LEAST_DB / 10), 1e-12)
    level_db = 10 * np.log10(smooth + floor)
    rise = np.maximum(level_db[2 * _SMOOTH_STEPS :] - level_db[: -2 * _SMOOTH_STEPS], 0.0).max(
        axis=1
    )
    if not len(rise):
        return _Onsets(frames=np.zeros(0, dtype=np.int64), bands=np.zeros((0, len(BANDS_HZ))))
    found, _ = find_peaks(rise, height=_RISE_DB, distance=_APART_STEPS)
    frames = [_attack_frame(hits, int(at + _SMOOTH_STEPS) * step, rate_hz) for at in found]
    length = round(_HIT_S / _STEP_S)
    added = []
    for frame in frames:
        at = frame // step
        before = bands[max(at - 15, 0) : max(at - 3, 1)].mean(axis=0)
        added.append(np.maximum(bands[at : at + length].mean(axis=0) - before, 0.0))
    return _Onsets(
        frames=np.array(frames, dtype=np.int64),
        bands=np.array(added).reshape(len(frames), len(BANDS_HZ)),
    )


def _band_powers(hits: Floats32, step: int, rate_hz: int) -> Floats:
    """Mean power of each band in each step, (n_steps, 4)."""
    from scipy.signal import butter, sosfilt

    n_steps = len(hits) // step
    powers = np.zeros((n_steps, len(BANDS_HZ)))
    for band, (low_hz, high_hz) in enumerate(BANDS_HZ):
        ends = (min(low_hz, 0.3 * rate_hz), min(high_hz, 0.45 * rate_hz))
        passed = sosfilt(butter(2, ends, "bandpass", fs=rate_hz, output="sos"), hits, axis=0)
        square = np.square(passed[: n_steps * step]).sum(axis=1)
        powers[:, band] = square.reshape(n_steps, step).mean(axis=1)
    return powers


def _attack_frame(hits: Floats32, near: int, rate_hz: int) -> int:
    """Where a hit near a frame first passes a share of its peak."""
    low = max(near - round(0.012 * rate_hz), 0)
    level = np.abs(hits[low : near + round(0.012 * rate_hz)]).max(axis=1)
    quiet = float(level[: max(len(level) // 6, 1)].max(initial=0.0))
    limit = max(_ATTACK_RATIO * float(level.max(initial=0.0)), 1.1 * quiet)
    passed = np.flatnonzero(level >= limit)
    return low + (int(passed[0]) if len(passed) else near - low)


def _purities(bands: Floats) -> dict[Drum, Floats]:
    """How surely each onset is each drum and nothing else, 0 to 1."""
    if not len(bands):
        return {}
    strong = np.maximum(np.percentile(bands, 95, axis=0), 1e-12)
    strong = np.maximum(strong, _LEAST_BAND * strong.max())  # of kicks alone, their click is little
    strong[_LOW] = max(strong[_LOW], strong[_BODY])  # where there is no kick
    low, body, noise, high = (bands / strong).T
    tiny = 1e-9
    # a snare has body and wires, a hat neither body nor low end
    snares = np.sqrt(body * noise)
    total = bands.sum(axis=1) + 1e-15
    hat_share = bands[:, _HIGH] / (bands[:, _HIGH] + bands[:, _NOISE] + bands[:, _BODY] + 1e-15)
    is_low = bands[:, _LOW] > np.maximum(bands[:, _NOISE], bands[:, _BODY])
    return {
        "kick": low / (low + noise + 0.5 * high + tiny) * is_low,
        "snare": snares / (snares + 1.5 * low + tiny) * (bands[:, _NOISE] > 0.1 * total),
        "hat": high / (high + 4 * low + 4 * body + noise * 0.2 + tiny) * (hat_share > 0.4),  # noqa: PLR2004
    }


_LEAST_PURITY: Final[dict[Drum, float]] = {"kick": 0.6, "snare": 0.5, "hat": 0.55}
_CLEAR_FROM_HZ: Final[dict[Drum, float]] = {"snare": 130.0, "hat": 500.0}
"""What lies below belongs to the kick struck with it."""
_OWN_BAND: Final[dict[Drum, int]] = {"kick": _LOW, "snare": _NOISE, "hat": _HIGH}


def _members(purity: Floats, onsets: _Onsets, drum: Drum) -> Ints:
    """Onsets that are this drum, those as loud as most of them."""
    pure = np.flatnonzero(purity >= _LEAST_PURITY[drum])
    if not len(pure):
        return pure
    own = onsets.bands[pure, _OWN_BAND[drum]]
    loud: Ints = pure[own >= 0.25 * np.percentile(own, 90)]
    return loud


def _best(purity: Floats, onsets: _Onsets, drum: Drum, rate_hz: int) -> int | None:
    members = _members(purity, onsets, drum)
    if not len(members):
        return None
    own_db = 10 * np.log10(onsets.bands[members, _OWN_BAND[drum]] + 1e-12)
    rests_s = np.minimum(np.append(np.diff(onsets.frames), np.inf)[members] / rate_hz, LONGEST_S)
    merit = 12 * purity[members] + 0.3 * (own_db - own_db.max()) + 6 * rests_s / LONGEST_S
    merit += 10 * np.minimum(rests_s / _SHORT_S, 1.0)
    return int(members[np.argmax(merit)])


def _cut(
    hits: Floats32, onsets: _Onsets, best: int, alike: list[tuple[int, float]], rate_hz: int
) -> DrumSound:
    """One hit from just before its attack to the next one, averaged with those like it."""
    attack = int(onsets.frames[best])
    before = round(BEFORE_S * rate_hz)
    length = _rest(onsets, attack, before, len(hits), rate_hz)
    total = excerpt(hits, attack - before, before + length).astype(np.float64)
    weights = np.ones(len(total))
    for shift, gain in alike:
        rest = _rest(onsets, attack + shift, before, len(hits), rate_hz)
        part = excerpt(hits, attack + shift - before, before + min(rest, length))
        weight = np.ones(len(part))
        out = max(len(part) // 3, 1)  # where the next hit comes sooner, the others are left
        weight[-out:] *= np.cos((np.arange(out) + 0.5) / out * np.pi / 2) ** 2
        total[: len(part)] += weight[:, None] * part / gain
        weights[: len(part)] += weight
    sound = total / weights[:, None]
    fade = np.ones(len(sound))
    fade[:before] = np.sin(np.arange(before) / before * np.pi / 2) ** 2
    out = max(round(0.35 * length), 1)
    fade[-out:] *= np.cos((np.arange(out) + 0.5) / out * np.pi / 2) ** 2
    sound *= fade[:, None]
    return DrumSound(samples=sound.astype(np.float32), attack_frame=before)


def _rest(onsets: _Onsets, attack: int, before: int, n_frames: int, rate_hz: int) -> int:
    """From an attack to the next, as far as one hit is kept."""
    later = onsets.frames[onsets.frames > attack + round(_LATE_S * rate_hz)]
    rest = int(later[0]) - attack - 2 * before if len(later) else n_frames
    return min(rest, round(LONGEST_S * rate_hz), n_frames - attack)


ALIKE: Final = 0.8
"""Hits of one drum that correlate by this are the same sound..."""
MOST_AVERAGED: Final = 6  # ...of which so many are averaged, on and off the best one's attack
_ALIKE_S: Final = 0.05  # from the attack that are compared
_LATE_S: Final = 0.012  # attacks are found this well; by judgement, all four


def _alike(
    hits: Floats32, onsets: _Onsets, best: int, members: Ints, rate_hz: int
) -> list[tuple[int, float]]:
    """Where else the same sound is struck, to the frame, and how loud against the best.

    What sounds with a drum is different each time: in the mean of several it is softer.
    """
    from scipy.signal import correlate

    length, reach = round(_ALIKE_S * rate_hz), round(_LATE_S * rate_hz)
    attack = int(onsets.frames[best])
    model = excerpt(hits, attack, length).mean(axis=1, dtype=np.float64)
    size = float(model @ model)
    found = []
    for at in onsets.frames[members].tolist():
        if at == attack or size <= 0:
            continue
        near = excerpt(hits, at - reach, length + 2 * reach).mean(axis=1, dtype=np.float64)
        match = correlate(near, model, mode="valid")
        late = int(np.argmax(match))
        there = float(np.square(near[late : late + length]).sum())
        likeness = float(match[late]) / np.sqrt(max(there * size, 1e-20))
        found.append((likeness, at - reach + late - attack, float(match[late]) / size))
    found.sort(reverse=True)
    return [(shift, gain) for likeness, shift, gain in found if likeness >= ALIKE][
        : MOST_AVERAGED - 1
    ]


def _cleared(sound: DrumSound, drum: Drum, rate_hz: int) -> DrumSound:
    """The drum without a kick's body under it."""
    from scipy.signal import butter, sosfilt

    if drum not in _CLEAR_FROM_HZ:
        return sound
    clear = butter(4, _CLEAR_FROM_HZ[drum], "highpass", fs=rate_hz, output="sos")
    samples = sosfilt(clear, sound.samples.astype(np.float64), axis=0).astype(np.float32)
    return replace(sound, samples=samples)


def _borrowed_hat(snare: DrumSound, rate_hz: int) -> DrumSound:
    from scipy.signal import butter, sosfilt

    from_hz = min(_HAT_FROM_HZ, 0.35 * rate_hz)
    length = snare.attack_frame + round(_BORROWED_HAT_S * rate_hz)
    top = sosfilt(butter(4, from_hz, "highpass", fs=rate_hz, output="sos"), snare.samples, axis=0)
    decay = np.exp(-np.arange(len(top)) / (0.3 * length))[:length, None]
    sound = top[:length] * decay[: len(top)] * 10 ** (_BORROWED_HAT_DB / 20)
    return DrumSound(samples=sound.astype(np.float32), attack_frame=snare.attack_frame)


def _made_hat(peak_db: float, rate_hz: int) -> DrumSound:
    """A short burst of bright noise, the same one every time."""
    from scipy.signal import butter, sosfilt

    before, length = round(BEFORE_S * rate_hz), round(_BORROWED_HAT_S * rate_hz)
    low_hz, high_hz = (
        min(hertz, share * rate_hz) for hertz, share in zip(_MADE_HAT_HZ, (0.25, 0.45), strict=True)
    )
    noise = np.random.default_rng(0).standard_normal((length, 2))
    band = butter(2, (low_hz, high_hz), "bandpass", fs=rate_hz, output="sos")
    burst = sosfilt(band, noise, axis=0)
    burst *= np.exp(-np.arange(length) / (_MADE_HAT_DECAY_S * rate_hz))[:, None]
    burst *= 10 ** (peak_db / 20) / np.abs(burst).max()
    samples = np.zeros((before + length, 2), dtype=np.float32)
    samples[before:] = burst
    return DrumSound(samples=samples, attack_frame=before)


def _peak_db(samples: Floats32) -> float:
    return float(20 * np.log10(np.abs(samples).max(initial=0.0) + 1e-9))


def _power_db(samples: Floats32) -> float:
    return float(10 * np.log10(np.square(samples, dtype=np.float64).mean() + 1e-12))
