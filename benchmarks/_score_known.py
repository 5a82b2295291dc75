"""What is known beforehand: distances of keys, common practice, and what is no way across."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from benchmarks._score_damage import mixed, sane
from benchmarks._score_pairs import PAD, RAMP, SyntheticPair
from segue.music.key import ALL_KEYS, Key
from segue.music.tempo import TempoCurve, TempoSpan
from segue.music.tonal_space import krumhansl_distance, region_distance
from segue.score import score_candidate
from segue.score.weights import weights_for
from tests.score import synthetic

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from benchmarks._score_pairs import Pair
    from segue.render.candidate import Candidate
    from segue.score import Scorecard

TONAL: Final = ("tonal_path", "landing")
"""Measures of the harmony as heard; the distance of the key names is left out."""
SEMITONE, FOURTHS = (1, 11), (5, 7)
DEMO_WAYS: Final = (PAD, RAMP, "stop and count-in", "turnaround", "filtered tail")
_SYNTHETIC_WAYS: Final = (
    {"interlude_beats": 16, "pad_start": "new key"},
    {"interlude_beats": 24, "pad_start": "pivot"},
    {"interlude_beats": 16, "pad_start": "new key", "pad_drums": False},
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Correlations:
    """Rank correlation of the plain join's tonal score with published distances, sign turned."""

    krumhansl: float
    lerdahl: float
    n_joins: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Practice:
    """How often a semitone joins worse than a fourth or fifth, and what a pad leaves of the gap."""

    n_worse: int
    n_compared: int
    plain_gap: float
    pad_gap: float


def card_of(recipe: synthetic.Recipe) -> Scorecard:
    """Scorecard of a synthetic way across."""
    made = synthetic.make_candidate.__wrapped__(recipe)  # once: kept, all would take 6 GB
    return score_candidate(made, *synthetic.facts_of(recipe))


def correlations(rng: np.random.Generator, pool: Executor, *, n_tonics: int) -> Correlations:
    """Over all 48 pairs of keys up to transposition, each from several tonics."""
    from scipy.stats import spearmanr

    keys = [
        (Key(tonic=int(tonic), mode=mode), new)
        for mode in ("major", "minor")
        for tonic in rng.choice(12, size=n_tonics, replace=False)
        for new in ALL_KEYS
    ]
    cards = pool.map(card_of, [_plain(*two) for two in keys])
    tonal, krumhansl, lerdahl = np.array(
        [
            (_tonal(card), krumhansl_distance(*two), region_distance(*two))
            for card, two in zip(cards, keys, strict=True)
        ]
    ).T
    return Correlations(
        krumhansl=float(spearmanr(-tonal, krumhansl).statistic),
        lerdahl=float(spearmanr(-tonal, lerdahl).statistic),
        n_joins=len(keys),
    )


def common_practice(rng: np.random.Generator, pool: Executor, *, n_keys: int) -> Practice:
    """Plain joins and pads from random keys to keys of the same mode."""
    n_worse, plain_gaps, pad_gaps = 0, [], []
    ways = SEMITONE + FOURTHS
    for _ in range(n_keys):
        old = ALL_KEYS[int(rng.integers(len(ALL_KEYS)))]
        made = [of(old, old.transposed(d)) for of in (_plain, _padded) for d in ways]
        found = [card.overall for card in pool.map(card_of, made)]
        plain = dict(zip(ways, found[: len(ways)], strict=True))
        pads = dict(zip(ways, found[len(ways) :], strict=True))
        n_worse += sum(plain[far] < plain[near] for far in SEMITONE for near in FOURTHS)
        plain_gaps.append(_gap(plain))
        pad_gaps.append(_gap(pads))
    return Practice(
        n_worse=n_worse,
        n_compared=n_keys * len(SEMITONE) * len(FOURTHS),
        plain_gap=float(np.mean(plain_gaps)),
        pad_gap=float(np.mean(pad_gaps)),
    )


def noise(pair: SyntheticPair) -> list[float]:
    """Overall scores of the same way across in other keys and with other drums."""
    recipe = pair.recipe
    changes = [{}, {"seed": recipe.seed + 1}, {"seed": recipe.seed + 2}]
    changes += [
        {"key_from": recipe.key_from.transposed(d), "key_to": recipe.key_to.transposed(d)}
        for d in (3, 6, 9)
    ]
    return [card_of(replace(recipe, **change)).overall for change in changes]


