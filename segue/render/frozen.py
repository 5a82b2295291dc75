"""A moment of a song held as long as it is wanted.

The moment's partials go on as steady tones, each from the phase it has there,
so that the first instant continues the song; nothing is looped and nothing
pulses. Each partial's two channels then wander apart in phase, slowly and each
in its own way, which makes the held sound wide and alive without moving the
level of either channel. The air between the partials goes on as noise of the
same colour.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numba
import numpy as np

from segue.audio.clip import SongEdge, excerpt
from segue.music.key import hertz_of
from segue.render.frozen_partials import MOMENT_S, Partials, partials_of
from segue.render.layer_sound import LayerSound, Ruler, faded, frames_of, values_along
from segue.render.separate import separated

if TYPE_CHECKING:
    from segue.arrays import Flags, Floats, Floats32
    from segue.plan.layer import FrozenLayer
    from segue.plan.plan import Plan

LEAD_S: Final = 0.01
"""It fades in over this time before its first beat, where a song layer fades out by default."""
_FADE_OUT_S: Final = 0.03  # its end is cut off without a click over this time; by judgement
_AROUND_S: Final = 0.8
"""Sound on both sides of the moment from which its sustained part is told."""
_BLOCK_S: Final = 0.004  # phases and sizes run straight between points so far apart
_WANDER_HZ: Final = (0.05, 0.22)  # slowest and quickest sway of a partial's phase; by judgement
_WANDER_TURNS: Final = 0.35  # how far a phase sways, in half turns a sine; by judgement
_WANDER_AFTER_S: Final = 1.5  # the sway opens over this time from the start; by judgement
_WIDE_FROM_HZ: Final = 180.0
"""Lower partials stay as they are placed; a wandering bass would be hollow in the room."""
# Partials fade out just below this share of the rate, so that none folds
_HIGHEST_RATIO: Final = 0.45
_KEPT_CENTS: Final = 25.0  # a partial this near one of a common tone's stays; by judgement
_KEPT_PARTIALS: Final = 16
"""Higher partials lie so close that any tone's would pass for them."""
_TELLING_PARTIALS: Final = 3
"""Without one of its first partials, a tone is not there."""
_MOST_MAKEUP_DB: Final = 6.0  # what is taken out is made up for by no more; by judgement


def frozen_sound(
    layer: FrozenLayer, edge: SongEdge, plan: Plan, ruler: Ruler, level_db: float
) -> LayerSound:
    """The held moment, before its curves of gain, filter and pan.

    Returns
    -------
    LayerSound
        At the level of the song's sustained part at that moment.
    """
    first, last = frames_of(layer, plan, ruler)
    lead = min(round(LEAD_S * ruler.rate_hz), first)
    part = ruler.part(first - lead, last)
    generator = np.random.default_rng((plan.seed, 1))
    moment_s = layer.source_s if layer.song == "outgoing" else _there_s(edge, layer.source_s)
    partials = partials_of(_moment(edge, moment_s), edge.rate_hz)
    cents = plan.key_from_tuning_cents if layer.song == "outgoing" else plan.key_to_tuning_cents
    kept = _kept(partials, layer.tone_midi, cents)
    thinning = np.clip(values_along(layer.thinning, part), 0.0, 1.0) if kept.any() else None
    sound = _tones(partials, kept, layer, part, thinning, lead, generator)
    air = _air(partials, part.n_frames, generator)
    if thinning is not None:
        air *= (1.0 - thinning)[:, None]
    sound += air
    sound *= 10 ** (level_db / 20)
    samples = faded(
        sound.astype(np.float32), ruler.rate_hz, in_s=lead / ruler.rate_hz, out_s=_FADE_OUT_S
    )
    return LayerSound(
        samples=samples, first_frame=first - lead, notes=_notes(layer, edge, partials, kept)
    )


