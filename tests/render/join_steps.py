"""Where layers and copies join, and the steps of the sound there against those around.

A song's own attacks are not the join's: they are left out where it is known that they fall.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from segue.plan.layer import DrumLayer, SongLayer, SweepLayer
from segue.render.time_map import time_map_of

AROUND_S: Final = 1.0
NEAR_S: Final = 0.02
"""A join lies within this of where it is planned; no fade is longer."""
ATTACK_S: Final = (-0.002, 0.045)
"""Of a hit or a first sound, and of what a filter without delay shows before it."""
TONES_BELOW_HZ: Final = 5_000.0
"""Nothing of the made songs but their drums is higher than half of this."""
STEP_PERCENTILE: Final = 99.99
SILENT: Final = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Join:
    """Where a layer begins or ends, or changes between copied and stretched."""

    layer: str
    side: str
    at_s: float


def joins(plan):
    """All joins but those of noise and drums, whose ends are attacks of their own."""
    found = []
    for layer in plan.layers:
        if isinstance(layer, DrumLayer | SweepLayer):
            continue
        is_song = isinstance(layer, SongLayer)
        side = layer.song if is_song else "interlude"
        ends_s = [plan.seconds_at(beat) for beat in (layer.start_beat, layer.end_beat)]
        spans = time_map_of(layer.time_map, plan).spans()[1:] if is_song else ()
        found += [
            Join(layer=layer.name, side=side, at_s=at_s)
            for at_s in (*ends_s, *(span.start_s for span in spans))
            if NEAR_S < at_s < plan.duration_s - NEAR_S
        ]
    return found


def attacks_s(one, plan):
    """Plan seconds of all hits, and of the first sounds of the new song."""
    found = []
    for layer in plan.layers:
        if isinstance(layer, DrumLayer):
            found += [plan.seconds_at(hit.beat) for hit in layer.hits]
        elif isinstance(layer, SongLayer):
            song = one.old if layer.song == "outgoing" else one.new
            own_s = list(song.score.hits_s)
            if song.facts.opening is not None:
                own_s += [song.facts.opening.sound_start_s, song.score.first_beat_s]
            found += list(time_map_of(layer.time_map, plan).plan_at(np.array(own_s)))
    return found


def is_free(n_frames, rate_hz, taken_s):
    free = np.ones(n_frames, dtype=bool)
    for second in taken_s:
        low, high = (max(round((second + edge) * rate_hz), 0) for edge in ATTACK_S)
        free[low:high] = False
    return free


def step_ratios(candidate, plan, taken_s, *, is_tonal=False):
    """The largest step at every join, against what the material around has, both on its side.

    Of tones alone, what is heard above them counts instead: nothing but a click is there.
    """
    rate_hz = candidate.music.rate_hz
    near, far = round(NEAR_S * rate_hz), round(AROUND_S * rate_hz)
    free = is_free(candidate.music.n_frames - 1, rate_hz, taken_s)
    ratios = {}
    for side in ("outgoing", "interlude", "incoming"):
        sound = getattr(candidate, side).samples
        steps = np.abs(np.diff(sound, axis=0)).max(axis=1)
        there = np.abs(clicks_in(sound, rate_hz)).max(axis=1)[1:] if is_tonal else steps
        for join in (join for join in joins(plan) if join.side == side):
            at = round(join.at_s * rate_hz)
            usual = np.percentile(steps[max(at - far, 0) : at + far], STEP_PERCENTILE)
            close = slice(at - near, at + near)
            if free[close].any() and usual > SILENT:
                ratios[join] = float(there[close][free[close]].max() / usual)
    return ratios


def clicks_in(sound, rate_hz):
    from scipy.signal import butter, sosfiltfilt

    sections = butter(6, TONES_BELOW_HZ, "highpass", fs=rate_hz, output="sos")
    return sosfiltfilt(sections, sound.astype(np.float64), axis=0)
