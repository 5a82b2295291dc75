"""Struck and plucked notes: what comping and a bass are played on.

A note is a sum of partials, each of which dies away at its own rate, the higher the faster, as a
string's or a tine's do; a short burst of noise is the touch of the finger or the hammer. Levels,
rates and the width of the picture are set by judgement.

It is played as hard as the songs around it: next to music without hard attacks the notes start
and end softly, darker and without the touch, or they would stand out of it like a typewriter.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numba
import numpy as np

from segue.analysis.onsets import strength_of_hits_db
from segue.audio.clip import Clip, SongEdge, add_at
from segue.music.key import hertz_of
from segue.render.layer_sound import LayerSound, Ruler, at_loudness

if TYPE_CHECKING:
    from segue.arrays import Floats
    from segue.plan.layer import PlayedLayer
    from segue.plan.plan import Plan

_HIGHEST_RATIO: Final = 0.45  # of the rate: no partial above
_HUMAN_DB: Final = 1.0  # see below
_HUMAN_S: Final = 0.004
"""Notes differ by up to this much either way, as a player's do."""
_DETUNE_CENTS: Final = 5.0  # between left and right, for width; by judgement
_TAIL_S: Final = 0.5  # room after the last note
_AT_ONCE: Final = 4  # partials that `_ring` adds side by side


@dataclass(frozen=True, slots=True, kw_only=True)
class _Instrument:
    """How a note's partials start and die away.

    Parameters
    ----------
    tilt : float
        Partial number k has k to the power of minus this.
    picked_at : float
        Where on the string it is plucked, as a share; 0 leaves no partial out.
    decay, decay_more : float
        Rate a second of the first partial, and what each further one adds.
    touch : float
        Level of the burst of noise.
    width : float
        0 in the middle, 1 spread from left to right.
    release_s : float
        A note that ends dies away in this.
    """

    tilt: float
    picked_at: float
    decay: float
    decay_more: float
    attack_s: float
    touch: float
    width: float
    release_s: float = 0.09


_INSTRUMENTS: Final = {
    "keys": _Instrument(
        tilt=1.25, picked_at=0.0, decay=1.1, decay_more=0.55, attack_s=0.004, touch=0.10, width=0.8
    ),
    "pluck": _Instrument(
        tilt=0.9, picked_at=0.22, decay=1.6, decay_more=0.45, attack_s=0.002, touch=0.22, width=0.9
    ),
    "organ": _Instrument(
        tilt=1.1, picked_at=0.0, decay=0.05, decay_more=0.02, attack_s=0.012, touch=0.05, width=0.7
    ),
    "bass": _Instrument(
        tilt=1.15, picked_at=0.3, decay=0.7, decay_more=0.5, attack_s=0.006, touch=0.06, width=0.0
    ),
}


HARD_DB: Final = 7.0
"""Hits that stand out by this, as in music with drums, are answered as hard as can be."""
_SOFT_ATTACK_S: Final = 0.07  # more, where nothing around is struck
_SOFT_RELEASE_S: Final = 0.25  # more, too: softer notes hang on to each other
_SOFT_TILT: Final = 0.6  # more; by judgement, all three


_BESIDE_S: Final = 8.0  # so much of either song is listened to; by judgement


def touch_beside(plan: Plan, outgoing: SongEdge, incoming: SongEdge) -> float:
    """How hard to play between two songs, 0 softest to 1: as their hits stand out at the join."""
    found = []
    for edge, from_s, to_s in (
        (outgoing, plan.exit_source_s, -_BESIDE_S),
        (incoming, plan.entry_source_s, _BESIDE_S),
    ):
        if from_s is None:
            continue
        ends_s = sorted((from_s, from_s + to_s))
        low, high = (max(round((s - edge.start_s) * edge.rate_hz), 0) for s in ends_s)
        sound = np.sum([stem.clip.samples[low:high] for stem in edge.stems], axis=0)
        if np.any(sound):
            found.append(strength_of_hits_db(Clip(samples=sound, rate_hz=edge.rate_hz)))
    return float(np.clip(np.mean(found) / HARD_DB, 0.0, 1.0)) if found else 1.0


def _softened(instrument: _Instrument, hardness: float) -> _Instrument:
    soft = 1.0 - hardness
    return replace(
        instrument,
        tilt=instrument.tilt + _SOFT_TILT * soft,
        attack_s=instrument.attack_s + _SOFT_ATTACK_S * soft,
        release_s=instrument.release_s + _SOFT_RELEASE_S * soft,
        touch=instrument.touch * hardness**2,
    )