_SEARCHED_S: Final = 4.0  # from its start on a song that swells is waited for...
_STEP_S: Final = 0.2  # ...in steps of this...
_THERE_SHARE: Final = 0.25  # ...until it has such a share of its power there, 6 dB. By judgement


def _there_s(edge: SongEdge, from_s: float) -> float:
    """The first moment from a time on at which a song that swells from nothing is there."""
    mix = edge.mix
    first, step = round((from_s - mix.start_s) * mix.rate_hz), round(_STEP_S * mix.rate_hz)
    part = excerpt(mix.samples, first, round(_SEARCHED_S / _STEP_S) * step)
    power = np.square(part, dtype=np.float64).sum(axis=1).reshape(-1, step).mean(axis=1)
    return from_s + _STEP_S * int(np.argmax(power >= _THERE_SHARE * power.max()))


def _moment(edge: SongEdge, source_s: float) -> Floats32:
    """The sustained part of the sound around a moment, an even number of frames."""
    rate_hz = edge.rate_hz
    half, around = round(MOMENT_S * rate_hz / 2), round(_AROUND_S * rate_hz)
    centre = round((source_s - edge.start_s) * rate_hz)
    centre = max(min(centre, edge.mix.n_frames - half), half)
    stems = [stem.role for stem in edge.stems if stem.role != "drums"]
    source = edge.sum_of(*stems) if stems else None
    sound = excerpt((source or edge.mix).samples, centre - around, 2 * around)
    return separated(sound, "harmonic", rate_hz)[around - half : around + half]


def _kept(partials: Partials, tone_midi: float | None, tuning_cents: float) -> Flags:
    """Which partials belong to the tone."""
    if tone_midi is None or not len(partials.hertz):
        return np.zeros(len(partials.hertz), dtype=bool)
    tone_hz = hertz_of(tone_midi, tuning_cents)
    number = np.maximum(np.round(partials.hertz / tone_hz), 1.0)
    off_cents = 1200 * np.log2(partials.hertz / (number * tone_hz))
    kept: Flags = (np.abs(off_cents) <= _KEPT_CENTS) & (number <= _KEPT_PARTIALS)
    return kept if (kept & (number <= _TELLING_PARTIALS)).any() else np.zeros_like(kept)


