"""What the order of notes says of the key: nets that look at an edge segment by segment.

A melody rests on some notes, a loop turns somewhere, and phrases begin on some bars; none of it
is left in means over an edge. Small temporal convolutional nets with dilated, residual layers
(as in `segue.analysis.beat_net`) see the registers of every segment from each of the twelve
tonics, where in the edge the segment is and how many bars off it, and look at some segments
more than at others before they judge [B15]_. Their weights are in ``key_sequence.npz``.
``benchmarks.fit_key_sequence`` fits them; each has heard three quarters of the songs.

References
----------
.. [B15] D. Bahdanau, K. Cho and Y. Bengio, "Neural machine translation by jointly learning to
   align and translate", International Conference on Learning Representations, 2015.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.envelope import stored_tables
from segue.analysis.key_evidence import fading, from_edge, sounding_share
from segue.music.key import ALL_KEYS, N_PITCH_CLASSES

if TYPE_CHECKING:
    from segue.analysis.key_segments import NoteFrames
    from segue.arrays import Floats, Floats32


MOST_SEGMENTS: Final = 176  # segments nearest to the edge that are seen, as the nets learned it
_NEAR_SEGMENTS: Final = (1.5, 6.0, 24.0)
"""How fast three looks at the edge fall off, in segments; by judgement."""
_FAR_SEGMENTS: Final = 4.0  # segments by which a look at the far end falls off; by judgement
_ROUNDS_BARS: Final = (2, 4, 8)  # bars after which a phrase comes round
_FEWEST_BARS: Final = 3  # with fewer downbeats bars are not counted; by judgement
_LEVELS: Final = (-6.0, 4.0, 0.3)  # octaves at which levels are cut off, and their scale
_USUAL_LENGTH: Final = 0.7  # minus the logarithm of a usual segment's seconds
_TINY: Final = 1e-5  # keeps a division by the spread away from zero


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SequenceNets:
    """Weights of several nets, as matrices that are multiplied from the right.

    Parameters
    ----------
    first, first_bias : ndarray, shapes (n_nets, n_seen, n_units), (n_nets, 1, 1, n_units)
    scales, shifts : ndarray, shape (n_layers + 1, n_nets, 1, 1, n_units)
        What each layer's input, and the last layer's output, is brought to.
    taps, tap_biases : ndarray
        Shapes (n_layers, n_nets, 3 * n_units, n_units), (n_layers, n_nets, 1, 1, n_units):
        layers that see three segments 1, 2, 4, ... apart.
    looks, looks_bias : ndarray, shapes (n_nets, n_units, n_looks), (n_nets, 1, 1, n_looks)
        Which segments are looked at.
    hidden, hidden_bias, modes, modes_bias : ndarray
        From what the looks and the mean saw to major and minor.
    """

    first: Floats32
    first_bias: Floats32
    scales: Floats32
    shifts: Floats32
    taps: Floats32
    tap_biases: Floats32
    looks: Floats32
    looks_bias: Floats32
    hidden: Floats32
    hidden_bias: Floats32
    modes: Floats32
    modes_bias: Floats32


def sequence_scores(frames: NoteFrames) -> Floats:
    """Logarithms of the chances of all keys by one cut, mean of the nets, shape (24,)."""
    nets = _nets()
    near = slice(0, MOST_SEGMENTS) if frames.is_start else slice(-MOST_SEGMENTS, None)
    notes = frames.notes[near]
    places, weight = (table[near] for table in segment_places(frames))
    turned = [np.roll(notes, -t, axis=2).reshape(len(notes), -1) for t in range(N_PITCH_CLASSES)]
    seen = np.concatenate(
        [np.stack(turned), np.broadcast_to(places, (N_PITCH_CLASSES, *places.shape))], axis=2
    ).astype(np.float32)
    state = np.maximum(seen @ nets.first[:, None] + nets.first_bias, 0.0)
    for number, taps in enumerate(nets.taps):
        level = _level(state, nets, number)
        heard = _around(level, 2**number) @ taps[:, None] + nets.tap_biases[number]
        state = state + np.maximum(heard, 0.0)
    state = _level(state, nets, len(nets.taps))
    looked = _shares(state @ nets.looks[:, None] + nets.looks_bias, axis=2)
    means = np.concatenate(
        [np.swapaxes(looked, 2, 3) @ state, weight.astype(np.float32) @ state[..., None, :, :]],
        axis=2,
    ).reshape(len(state), N_PITCH_CLASSES, -1)
    units = np.maximum(means @ nets.hidden + nets.hidden_bias, 0.0)
    raw = np.swapaxes(units @ nets.modes + nets.modes_bias, 1, 2).reshape(-1, len(ALL_KEYS))
    return np.asarray(np.log(_shares(raw, axis=1) + np.float32(1e-12)).mean(axis=0), np.float64)


def segment_places(frames: NoteFrames) -> tuple[Floats, Floats]:
    """What is told of a segment besides its notes, shape (n_segments, 17), and its weight.

    Level, downbeat, how near it is to the edge (of a start, of an end) and to the far end, where
    it is in rounds of bars, and how long it is.
    """
    n_segments = len(frames.level)
    weight = sounding_share(frames.level)
    inward, outward = from_edge(weight, frames)
    near = [fading(inward, reach) for reach in _NEAR_SEGMENTS]
    nothing = [np.zeros(n_segments)] * len(near)
    low, high, scale = _LEVELS
    columns = [
        np.clip(frames.level, low, high) * scale,
        frames.downbeat,
        np.where(frames.downbeat > 0, 1.0, 0.0),
        *((*near, *nothing) if frames.is_start else (*nothing, *near)),
        np.exp(-np.maximum(outward, 0) / _FAR_SEGMENTS),
        *_rounds(frames),
        np.full(n_segments, float(frames.is_start)),
        np.full(n_segments, np.log(np.median(frames.length_s)) + _USUAL_LENGTH),
    ]
    return np.stack(columns, axis=1), weight / max(float(weight.sum()), _TINY)


def _rounds(frames: NoteFrames) -> list[Floats]:
    """Where each segment's bar is in rounds of bars, counted from the edge."""
    is_down = frames.downbeat > 0
    count = np.cumsum(is_down)
    n_bars = int(count[-1])
    bar = count - 1 if frames.is_start else n_bars - count
    told = (count > 0) * float(n_bars >= _FEWEST_BARS) * frames.downbeat.sum() / max(n_bars, 1)
    turns = [2.0 * np.pi * bar / length for length in _ROUNDS_BARS]
    return [*(told * np.cos(turn) for turn in turns), *(told * np.sin(turn) for turn in turns[1:])]


def _level(state: Floats32, nets: SequenceNets, number: int) -> Floats32:
    """Each segment's units without their mean, at one spread, then as the layer wants them."""
    even = state - state.mean(axis=-1, keepdims=True)
    even /= np.sqrt((even * even).mean(axis=-1, keepdims=True) + np.float32(_TINY))
    return np.asarray(even * nets.scales[number] + nets.shifts[number])


def _around(state: Floats32, apart: int) -> Floats32:
    """Each segment beside those before and after it, silence beyond the ends."""
    n_segments = state.shape[2]
    padded = np.pad(state, ((0, 0), (0, 0), (apart, apart), (0, 0)))
    return np.concatenate(
        [padded[:, :, tap * apart : tap * apart + n_segments] for tap in range(3)], axis=3
    )


def _shares(odds: Floats32, *, axis: int) -> Floats32:
    raised = np.exp(odds - odds.max(axis=axis, keepdims=True))
    return np.asarray(raised / raised.sum(axis=axis, keepdims=True))


@lru_cache(maxsize=1)
def _nets() -> SequenceNets:
    tables = stored_tables("key_sequence.npz")
    return SequenceNets(**{name: table.astype(np.float32) for name, table in tables.items()})