def struck_sound(
    layer: PlayedLayer, plan: Plan, ruler: Ruler, *, hardness: float = 1.0
) -> LayerSound:
    """Comping or a bass before its curves, at the plan's target loudness.

    Parameters
    ----------
    hardness : float
        From 0, as softly as can be, to 1; see `touch_beside`.
    """
    rate_hz = ruler.rate_hz
    instrument = _softened(_INSTRUMENTS[layer.sound], hardness)
    generator = np.random.default_rng((plan.seed, 5))
    first = max(round(plan.seconds_at(layer.start_beat) * rate_hz), 0)
    end = round((plan.seconds_at(layer.end_beat) + _TAIL_S) * rate_hz)
    bus = np.zeros((max(min(end, ruler.n_frames) - first, 0), 2))
    glides_until = layer.voicings[0].end_beat
    for note in layer.notes:
        late_s = float(generator.uniform(0.0, _HUMAN_S))
        loud_db = note.gain_db + float(generator.uniform(-_HUMAN_DB, _HUMAN_DB))
        start_s, end_s = (plan.seconds_at(beat) for beat in (note.start_beat, note.end_beat))
        start_s = max(start_s - instrument.attack_s / 3, first / rate_hz)  # heard on its beat
        cents = (
            plan.key_from_tuning_cents
            if note.start_beat < glides_until
            else plan.key_to_tuning_cents
        )
        sound = _note(note.midi + cents / 100, end_s - start_s, instrument, rate_hz, generator)
        at = round((start_s + late_s) * rate_hz) - first
        add_at(bus, 10 ** (loud_db / 20) * sound, at)
    samples = at_loudness(bus.astype(np.float32), plan.target_lufs, rate_hz)
    return LayerSound(samples=samples, first_frame=first)


def _note(
    midi: float,
    length_s: float,
    instrument: _Instrument,
    rate_hz: int,
    generator: np.random.Generator,
) -> Floats:
    """One note on two channels."""
    pitch_hz = hertz_of(midi)
    numbers = np.arange(1, max(int(_HIGHEST_RATIO * rate_hz / pitch_hz), 1) + 1)[:40]
    sizes = numbers**-instrument.tilt
    if instrument.picked_at:
        sizes = sizes * np.abs(np.sin(np.pi * numbers * instrument.picked_at))
    decays = instrument.decay + instrument.decay_more * (numbers - 1)
    n_frames = round((max(length_s, 0.03) + instrument.release_s) * rate_hz)
    out = np.zeros((n_frames, 2))
    stiff = np.sqrt(1 + 1e-4 * numbers**2)
    side = np.clip((midi - 60) / 24, -1.0, 1.0) * 0.4 * instrument.width
    turns = generator.random((2 if instrument.width else 1, len(numbers)))
    for channel, sign in enumerate((-1.0, 1.0)):
        if channel and not instrument.width:
            out[:, channel] = out[:, 0]
            break
        detune = 2 ** (sign * instrument.width * _DETUNE_CENTS / 2400)
        level = np.cos((sign * -side + 1) * np.pi / 4) * np.sqrt(2)
        partials = np.zeros((4, -(-len(numbers) // _AT_ONCE) * _AT_ONCE))
        partials[:, : len(numbers)] = (
            2 * np.pi * pitch_hz * detune * numbers * stiff / rate_hz,
            level * sizes / np.sqrt(np.square(sizes).sum()),
            np.exp(-decays / rate_hz),
            2 * np.pi * turns[channel % len(turns)],
        )
        _ring(out[:, channel], *partials)
    burst = round(0.012 * rate_hz)
    noise = (
        generator.standard_normal((burst, 2)) * np.exp(-np.arange(burst) / (0.3 * burst))[:, None]
    )
    out[: len(noise)] += instrument.touch * noise[: len(out)]
    shape = np.ones(n_frames)
    rise, fall = round(instrument.attack_s * rate_hz), round(instrument.release_s * rate_hz)
    shape[:rise] = np.sin((np.arange(rise) + 0.5) / max(rise, 1) * np.pi / 2) ** 2
    shape[-fall:] *= np.cos((np.arange(fall) + 0.5) / max(fall, 1) * np.pi / 2) ** 2
    return out * shape[:, None]


@numba.njit(cache=True, nogil=True)
def _ring(onto, steps, sizes, decays, phases):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Add cosines that die away, a multiple of four: each step waits for the one before it.

    Four side by side take half as long as one by one, and are added in the same order.
    """
    for i in range(0, len(steps), 4):
        a, b = _turned(phases[i], sizes[i]), _turned(phases[i + 1], sizes[i + 1])
        c, d = _turned(phases[i + 2], sizes[i + 2]), _turned(phases[i + 3], sizes[i + 3])
        turn_a, turn_b = _turned(steps[i], decays[i]), _turned(steps[i + 1], decays[i + 1])
        turn_c, turn_d = _turned(steps[i + 2], decays[i + 2]), _turned(steps[i + 3], decays[i + 3])
        for frame in range(len(onto)):
            onto[frame] = onto[frame] + a.real + b.real + c.real + d.real
            a, b, c, d = a * turn_a, b * turn_b, c * turn_c, d * turn_d
            if frame % 256 == 0:
                a, b = _heard(a, sizes[i]), _heard(b, sizes[i + 1])
                c, d = _heard(c, sizes[i + 2]), _heard(d, sizes[i + 3])
                if a == 0 and b == 0 and c == 0 and d == 0:
                    break


@numba.njit(cache=True, nogil=True)
def _turned(angle, size):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    return complex(np.cos(angle), np.sin(angle)) * size


@numba.njit(cache=True, nogil=True)
def _heard(value, size):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """A partial, or nothing once it is 100 dB below where it began."""
    return value if abs(value) >= 1e-5 * size else 0j
