"""The key of an edge.

Every key is scored by one weighted sum of the evidence, seen from its tonic, and the
scores become chances by the softmax: a conditional logit. The weights are in
``key_weights.json``, one for each kind of evidence, mode and degree above the tonic. They
were fitted, with an L2 penalty, to about 350 rendered edges of odd seeds and, at weight
0.3, to 1,600 sketches of such songs turned into spectra without sound; what
``benchmarks.fit_key`` fits to rendered edges alone is a little less accurate. The key
measures of the ears benchmark, on an even seed, check them.
"""

from __future__ import annotations

import json
from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.analysis.facts import KeyFact, KeyWeight
from segue.analysis.key_evidence import EVIDENCE, key_evidence
from segue.analysis.key_segments import hear_segments
from segue.music.key import ALL_KEYS, MODES, N_PITCH_CLASSES

if TYPE_CHECKING:
    from segue.analysis.facts import PulseFact
    from segue.audio.clip import SongEdge

Floats = npt.NDArray[np.float64]

CAUTION: Final = 1.3
"""Scores are divided by this, so that real music, less plain than what the weights were
fitted to, is not told with too much confidence; chosen by the ears benchmark."""
MOST_RUNNERS_UP: Final = 4
LEAST_WEIGHT: Final = 0.005
"""Less likely keys are not told as runners-up."""


def hear_key(
    edge: SongEdge, pulse: PulseFact, *, tuning_cents: float, pitched: float = 1.0
) -> KeyFact:
    """The key of an edge, how sure it is, and what else it may be.

    Parameters
    ----------
    edge : SongEdge
        Drums are left out where stems are given, and the bass stem gives the roots.
    pulse : PulseFact
        Beats and downbeats; they may be missing or unsure.
    tuning_cents : float
        How far the music is above A4 = 440 Hz.
    pitched : float, optional
        How far it is music with pitches at all, 0..1 (`pitchedness.pitched_share`).

    Returns
    -------
    KeyFact
        The confidence and the weights of the runners-up are chances out of 24 keys; they
        add up to at most 1. Where nothing is pitched all keys are as likely, and in between
        the chances are mixed by `pitched`.
    """
    any_key = np.full(len(ALL_KEYS), 1.0 / len(ALL_KEYS))
    segments = hear_segments(edge, pulse, tuning_cents=tuning_cents)
    evidence = np.array([key_evidence(cut) for cut in segments])
    if not evidence.any():
        return _told(any_key)
    return _told(pitched * key_chances(evidence.mean(axis=0)) + (1.0 - pitched) * any_key)


def key_chances(evidence: Floats) -> Floats:
    """How likely each key is.

    Parameters
    ----------
    evidence : ndarray, shape (len(EVIDENCE), 12)
        By kind and pitch class.

    Returns
    -------
    ndarray, shape (24,)
        Chances in the order of ``ALL_KEYS``; they add up to 1.
    """
    weights, minor_bias = _weights()
    from_tonics = np.stack([np.roll(evidence, -t, axis=1) for t in range(N_PITCH_CLASSES)])
    scores = np.tensordot(weights, from_tonics, axes=((1, 2), (1, 2)))
    scores[MODES.index("minor")] += minor_bias
    odds = np.exp((scores - scores.max()).ravel() / CAUTION)
    return np.asarray(odds / odds.sum())


@lru_cache(maxsize=1)
def _weights() -> tuple[Floats, float]:
    """Weights by mode, kind of evidence and degree, and what minor keys have in advance."""
    text = resources.files("segue.analysis").joinpath("key_weights.json").read_text("utf-8")
    table = json.loads(text)
    weights = np.array([[table[mode][kind] for kind in EVIDENCE] for mode in MODES])
    return weights, float(table["minor bias"])


def _told(chances: Floats) -> KeyFact:
    best, *others = np.argsort(-chances, kind="stable")[: MOST_RUNNERS_UP + 1]
    runners_up = tuple(
        KeyWeight(key=ALL_KEYS[key], weight=float(chances[key]))
        for key in others
        if chances[key] >= LEAST_WEIGHT
    )
    return KeyFact(key=ALL_KEYS[best], confidence=float(chances[best]), runners_up=runners_up)
