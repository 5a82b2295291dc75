"""How likely a beat, and a downbeat, is at every moment: a small neural net's opinion.

A temporal convolutional network with dilated, residual layers [BD20]_ looks at the spectrum of
onsets and at semitones, two hops at a time, with some twenty seconds to both sides. Its weights
in ``beat_net.npz`` were learned by ``benchmarks/learn_beats.py`` from rendered songs; here they
are only multiplied.

References
----------
.. [BD20] S. Böck and M. E. P. Davies, "Deconstruct, analyse, reconstruct: How to improve tempo,
   beat, and downbeat estimation", Proceedings of the 21st International Society for Music
   Information Retrieval Conference, 2020.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage

from segue.analysis.envelope import stored_tables
from segue.analysis.onsets import HOP_S

if TYPE_CHECKING:
    from segue.arrays import Floats32


FRAME_HOPS: Final = 2
"""Hops to a frame of the net, as it was learned."""
FRAME_S: Final = FRAME_HOPS * HOP_S
"""Length of a frame of the net."""
SLOWEST_BPM: Final = 40.0  # the slowest tempo the net knows
FASTEST_BPM: Final = 220.0
"""Tempi between which the net has an opinion: those of `metre`."""
N_TEMPI: Final = 60
"""Steps of the tempo's opinion, even on a logarithmic scale."""
N_METRES: Final = 3
"""Two, three and four beats a bar."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Opinion:
    """What the net holds of an edge.

    Parameters
    ----------
    beat, downbeat : ndarray, shape (n_frames,)
        Log odds of a beat and of a downbeat at frames of `FRAME_S`.
    tempo : ndarray, shape (N_TEMPI,)
        Log likelihood of each tempo.
    metre : ndarray, shape (N_METRES,)
        Log likelihood of two, three and four beats a bar.
    """

    beat: Floats32
    downbeat: Floats32
    tempo: Floats32
    metre: Floats32


def net_input(levels: Floats32, semitones: Floats32) -> Floats32:
    """What the net looks at, shape (n_frames, n_columns).

    Parameters
    ----------
    levels : ndarray, shape (n_hops, n_filters)
        Compressed levels of the onset spectrum at hops of `HOP_S`.
    semitones : ndarray, shape (n_steps, n_semitones)
        Compressed levels of semitones at steps of two frames.
    """
    n_frames = len(levels) // FRAME_HOPS
    rise = np.zeros_like(levels)
    before = ndimage.maximum_filter1d(levels, 3, axis=1)
    rise[FRAME_HOPS:] = np.maximum(levels[FRAME_HOPS:] - before[:-FRAME_HOPS], 0.0)
    shape = (n_frames, FRAME_HOPS, -1)
    mean = levels[: n_frames * FRAME_HOPS].reshape(shape).mean(axis=1)
    most = rise[: n_frames * FRAME_HOPS].reshape(shape).max(axis=1)
    at = np.minimum(np.arange(n_frames) // 2, len(semitones) - 1)
    return np.concatenate([mean, most, semitones[at]], axis=1, dtype=np.float32)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Net:
    """Weights, as matrices that are multiplied from the right.

    Parameters
    ----------
    first, first_bias : ndarray
        The layer that looks at three frames of columns.
    taps, tap_biases, mixes, mix_biases : tuple of ndarray
        The residual layers: five taps apart by 1, 2, 4, ... frames, and a mix of channels.
    out, out_bias : ndarray
        Beat and downbeat.
    whole, whole_bias, tempo, tempo_bias, metre, metre_bias : ndarray
        What is said of the edge as a whole.
    """

    first: Floats32
    first_bias: Floats32
    taps: tuple[Floats32, ...]
    tap_biases: tuple[Floats32, ...]
    mixes: tuple[Floats32, ...]
    mix_biases: tuple[Floats32, ...]
    out: Floats32
    out_bias: Floats32
    whole: Floats32
    whole_bias: Floats32
    tempo: Floats32
    tempo_bias: Floats32
    metre: Floats32
    metre_bias: Floats32


def opinion_on(columns: Floats32) -> Opinion:
    """What the net holds of an edge.

    Parameters
    ----------
    columns : ndarray, shape (n_frames, n_columns)
        What `net_input` returns.
    """
    net = _net()
    state = np.maximum(_around(columns, 1, 1) @ net.first + net.first_bias, 0.0)
    told = np.zeros_like(state)
    for number, taps in enumerate(net.taps):
        heard = _around(state, 2, 2**number) @ taps
        heard += net.tap_biases[number]
        np.maximum(heard, 0.0, out=heard)
        state += heard @ net.mixes[number] + net.mix_biases[number]
        told += heard
    np.maximum(state, 0.0, out=state)
    marks = state @ net.out + net.out_bias
    mean = np.concatenate([state.mean(axis=0), told.mean(axis=0)])
    whole = np.maximum(mean @ net.whole + net.whole_bias, 0.0)
    return Opinion(
        beat=marks[:, 0],
        downbeat=marks[:, 1],
        tempo=_log_shares(whole @ net.tempo + net.tempo_bias),
        metre=_log_shares(whole @ net.metre + net.metre_bias),
    )


def _around(state: Floats32, reach: int, apart: int) -> Floats32:
    """Each frame beside those up to `reach` steps before and after it, silence beyond the ends."""
    n_frames, margin = len(state), reach * apart
    padded = np.pad(state, ((margin, margin), (0, 0)))
    return np.concatenate(
        [padded[tap * apart : tap * apart + n_frames] for tap in range(2 * reach + 1)], axis=1
    )


def _log_shares(odds: Floats32) -> Floats32:
    below: Floats32 = odds - odds.max()
    shares: Floats32 = below - np.log(np.exp(below).sum())
    return shares


@lru_cache(maxsize=1)
def _net() -> Net:
    tables = {name: t.astype(np.float32) for name, t in stored_tables("beat_net.npz").items()}

    def layers(name: str) -> tuple[Floats32, ...]:
        return tuple(tables.pop(f"{name} {number}") for number in range(n_layers))

    n_layers = sum(name.startswith("taps ") for name in tables)
    taps, tap_biases = layers("taps"), layers("tap_biases")
    mixes, mix_biases = layers("mixes"), layers("mix_biases")
    return Net(taps=taps, tap_biases=tap_biases, mixes=mixes, mix_biases=mix_biases, **tables)
