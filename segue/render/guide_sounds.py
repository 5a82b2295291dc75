"""Click and cue: what the band hears in their ears, never in the music.

The accent on beat one is the higher pitch; level and pitches are common
practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.clip import add_at
from segue.music.key import hertz_of

if TYPE_CHECKING:
    from segue.arrays import Floats, Floats32
    from segue.plan.plan import CueNote, Plan

CEILING_DBFS: Final = -12.0
"""Sample peak of both buses, whatever is planned."""
CLICK_HZ: Final = {"bar": 1_600.0, "beat": 1_000.0}
_CLICK_DB: Final = {"bar": -12.0, "beat": -15.0}
_CLICK_S: Final = 0.035  # a click lasts this long; by judgement
_ATTACK_S: Final = 0.001  # and rises within this time; by judgement
_CUE_DB: Final = -18.0  # level of the singer's cue below full scale, for ears' sake; by judgement
_CUE_FADE_S: Final = 0.04  # its start and end are rounded over this time; by judgement
# Amplitudes of its first three partials: plain, but no sine; by judgement
_CUE_PARTIALS: Final = (1.0, 0.35, 0.12)


def click_bus(plan: Plan, rate_hz: int, n_frames: int) -> Floats32:
    """The click of a plan.

    Returns
    -------
    ndarray, shape (n_frames, 1), float32
        Short tone bursts: their energy lies near 1 and 1.6 kHz at any rate.
    """
    bus = np.zeros(n_frames, dtype=np.float32)
    for hit in plan.click:
        level = 10 ** (_CLICK_DB[hit.kind] / 20)
        at = round(plan.seconds_at(hit.beat) * rate_hz)
        add_at(bus, level * _burst(CLICK_HZ[hit.kind], rate_hz), at)
    return _held(bus)


def cue_bus(plan: Plan, rate_hz: int, n_frames: int) -> Floats32:
    """The cue of a plan: soft tones at the pitch of the incoming song.

    Returns
    -------
    ndarray, shape (n_frames, 1), float32
    """
    bus = np.zeros(n_frames, dtype=np.float32)
    for note in plan.cue:
        start_s = plan.seconds_at(note.start_beat)
        length_s = plan.seconds_at(note.end_beat) - start_s
        tone = _tone(note, length_s, plan.key_to_tuning_cents, rate_hz)
        add_at(bus, tone, round(start_s * rate_hz))
    return _held(bus)


def _burst(pitch_hz: float, rate_hz: int) -> Floats:
    """A decaying tone that starts at its zero crossing and peaks at 1 at most."""
    time_s = np.arange(round(_CLICK_S * rate_hz)) / rate_hz
    rise = np.sin(np.minimum(time_s / _ATTACK_S, 1.0) * np.pi / 2) ** 2
    fall = np.cos(time_s / _CLICK_S * np.pi / 2) ** 4
    burst = rise * fall * np.sin(2 * np.pi * pitch_hz * time_s)
    scaled: Floats = burst / np.abs(burst).max()
    return scaled


def _tone(note: CueNote, length_s: float, tuning_cents: float, rate_hz: int) -> Floats:
    pitch_hz = hertz_of(note.midi, tuning_cents)
    time_s = np.arange(round(length_s * rate_hz)) / rate_hz
    tone = sum(
        share * np.sin(2 * np.pi * pitch_hz * (n + 1) * time_s)
        for n, share in enumerate(_CUE_PARTIALS)
    )
    fade_s = min(_CUE_FADE_S, length_s / 2)
    edge = np.minimum(np.minimum(time_s, length_s - time_s) / max(fade_s, 1e-9), 1.0)
    level = 10 ** (_CUE_DB / 20) / sum(_CUE_PARTIALS)
    shaped: Floats = level * np.sin(edge * np.pi / 2) ** 2 * tone
    return shaped


def _held(bus: Floats32) -> Floats32:
    """The bus as one channel, its peak at most at the ceiling."""
    ceiling = 10 ** (CEILING_DBFS / 20)
    peak = max(float(bus.max(initial=0.0)), -float(bus.min(initial=0.0)))
    if peak > ceiling:
        bus *= np.nextafter(np.float32(ceiling / peak), np.float32(0.0))
    return bus[:, None]
