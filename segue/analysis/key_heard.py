"""The key of an edge, and the chord that the edge itself plays.

Every key is scored from its tonic by the same small net of one hidden layer, which sees the
evidence turned to that tonic; what published key profiles say is added; the scores become
chances by the softmax. The weights are in
``key_model.npz``. ``benchmarks.fit_key`` fits them to rendered edges of analysed rock songs,
pop songs, loops in every rotation, scores and grooves, cut anywhere, and to recordings on
whose key general libraries agree; songs that nothing was fitted to check them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.analysis.facts import EdgeChord, KeyFact, KeyWeight
from segue.analysis.key_evidence import PLAIN_KIND, chord_at_edge, key_evidence
from segue.analysis.key_segments import hear_segments
from segue.analysis.note_frames import note_frames
from segue.music.chord import Chord
from segue.music.key import ALL_KEYS, MODES, N_PITCH_CLASSES
from segue.music.profiles import KRUMHANSL_KESSLER, SHAATH, profile_correlations

if TYPE_CHECKING:
    from segue.analysis.facts import PulseFact
    from segue.analysis.note_frames import NoteFrames
    from segue.audio.clip import SongEdge

Floats = npt.NDArray[np.float64]

CAUTION: Final = 2.3
"""Scores are divided by this, so that keys of confidence 0.8 and more are right in 95 of 100
edges; chosen on rendered songs that nothing was fitted to. By group: `docs/real-songs.md`."""
PROFILES: Final = (KRUMHANSL_KESSLER, SHAATH)
PROFILE_TRUST: Final = 6.0
"""How much a correlation with the published profiles counts against the nets' logarithms of
chances. On rendered songs the nets alone are as good; recordings of other kinds of music are
heard better with it. Chosen on songs and recordings that nothing was fitted to."""
# deviation of the chroma over its mean: where it begins, and how far on; see below
UNEVEN: Final = (0.34, 0.08)
FITTING: Final = (0.66, 0.10)
"""Where chroma begins to be uneven and to fit a key, and how much further it surely does: nine
made-up and four rendered loops of drums, speeches and noises stay below one or the other, and
of 20 recordings with a key and few steady peaks, most lie above both."""
FIFTH_CREDIT: Final = 0.28  # of its own strength, lent to the note a fifth above; see below
THIRD_CREDIT: Final = 0.17
"""Share of a note's own strength that its third and fifth partials lend to it; they are heard a
fifth and a third above. Set by judgement after the harmonic pitch class profiles of E. Gomez,
"Tonal description of polyphonic audio for music content processing", 2006."""
CHORD_CAUTION: Final = 0.92
"""Share of chords at the edge that are right where the chord model is certain of them."""
MOST_RUNNERS_UP: Final = 4  # keys told besides the likeliest, at most; by judgement
LEAST_WEIGHT: Final = 0.005
"""Less likely keys are not told as runners-up."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KeyModel:
    """The net: `mean` and `scale` of each kind of evidence, and the layers of several nets.

    Parameters
    ----------
    mean, scale : ndarray, shape (n_kinds, 1)
    hidden, hidden_bias : ndarray, shapes (n_nets, n_kinds * 12, n_units), (n_nets, n_units)
    modes, straight : ndarray, shapes (n_nets, n_units, 2), (n_nets, n_kinds * 12, 2)
        From the hidden units to major and minor, and from the evidence straight to them.
    modes_bias : ndarray, shape (n_nets, 2)
    """

    mean: Floats
    scale: Floats
    hidden: Floats
    hidden_bias: Floats
    modes: Floats
    straight: Floats
    modes_bias: Floats


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
        How far it is music with pitches at all, 0..1 (`tuning.pitched_share`).

    Returns
    -------
    KeyFact
        The confidence and the weights of the runners-up are chances out of 24 keys; they
        add up to at most 1. Where nothing is pitched all keys are as likely, and in between
        the chances are mixed by `pitched`.
    """
    return hear_harmony(edge, pulse, tuning_cents=tuning_cents, pitched=pitched)[0]


def hear_harmony(
    edge: SongEdge, pulse: PulseFact, *, tuning_cents: float, pitched: float = 1.0
) -> tuple[KeyFact, EdgeChord | None]:
    """The key, as `hear_key` tells it, and the last chord of an ending or first of an opening."""
    any_key = np.full(len(ALL_KEYS), 1.0 / len(ALL_KEYS))
    cuts = tuple(note_frames(cut) for cut in hear_segments(edge, pulse, tuning_cents=tuning_cents))
    cuts = tuple(cut for cut in cuts if cut.notes.any())
    if not cuts:
        return _told(any_key), None
    evidence = tuple(key_evidence(cut) for cut in cuts)
    pitched = max(pitched, tonal_share(evidence[0]))
    fact = _told(pitched * key_chances(*evidence) + (1.0 - pitched) * any_key)
    return fact, _edge_chord(cuts, pitched)


def key_chances(*evidence: Floats) -> Floats:
    """How likely each key is.

    Parameters
    ----------
    *evidence : ndarray, shape (n_kinds, 12)
        Of every cut of the edge, by kind and pitch class.

    Returns
    -------
    ndarray, shape (24,)
        Chances in the order of ``ALL_KEYS``; they add up to 1.
    """
    each = [key_scores(_model(), one) + PROFILE_TRUST * profile_fit(one) for one in evidence]
    scores = np.mean(each, axis=0) / CAUTION
    odds = np.exp(scores - scores.max())
    return np.asarray(odds / odds.sum())


def key_scores(model: KeyModel, evidence: Floats) -> Floats:
    """Logarithms of the chances of all keys by one cut, mean of the nets, shape (24,)."""
    level = (evidence - model.mean) / model.scale
    turned = np.stack([np.roll(level, -t, axis=1).ravel() for t in range(N_PITCH_CLASSES)])
    units = np.maximum(turned @ model.hidden + model.hidden_bias[:, None], 0.0)
    raw = units @ model.modes + turned @ model.straight + model.modes_bias[:, None]
    scores = raw.transpose(0, 2, 1).reshape(len(raw), len(ALL_KEYS))
    scores = scores - scores.max(axis=1, keepdims=True)
    scores = scores - np.log(np.exp(scores).sum(axis=1, keepdims=True))
    return np.asarray(scores.mean(axis=0))


def tonal_share(evidence: Floats) -> float:
    """How far the chroma is that of music with a key, 0..1, however little holds its pitch.

    Dense and driven music has few steady peaks, and yet few pitch classes that belong
    together. Speech and noise have chroma that is too even, drums one that fits no key.
    """
    plain = evidence[PLAIN_KIND]
    unevenness = float(np.std(plain) / max(float(np.mean(plain)), 1e-9))
    fit = float(profile_fit(evidence).max())
    parts = [(unevenness - UNEVEN[0]) / UNEVEN[1], (fit - FITTING[0]) / FITTING[1]]
    return float(np.prod(np.clip(parts, 0.0, 1.0)))


def profile_fit(evidence: Floats) -> Floats:
    """How well the plain chroma fits published profiles in each key, shape (24,), -1 to 1."""
    plain = evidence[PLAIN_KIND]
    credited = plain + FIFTH_CREDIT * np.roll(plain, -7) + THIRD_CREDIT * np.roll(plain, -4)
    fits = [profile_correlations(credited, profiles) for profiles in PROFILES]
    return np.asarray(np.mean(fits, axis=0))


@lru_cache(maxsize=1)
def _model() -> KeyModel:
    source = resources.files("segue.analysis").joinpath("key_model.npz")
    with source.open("rb") as file, np.load(file) as packed:
        return KeyModel(**{name: packed[name].astype(np.float64) for name in packed.files})


def _edge_chord(cuts: tuple[NoteFrames, ...], pitched: float) -> EdgeChord:
    """Major and minor triads on every root, by the mean of the cuts."""
    chances = pitched * np.mean([chord_at_edge(cut) for cut in cuts], axis=0)
    quality, root = np.unravel_index(int(chances.argmax()), chances.shape)
    return EdgeChord(
        chord=Chord(root=int(root), quality=MODES[quality]),
        confidence=CHORD_CAUTION * float(chances[quality, root]),
    )


def _told(chances: Floats) -> KeyFact:
    best, *others = np.argsort(-chances, kind="stable")[: MOST_RUNNERS_UP + 1]
    runners_up = tuple(
        KeyWeight(key=ALL_KEYS[key], weight=float(chances[key]))
        for key in others
        if chances[key] >= LEAST_WEIGHT
    )
    return KeyFact(key=ALL_KEYS[best], confidence=float(chances[best]), runners_up=runners_up)