def bad_ranks(pair: Pair, seed: tuple[int, ...]) -> dict[str, int]:
    """Rank, from 1, of silence, noise and a hard cut among sane ways across."""
    rng = np.random.default_rng(seed)
    sane_ways = _sane_ways(pair)
    scores = [score_candidate(c, pair.outgoing, pair.incoming).overall for c in sane_ways]
    ground = sane_ways[0]
    sound = 0.1 * rng.normal(size=ground.music.n_frames)
    bad = {
        "silence": _with_music(ground, np.zeros_like(sound)),
        "noise": _with_music(ground, sound),
        "hard cut": _hard_cut(pair, ground),
    }
    ranks = {}
    for name, candidate in bad.items():
        overall = score_candidate(candidate, pair.outgoing, pair.incoming).overall
        ranks[name] = 1 + sum(score >= overall for score in scores)
    return ranks


def _sane_ways(pair: Pair) -> list[Candidate]:
    if isinstance(pair, SyntheticPair):
        recipes = [replace(pair.recipe, **way) for way in _SYNTHETIC_WAYS]
        return [synthetic.make_candidate(_singer_with(recipe)) for recipe in recipes]
    return [sane(pair, way) for way in DEMO_WAYS]


def _singer_with(recipe: synthetic.Recipe) -> synthetic.Recipe:
    return replace(recipe, singer_beat=recipe.entry_beat + 4.0)


def _with_music(candidate: Candidate, sound: np.ndarray) -> Candidate:
    stereo = np.stack([sound, sound], axis=1)
    silence = np.zeros_like(stereo)
    return mixed(candidate, outgoing=silence, interlude=stereo, incoming=silence)


def _hard_cut(pair: Pair, candidate: Candidate) -> Candidate:
    """The new song right at the exit, at its own tempo, with nothing in between."""
    if isinstance(pair, SyntheticPair):
        recipe = replace(pair.recipe, interlude_beats=0, ramp_beats=0)
        return synthetic.make_candidate(_singer_with(recipe))
    return _moved_up(candidate)


def _moved_up(candidate: Candidate) -> Candidate:
    plan, rate_hz = candidate.plan, candidate.music.rate_hz
    cut, entry = (round(plan.seconds_at(b) * rate_hz) for b in (plan.exit_beat, plan.entry_beat))
    outgoing = candidate.outgoing.samples.astype(np.float64)
    outgoing[cut:] = 0.0
    incoming = candidate.incoming.samples[entry:].astype(np.float64)
    moved = np.zeros_like(outgoing)
    moved[cut : cut + len(incoming)] = incoming
    old_bpm, new_bpm = (plan.tempo.bpm_at(b) for b in (plan.exit_beat - 1, plan.entry_beat + 1))
    n_beats = plan.end_beat - plan.entry_beat
    gone = plan.entry_beat - plan.exit_beat
    spans = (
        TempoSpan(n_beats=plan.exit_beat, start_bpm=old_bpm, end_bpm=old_bpm),
        TempoSpan(n_beats=n_beats, start_bpm=new_bpm, end_bpm=new_bpm),
    )
    changed = replace(
        plan,
        tempo=TempoCurve(spans=spans),
        entry_beat=plan.exit_beat,
        end_beat=plan.exit_beat + n_beats,
        singer_beat=None if plan.singer_beat is None else plan.singer_beat - gone,
        bar_lines=tuple(
            replace(line, beat=line.beat - gone) for line in plan.bar_lines if line.beat >= gone
        ),
        layers=(),
        click=(),
        cue=(),
    )
    made = mixed(candidate, outgoing=outgoing, interlude=np.zeros_like(outgoing), incoming=moved)
    return replace(made, plan=changed)


def _plain(old: Key, new: Key) -> synthetic.Recipe:
    """A join with nothing in between, at one tempo: the keys differ and nothing else."""
    return synthetic.Recipe(
        key_from=old, key_to=new, interlude_beats=0, bpm_from=112.0, bpm_to=112.0, singer_beat=None
    )


def _padded(old: Key, new: Key) -> synthetic.Recipe:
    return replace(_plain(old, new), interlude_beats=16)


def _tonal(card: Scorecard) -> float:
    weights = weights_for(None)
    total = sum(weights[name] for name in TONAL)
    return sum(weights[name] * card.measure(name).score for name in TONAL) / total


def _gap(scores: dict[int, float]) -> float:
    near = float(np.mean([scores[d] for d in FOURTHS]))
    return near - float(np.mean([scores[d] for d in SEMITONE]))
