"""How a song starts.

'on the beat': the first sound is bar one; 'pick-up': the first sound comes
less than a bar before bar one (also a swell); 'free intro': sound goes on for
a bar or more before the pulse sets in, or there is no pulse.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.envelope import (
    HOP_S,
    SILENCE_DB,
    Hits,
    body_level_db,
    hits,
    level_db,
    mono_of,
    smoothed_db,
)
from segue.analysis.facts import PULSE_CONFIDENCE, Opening, PulseFact
from segue.analysis.fade import faded_in_s
from segue.audio.clip import Clip, SongEdge

if TYPE_CHECKING:
    from segue.arrays import Flags, Floats, Ints


START_BELOW_BODY_DB: Final = 60.0
"""Sound starts where it comes within this distance of the body."""

# All numbers below chosen on rendered openings of known kind.
_LONGEST_INTRO_S: Final = 30.0  # seconds after the first sound in which hits are heard
_FLOOR_S: Final = 0.1  # seconds at the start of the file that may be room noise
_FLOOR_BELOW_BODY_DB: Final = 35.0  # room noise is at least so far below the body
_ABOVE_FLOOR_DB: Final = 8.0  # what stands out of room noise by this is sound
_FINE_HOP_S: Final = 0.001  # seconds from level to level for the first sound
_LEAST_PICKUP_BEATS = 0.2
"""Less than a sixteenth before bar one is a soft attack, no pick-up. Common practice, no source."""
_ON_BEAT_S: Final = 0.07  # seconds: a first sound this near to a beat is on it
_SUPPORT_S: Final = 0.045  # seconds: a hit this near to a beat speaks for it
_SUPPORT_BEATS: Final = 48  # beats from the first sound on that are asked for hits
_HEAD_START_BEATS: Final = 2.0  # beats of support for setting in with the first sound
_NOTHING_HEARD: Final = 0.1
"""What a beat without any attack near speaks against a pulse, of what an attack off it does."""
_SWELL_DB_A_S: Final = 1.5
"""What rises faster without an attack swells, and has no pulse yet."""


def hear_opening(edge: SongEdge, pulse: PulseFact) -> Opening:
    """How this edge starts.

    Parameters
    ----------
    edge : SongEdge
        The start of a song.
    pulse : PulseFact
        Its beats and bars; they may start later than the sound.

    Returns
    -------
    Opening
        Kind, confidence, first sound and bar one in seconds from the start of
        the file, and the beats of a pick-up.
    """
    mix = edge.mix
    sound_s = _sound_start_s(mix)
    if sound_s is None:
        silent_s = edge.start_s
        return Opening(
            kind="free intro",
            confidence=0.0,
            sound_start_s=silent_s,
            first_downbeat_s=pulse.downbeats_s[0] if pulse.downbeats_s else silent_s,
        )
    intro = Clip(
        samples=mix.samples[: int((sound_s + _LONGEST_INTRO_S) * mix.rate_hz)], rate_hz=mix.rate_hz
    )
    levels_db, up_s = level_db(intro.samples, intro.rate_hz), None
    if not pulse.downbeats_s or pulse.confidence < PULSE_CONFIDENCE:
        opening = Opening(
            kind="free intro",
            confidence=0.3,
            sound_start_s=edge.start_s + sound_s,
            first_downbeat_s=edge.start_s + sound_s,
        )
    else:
        heard = hits(mono_of(intro.samples), mix.rate_hz)
        beats_s, bar_phase = _grid(pulse, edge.start_s, sound_s)
        set_in = _set_in(beats_s, heard, sound_s, _swells(mix, beats_s))
        opening = _opening(edge, pulse, sound_s, beats_s[set_in:], bar_phase[set_in:])
        up_s = faded_in_s(intro, levels_db, heard.times_s)
    up_s = _swelled_s(levels_db, sound_s) if up_s is None else up_s
    is_free = opening.kind == "free intro"
    one_s = opening.sound_start_s if is_free else opening.first_downbeat_s
    if up_s is None or edge.start_s + up_s <= one_s + _ON_BEAT_S:
        return opening
    return replace(opening, faded_in_s=edge.start_s + up_s)


def _swelled_s(levels_db: Floats, sound_s: float) -> float | None:
    """When a song that starts far softer than it is a moment later has come up; None for others."""
    power, n_now, n_soon = 10 ** (levels_db / 10), round(_AT_ONCE_S / HOP_S), round(_SOON_S / HOP_S)
    if len(power) < n_soon:
        return None
    now, soon = (
        10 * np.log10(np.lib.stride_tricks.sliding_window_view(power, n).mean(axis=1))
        for n in (n_now, n_soon)
    )
    hardly_db = body_level_db(levels_db) - _HARDLY_HEARD_DB
    is_up = now[: len(soon)] > np.maximum(soon - _SOFTER_DB, hardly_db)
    up = np.flatnonzero(is_up[round(sound_s / HOP_S) :])
    if not len(up) or not 0.0 < up[0] * HOP_S <= _LONGEST_SWELL_S:
        return None
    return sound_s + float(up[0]) * HOP_S + _AT_ONCE_S


_AT_ONCE_S: Final = 0.2  # seconds by which it is told how loud a song is at a moment...
_SOON_S: Final = 2.0  # ...and soon
_SOFTER_DB: Final = 8.0
"""A start so much softer than what follows is a hole at the end of a bridge: about half as loud
(S. S. Stevens, J. Acoust. Soc. Am. 51, 1972, from memory: twice as loud every 9 to 10 dB)."""
_HARDLY_HEARD_DB: Final = 20.0  # below its body a song is not there yet; by judgement
_LONGEST_SWELL_S: Final = 6.0  # a bridge hides no more; softer for longer is meant; by judgement


def _sound_start_s(mix: Clip) -> float | None:
    """First sound above silence, dither or room noise, in seconds from the start of the clip.

    None where there is only silence.
    """
    levels_db = level_db(mix.samples, mix.rate_hz)
    if len(levels_db) == 0 or levels_db.max() <= SILENCE_DB:
        return None
    body_db = body_level_db(levels_db)
    threshold_db = body_db - START_BELOW_BODY_DB
    floor_db = float(np.median(levels_db[: round(_FLOOR_S / HOP_S)]))
    if floor_db < body_db - _FLOOR_BELOW_BODY_DB:
        threshold_db = max(threshold_db, floor_db + _ABOVE_FLOOR_DB)
    first = int(np.flatnonzero(smoothed_db(levels_db, 2) > threshold_db)[0])
    begin = int(max(first - 2, 0) * HOP_S * mix.rate_hz)
    piece = mix.samples[begin : begin + int(5 * HOP_S * mix.rate_hz)]
    fine_db = level_db(piece, mix.rate_hz, hop_s=_FINE_HOP_S)
    above = np.flatnonzero(fine_db > threshold_db)
    return begin / mix.rate_hz + (float(above[0]) * _FINE_HOP_S if len(above) else 0.0)


def _grid(pulse: PulseFact, start_s: float, sound_s: float) -> tuple[Floats, Ints]:
    """Beats from the first sound on, and the place of each in its bar (0 = downbeat)."""
    beats_s = np.asarray(pulse.beats_s) - start_s
    first_bar = int(np.searchsorted(np.asarray(pulse.beats_s), pulse.downbeats_s[0] - 1e-6))
    n_before = max(int((beats_s[0] - sound_s + _ON_BEAT_S) / pulse.beat_s), 0)
    before = beats_s[0] - pulse.beat_s * np.arange(n_before, 0, -1)
    every = np.concatenate([before, beats_s])
    phase = (np.arange(len(every)) - n_before - first_bar) % pulse.metre
    sounding = every > sound_s - _ON_BEAT_S
    return every[sounding], phase[sounding]


def _swells(mix: Clip, beats_s: Floats) -> Flags:
    """At which beats the level rises slowly and steadily."""
    n_second = round(1.0 / HOP_S)
    slow_db = smoothed_db(level_db(mix.samples, mix.rate_hz), n_second)
    if len(slow_db) == 0:
        return np.zeros(len(beats_s), dtype=np.bool_)
    hops = np.clip((beats_s / HOP_S).astype(int), 0, len(slow_db) - 1)
    later = np.minimum(hops + n_second, len(slow_db) - 1)
    return np.asarray(slow_db[later] - slow_db[hops] > _SWELL_DB_A_S)


def _set_in(beats_s: Floats, heard: Hits, sound_s: float, swells: Flags) -> int:
    """Index of the beat from which the hits fall on the beats.

    The change point that best parts beats without a hit from beats with one;
    setting in with the first sound has a head start.
    """
    if len(heard.times_s) == 0 or len(beats_s) == 0:
        return 0
    near = np.abs(heard.times_s[None, :] - beats_s[:, None]) < _SUPPORT_S
    strength = (near * heard.rises_db[None, :]).max(axis=1)[:_SUPPORT_BEATS]
    usual = np.percentile(strength, 75)
    if usual <= 0.0:
        return 0
    share = np.minimum(strength / usual, 1.0)
    gain = share - 0.5 * share[len(share) // 2 :].mean()
    half_beat_s = 0.5 * float(np.median(np.diff(beats_s))) if len(beats_s) > 1 else 0.0
    apart_s = np.abs(heard.times_s[None, :] - beats_s[: len(gain), None])
    is_free = ((apart_s < half_beat_s) & (apart_s >= _SUPPORT_S)).any(axis=1)
    is_free |= swells[: len(gain)]
    gain = np.where((gain < 0.0) & ~is_free, _NOTHING_HEARD * gain, gain)
    after = np.cumsum(gain[::-1])[::-1] - np.concatenate([[0.0], np.cumsum(gain)[:-1]])
    if abs(beats_s[0] - sound_s) < _ON_BEAT_S:
        after[0] += _HEAD_START_BEATS
    return int(np.argmax(after))


def _opening(
    edge: SongEdge, pulse: PulseFact, sound_s: float, beats_s: Floats, phase: Ints
) -> Opening:
    bars = beats_s[phase == 0]
    first_bar_s = float(bars[0]) if len(bars) else float(beats_s[0]) if len(beats_s) else sound_s
    ahead_beats = (first_bar_s - sound_s) / pulse.beat_s
    sure = min(pulse.confidence, pulse.downbeat_confidence)
    kind, pickup_beats = "pick-up", _counted_beats(ahead_beats)
    if first_bar_s - sound_s < max(_ON_BEAT_S, _LEAST_PICKUP_BEATS * pulse.beat_s):
        kind, pickup_beats = "on the beat", 0.0
    elif ahead_beats >= pulse.metre:
        kind, pickup_beats = "free intro", 0.0
    return Opening(
        kind=kind,  # type: ignore[arg-type]
        confidence=sure,
        sound_start_s=edge.start_s + sound_s,
        first_downbeat_s=edge.start_s + first_bar_s,
        pickup_beats=pickup_beats,
    )


def _counted_beats(beats: float) -> float:
    """The nearest count of quarters or thirds of a beat, at least a quarter."""
    counts = [max(round(beats * parts), 1) / parts for parts in (4, 3)]
    return min(counts, key=lambda count: abs(count - beats))
