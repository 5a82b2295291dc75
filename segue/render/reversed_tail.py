"""A song's own sound in a long hall, backwards, growing into its last beat.

The hall is noise that dies away evenly, faster at the top, as measured halls do
[Moo79]_, made as long as the layer so that the growth spans it whole.

References
----------
.. [Moo79] J. A. Moorer, "About this reverberation business", Computer Music
   Journal 3(2), 1979, 13-28 (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.clip import Clip, excerpt
from segue.audio.loudness import integrated_lufs
from segue.render.layer_sound import (
    LayerSound,
    at_peak_loudness,
    faded,
    frames_of,
    mix_played_whole,
)

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.audio.clip import SongEdge
    from segue.plan.layer import ReversedLayer
    from segue.plan.plan import Plan
    from segue.render.layer_sound import Ruler

GROWTH_DB: Final = 48.0
"""From the first frame to the last; set by judgement."""
_DARKER_ABOVE_HZ: Final = 2_500.0  # a hall loses its top sooner from about here; by judgement
_HIGH_DECAY_RATIO: Final = 1.7  # so many times sooner; by judgement
_HALL_FROM_HZ: Final = 120.0  # its bass is left out, which would be mud; by judgement
_HEARD_RATIO: Final = 0.03  # the chord is there from this share of its peak on; by judgement
_LEVEL_S: Final = 0.08  # width of the two means that make its level curve; by judgement
_MOST_LED_DB: Final = 18.0  # the level is led by no more, up or down; by judgement
_TINY: Final = 1e-18  # keeps the logarithm of silence finite
_IN_S, _OUT_S = 0.05, 0.008  # fades of its far end and of its near end; by judgement
_WORTH_SAYING_S: Final = 0.05  # less that is missing is not told; by judgement


def reversed_sound(
    layer: ReversedLayer, edge: SongEdge, plan: Plan, ruler: Ruler, level_db: float
) -> LayerSound:
    """The reversed tail before its curves.

    Parameters
    ----------
    level_db : float
        Level match of the song.

    Returns
    -------
    LayerSound
        At its loudest as loud (momentary) as the excerpt is on the whole.
    """
    from scipy.signal import oaconvolve

    first, last = frames_of(layer, plan, ruler)
    source = edge.sum_of(*layer.roles) if edge.has_stems else edge.mix
    if source is None or last <= first:
        asked = " and ".join(layer.roles)
        silence = np.zeros((max(last - first, 0), 2), dtype=np.float32)
        note = f"'{layer.name}' is silent: {edge.title} has no stem for {asked}."
        return LayerSound(samples=silence, first_frame=first, notes=(note,))
    begin = round((layer.source_s - edge.start_s) * edge.rate_hz)
    dry = _from_its_start(excerpt(source.samples, begin, round(layer.length_s * edge.rate_hz)))
    response = _response(last - first, edge.rate_hz, np.random.default_rng((plan.seed, 3)))
    wet = oaconvolve(faded(dry, edge.rate_hz, in_s=_OUT_S, out_s=_OUT_S), response, axes=0)
    grown = np.ascontiguousarray(wet[: last - first][::-1], dtype=np.float32)
    grown = _growing(grown, edge.rate_hz)
    wanted_lufs = integrated_lufs(Clip(samples=dry, rate_hz=edge.rate_hz))
    sound = faded(grown, edge.rate_hz, in_s=_IN_S, out_s=_OUT_S)
    sound = at_peak_loudness(sound, wanted_lufs, edge.rate_hz)
    sound *= np.float32(10 ** (level_db / 20))
    return LayerSound(samples=sound, first_frame=first, notes=_notes(layer, edge))


def _from_its_start(dry: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """The excerpt without the near-silence before it, which would be a hole at the end."""
    level = np.abs(dry).max(axis=1)
    heard = np.flatnonzero(level > _HEARD_RATIO * level.max(initial=0.0))
    return dry[int(heard[0]) :] if len(heard) else dry


def _growing(sound: npt.NDArray[np.float32], rate_hz: int) -> npt.NDArray[np.float32]:
    """The sound led to an even growth, without the excerpt's own dips and bumps."""
    from scipy.ndimage import uniform_filter1d

    width = round(_LEVEL_S * rate_hz)
    power = np.square(sound, dtype=np.float64).sum(axis=1)
    level_db = 10 * np.log10(uniform_filter1d(uniform_filter1d(power, width), width) + _TINY)
    wanted_db = level_db.max(initial=-np.inf) - GROWTH_DB * np.arange(len(sound), 0, -1) / len(
        sound
    )
    led_db = np.clip(wanted_db - level_db, -_MOST_LED_DB, _MOST_LED_DB)
    gains = 10 ** (uniform_filter1d(led_db, width) / 20)
    return (sound * gains[:, None]).astype(np.float32)


def _response(
    n_frames: int, rate_hz: int, generator: np.random.Generator
) -> npt.NDArray[np.float64]:
    """How the hall answers a clap, in both channels."""
    from scipy.signal import butter, sosfiltfilt

    noise = generator.standard_normal((n_frames, 2))
    level_db = -GROWTH_DB * np.arange(n_frames) / n_frames
    low = sosfiltfilt(butter(1, _DARKER_ABOVE_HZ, fs=rate_hz, output="sos"), noise, axis=0)
    hall = low * 10 ** (level_db / 20)[:, None]
    hall += (noise - low) * 10 ** (_HIGH_DECAY_RATIO * level_db / 20)[:, None]
    bass_cut = butter(1, _HALL_FROM_HZ, "highpass", fs=rate_hz, output="sos")
    response: npt.NDArray[np.float64] = sosfiltfilt(bass_cut, hall, axis=0)
    return response


def _notes(layer: ReversedLayer, edge: SongEdge) -> tuple[str, ...]:
    short_s = max(edge.start_s - layer.source_s, 0.0)
    short_s += max(layer.source_s + layer.length_s - edge.end_s, 0.0)
    notes = []
    if short_s > _WORTH_SAYING_S:
        notes.append(f"'{layer.name}' takes {short_s:.1f} s that were not decoded as silence.")
    if layer.roles and not edge.has_stems:
        notes.append(mix_played_whole(layer.name, layer.roles, edge.title))
    return tuple(notes)