def _tones(  # noqa: PLR0913 - all that a bank of tones needs
    partials: Partials,
    kept: Flags,
    layer: FrozenLayer,
    part: Ruler,
    thinning: Floats | None,
    lead: int,
    generator: np.random.Generator,
) -> Floats:
    """All partials as steady tones that wander apart, (n_frames, 2)."""
    block = max(round(_BLOCK_S * part.rate_hz), 1)
    n_blocks = -(-part.n_frames // block) + 1
    knots = np.minimum(np.arange(n_blocks) * block, part.n_frames - 1)
    bend = 2 ** (values_along(layer.pitch_semitones, part)[knots] / 12)
    since_s = (np.arange(n_blocks) * block - lead) / part.rate_hz
    hertz = partials.hertz[None, :] * bend[:, None]
    # phase at each knot: the integral of the frequency, through the moment's own phase at the beat
    turned = np.concatenate(([0.0], np.cumsum((bend[1:] + bend[:-1]) / 2 * block / part.rate_hz)))
    turned -= np.interp(0.0, since_s, turned)
    phases = 2 * np.pi * turned[:, None] * partials.hertz[None, :]
    levels = np.clip((_HIGHEST_RATIO - hertz / part.rate_hz) / 0.03, 0.0, 1.0)
    if thinning is not None:
        levels = levels * _thinned(partials, kept, thinning[knots])
    wander = _wander(partials.hertz, np.maximum(since_s, 0.0), generator)
    sound = np.zeros((part.n_frames, 2))
    for channel, side in enumerate((1.0, -1.0)):
        paths = phases + np.angle(partials.amplitudes[:, channel])[None, :] + side * wander
        sizes = levels * np.abs(partials.amplitudes[:, channel])[None, :]
        _add_tones(
            sound[:, channel], np.ascontiguousarray(paths.T), np.ascontiguousarray(sizes.T), block
        )
    return sound


def _thinned(partials: Partials, kept: Flags, thinning: Floats) -> Floats:
    """Factor of each partial at each knot; the loudness lost is made up for in part."""
    power = np.square(np.abs(partials.amplitudes)).sum(axis=1)
    factors = np.where(kept[None, :], 1.0, 1.0 - thinning[:, None])
    left = (factors**2 * power[None, :]).sum(axis=1) / power.sum()
    makeup = np.minimum(1 / np.sqrt(np.maximum(left, 1e-12)), 10 ** (_MOST_MAKEUP_DB / 20))
    shared: Floats = factors * makeup[:, None]
    return shared


def _wander(hertz: Floats, since_s: Floats, generator: np.random.Generator) -> Floats:
    """Half the difference in phase between the channels, (n_knots, n_partials)."""
    low, high = _WANDER_HZ
    speeds = generator.uniform(low, high, (2, len(hertz)))
    turns = generator.random((2, len(hertz)))
    path = sum(
        np.sin(2 * np.pi * (since_s[:, None] * speed + turn)) - np.sin(2 * np.pi * turn)
        for speed, turn in zip(speeds, turns, strict=True)
    )
    opening = np.clip(since_s / _WANDER_AFTER_S, 0, 1)[:, None] ** 2
    width = np.clip(np.log2(hertz / _WIDE_FROM_HZ), 0.0, 1.0)[None, :]
    wander: Floats = np.pi * _WANDER_TURNS * opening * width * path
    return wander


@numba.njit(cache=True, nogil=True)
def _add_tones(onto, phases, sizes, block):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Add cosines whose phase and size run straight between knots."""
    for tone in range(phases.shape[0]):
        for knot in range(phases.shape[1] - 1):
            start = knot * block
            stop = min(start + block, onto.shape[0])
            size, size_end = sizes[tone, knot], sizes[tone, knot + 1]
            if size == 0.0 and size_end == 0.0:
                continue
            step = (phases[tone, knot + 1] - phases[tone, knot]) / block
            turn = complex(np.cos(step), np.sin(step))
            now = complex(np.cos(phases[tone, knot]), np.sin(phases[tone, knot]))
            grow = (size_end - size) / block
            for frame in range(start, stop):
                onto[frame] += size * now.real
                now *= turn
                size += grow


def _air(partials: Partials, n_frames: int, generator: np.random.Generator) -> Floats:
    """Noise with the colour of what lies between the partials, its channels independent."""
    window = partials.air_window
    hop = window // 4
    n_hops = n_frames // hop + 5
    shape = np.hanning(window + 1)[:-1]
    scale = np.sqrt(window / 1.5)  # squared windows add up to 1.5
    out = np.zeros(((n_hops + 4) * hop, 2))
    for at in range(0, n_hops * hop, hop):
        turns = np.exp(2j * np.pi * generator.random(partials.air.shape))
        noise = np.fft.irfft(partials.air * turns, n=window, axis=0) * scale
        out[at : at + window] += noise[: len(out) - at] * shape[:, None][: len(out) - at]
    return out[4 * hop : 4 * hop + n_frames]


def _notes(layer: FrozenLayer, edge: SongEdge, partials: Partials, kept: Flags) -> tuple[str, ...]:
    notes = []
    if not len(partials.hertz):
        notes.append(f"'{layer.name}' holds next to nothing: {edge.title} has no tone there.")
    elif layer.thinning and layer.tone_midi is not None and not kept.any():
        notes.append(f"'{layer.name}' is not thinned: {edge.title} has no partial of its tone.")
    if not edge.start_s <= layer.source_s <= edge.end_s:
        notes.append(f"'{layer.name}' holds the nearest moment of {edge.title} that was decoded.")
    return tuple(notes)
