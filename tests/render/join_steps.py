"""Where layers and copies join, and the steps of the sound there against those around.

A song's own attacks are not the join's: they are left out where it is known that they fall.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from segue.plan.layer import DrumLayer, PlayedLayer, SongLayer, SweepLayer
from segue.render import render_candidate
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
    """Plan seconds of all hits and struck notes, and of the first sounds of the new song."""
    found = []
    for layer in plan.layers:
        if isinstance(layer, DrumLayer):
            found += [plan.seconds_at(hit.beat) for hit in layer.hits]
        elif isinstance(layer, PlayedLayer):
            found += [plan.seconds_at(note.start_beat) for note in layer.notes]
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


def clicking(one):
    """Joins with a larger step than the music around has, by no fault of other layers.

    Where the side as a whole has such a step, it may be a crest of a pad, or of noise that grows
    up to that very beat. So the layer is looked at by itself: a click at its edge is in it.
    """
    plan = one.plan
    ratios = step_ratios(one.candidate, plan, attacks_s(one, plan))
    assert ratios
    steep = [join for join, ratio in ratios.items() if ratio > 1.0]
    if not steep:
        return []
    flat = replace(plan, bridge_lu=())  # alone it would be ridden up
    whole = render_candidate(flat, one.old.edge, one.new.edge)
    return [join for join in steep if _own_ratio(one, flat, whole, join) > 1.0]


def _own_ratio(one, flat, whole, join):
    """The largest step of a layer alone at its join, against the steps of its whole side."""
    own = tuple(layer for layer in flat.layers if layer.name == join.layer)
    alone = render_candidate(replace(flat, layers=own), one.old.edge, one.new.edge)
    rate_hz = whole.music.rate_hz
    near, far, at = (round(second * rate_hz) for second in (NEAR_S, AROUND_S, join.at_s))
    steps, usual = (
        np.abs(np.diff(getattr(candidate, join.side).samples, axis=0)).max(axis=1)
        for candidate in (alone, whole)
    )
    free = is_free(whole.music.n_frames - 1, rate_hz, attacks_s(one, flat))
    close = slice(at - near, at + near)
    largest = steps[close][free[close]].max()
    return float(largest / np.percentile(usual[max(at - far, 0) : at + far], STEP_PERCENTILE))


def clicks_in(sound, rate_hz):
    from scipy.signal import butter, sosfiltfilt

    sections = butter(6, TONES_BELOW_HZ, "highpass", fs=rate_hz, output="sos")
    return sosfiltfilt(sections, sound.astype(np.float64), axis=0)
