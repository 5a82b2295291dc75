"""The key of an edge, and the chord that the edge itself plays.

Every key is scored from its tonic: by nets that see the edge segment by segment
(`segue.analysis.key_sequence`), by nets of one hidden layer that see the evidence of the edge as a
whole turned to that tonic, and by published key profiles. The scores are added and become
chances by the softmax. The weights of the second nets are in ``key_model.npz``;
``benchmarks.fit_key`` fits them to rendered edges of analysed rock songs, pop songs, loops in
every rotation, scores and grooves, cut anywhere, and to recordings on whose key general libraries
agree. Each net has heard three quarters of the songs; how much each voice counts, and how
cautious the chances are, was chosen on what they said of the songs that they had not heard.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.envelope import stored_tables
from segue.analysis.facts import EdgeChord, KeyFact, KeyWeight, PulseFact
from segue.analysis.key_evidence import chord_at_edge, key_evidence, plain_chroma
from segue.analysis.key_segments import NoteFrames, around_segments, hear_segments, note_frames
from segue.analysis.key_sequence import sequence_scores
from segue.music.chord import Chord
from segue.music.key import ALL_KEYS, MODES, N_PITCH_CLASSES
from segue.music.profiles import KRUMHANSL_KESSLER, SHAATH, profile_correlations

if TYPE_CHECKING:
    from segue.arrays import Floats
    from segue.audio.clip import Clip, SongEdge


CAUTION: Final = 1.3
"""Scores are divided by this, so that keys of confidence 0.8 and more are right in 95 of 100
edges, as far as that goes in each group of songs; by group: `docs/real-songs.md`."""
SEQUENCE_TRUST: Final = 0.49 / CAUTION  # of the logarithms of chances by `key_sequence`
EVIDENCE_TRUST: Final = 0.19 / CAUTION  # of the logarithms of chances by the evidence
PROFILES: Final = (KRUMHANSL_KESSLER, SHAATH)
PROFILE_TRUST: Final = 3.76 / CAUTION
"""How much a correlation with the published profiles counts against logarithms of chances.
All three were fitted by likelihood, groups of songs and recordings counting alike."""
BETWEEN_CENTS: Final = (42.0, 16.0)
"""Where a tuning begins to lie between two names of one key, and how much further both are as
likely; by judgement: 5 of 15 sure keys that were wrong were named from the other side."""
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
AROUND_TRUST: Final = 0.5  # of the logarithms of chances in each other stretch of the song
MOVED_SHARE: Final = 0.7
"""How far another stretch is taken to say nothing of the key of the edge. In rock and pop songs the
stretch beside an edge has its key in 99 of 100 cases, the other end in 95 to 97; but recordings of
game music move in 44 of 100, and one arrangement misleads the ears twice."""
AROUND_CAUTION: Final = 0.2  # by which caution grows with each other stretch
"""All three were chosen on 350 edges of songs rendered whole, and on recordings, by nets that had
not heard them."""
CHORD_CAUTION: Final = 0.92
"""Share of chords at the edge that are right where the chord model is certain of them."""
MOST_RUNNERS_UP: Final = 4  # keys told besides the likeliest, at most; by judgement
LEAST_WEIGHT: Final = 0.005
"""Less likely keys are not told as runners-up."""
_TINY: Final = 1e-12  # keeps a logarithm away from zero


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


def hear_harmony(
    edge: SongEdge,
    pulse: PulseFact,
    *,
    tuning_cents: float,
    pitched: float = 1.0,
    is_tuning_said: bool = False,
    around: tuple[Clip, ...] = (),
) -> tuple[KeyFact, EdgeChord | None]:
    """The key of an edge, how sure it is and what else it may be, and the chord at the edge.

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
    is_tuning_said : bool, optional
        Whether a musician said the tuning: then there is one name for the key.
    around : tuple of Clip, optional
        Other stretches of the song (`segue.audio.read.read_around`): most songs stay in a key.

    Returns
    -------
    KeyFact
        The confidence and the weights of the runners-up are chances out of 24 keys; they
        add up to at most 1. Where nothing is pitched all keys are as likely, and in between
        the chances are mixed by `pitched`.
    EdgeChord or None
        The last chord of an ending or first of an opening; None where no note sounds.
    """
    any_key = np.full(len(ALL_KEYS), 1.0 / len(ALL_KEYS))
    cuts = tuple(note_frames(cut) for cut in hear_segments(edge, pulse, tuning_cents=tuning_cents))
    cuts = tuple(cut for cut in cuts if cut.notes.any())
    if not cuts:
        return _told(any_key), None
    pitched = max(pitched, tonal_share(cuts[0]))
    stretches = [hear_elsewhere(clip, edge, tuning_cents=tuning_cents) for clip in around]
    chances = chances_in_song(key_chances(*cuts), *stretches)
    if not is_tuning_said:
        chances = _by_both_names(chances, tuning_cents)
    fact = _told(pitched * chances + (1.0 - pitched) * any_key)
    return fact, _edge_chord(cuts, pitched)


def key_chances(*cuts: NoteFrames) -> Floats:
    """How likely each key is.

    Parameters
    ----------
    *cuts : NoteFrames
        Every cut of the edge.

    Returns
    -------
    ndarray, shape (24,)
        Chances in the order of ``ALL_KEYS``; they add up to 1.
    """
    scores = np.mean([_added_scores(cut) for cut in cuts], axis=0)
    odds = np.exp(scores - scores.max())
    return np.asarray(odds / odds.sum())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Elsewhere:
    """What another stretch of a song says of the key.

    Parameters
    ----------
    chances : ndarray, shape (24,)
    share : float
        How far it is music with a key, 0..1: so much it counts.
    """

    chances: Floats
    share: float


def hear_elsewhere(clip: Clip, edge: SongEdge, *, tuning_cents: float) -> Elsewhere | None:
    """The key of another stretch of the song; None where nothing sounds."""
    is_start = clip.start_s + clip.end_s < edge.duration_s
    cut = note_frames(around_segments(clip, tuning_cents=tuning_cents, is_start=is_start))
    if not cut.notes.any():
        return None
    return Elsewhere(chances=key_chances(cut), share=tonal_share(cut))


def chances_in_song(edge: Floats, *around: Elsewhere | None) -> Floats:
    """How likely each key of an edge is, when other stretches of the song are known.

    Parameters
    ----------
    edge : ndarray, shape (24,)
        Chances by the edge alone.
    """
    scores, caution = np.log(edge + _TINY), 1.0
    for stretch in around:
        if stretch is not None:
            mixed = (1.0 - MOVED_SHARE) * stretch.chances + MOVED_SHARE / len(ALL_KEYS)
            scores = scores + AROUND_TRUST * stretch.share * np.log(mixed)
            caution += AROUND_CAUTION * stretch.share
    odds = np.exp((scores - scores.max()) / caution)
    return np.asarray(odds / odds.sum())


def _added_scores(cut: NoteFrames) -> Floats:
    """What all voices say of a cut, shape (24,)."""
    return np.asarray(
        SEQUENCE_TRUST * sequence_scores(cut)
        + EVIDENCE_TRUST * key_scores(_model(), key_evidence(cut))
        + PROFILE_TRUST * profile_fit(plain_chroma(cut))
    )


def _by_both_names(chances: Floats, tuning_cents: float) -> Floats:
    """Music tuned between two semitones has a key by the name above it, or below."""
    begins, further = BETWEEN_CENTS
    other = float(np.clip((abs(tuning_cents) - begins) / further, 0.0, 0.5))
    by_mode = chances.reshape(len(MODES), N_PITCH_CLASSES)
    moved = np.roll(by_mode, 1 if tuning_cents > 0 else -1, axis=1).ravel()
    return np.asarray((1.0 - other) * chances + other * moved)


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


def tonal_share(cut: NoteFrames) -> float:
    """How far the chroma is that of music with a key, 0..1, however little holds its pitch.

    Dense and driven music has few steady peaks, and yet few pitch classes that belong
    together. Speech and noise have chroma that is too even, drums one that fits no key.
    """
    plain = plain_chroma(cut)
    unevenness = float(np.std(plain) / max(float(np.mean(plain)), 1e-9))
    fit = float(profile_fit(plain).max())
    parts = [(unevenness - UNEVEN[0]) / UNEVEN[1], (fit - FITTING[0]) / FITTING[1]]
    return float(np.prod(np.clip(parts, 0.0, 1.0)))


def profile_fit(plain: Floats) -> Floats:
    """How well plain chroma fits published profiles in each key, shape (24,), -1 to 1."""
    credited = plain + FIFTH_CREDIT * np.roll(plain, -7) + THIRD_CREDIT * np.roll(plain, -4)
    fits = [profile_correlations(credited, profiles) for profiles in PROFILES]
    return np.asarray(np.mean(fits, axis=0))


@lru_cache(maxsize=1)
def _model() -> KeyModel:
    tables = stored_tables("key_model.npz")
    return KeyModel(**{name: table.astype(np.float64) for name, table in tables.items()})


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
