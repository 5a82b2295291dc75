"""Sane segues damaged in known ways: how far the score falls, and which measure tells of it."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchmarks._score_damage import DAMAGES, ramp_squeezed, sane
from benchmarks._score_pairs import demo_pair, synthetic_pair
from segue.score import score_candidate

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from benchmarks._score_damage import Damage
    from benchmarks._score_pairs import Pair
    from segue.score import Scorecard

LEAST_RAMP: Final = 1.1
"""Where the tempi are closer, a ramp is nothing that could be squeezed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One pair under one kind of damage: sane, then weak to strong.

    Parameters
    ----------
    fallen : tuple of dict
        For each strength, by how much each measure fell.
    """

    pair: str
    kind: str
    overall: tuple[float, ...]
    fallen: tuple[dict[str, float], ...]
    told_by: frozenset[str]

    @property
    def fell_most(self) -> tuple[str, ...]:
        """For each strength, the measure that fell most."""
        return tuple(max(fell, key=lambda name: fell[name]) for fell in self.fallen)

    @property
    def n_lower(self) -> int:
        """Strengths at which the damaged one scores lower than the sane one."""
        return sum(damaged < self.overall[0] for damaged in self.overall[1:])

    @property
    def n_stronger(self) -> int:
        """Steps of strength at which more damage scores lower."""
        return sum(b < a for a, b in zip(self.overall[1:-1], self.overall[2:], strict=True))

    @property
    def n_named(self) -> int:
        """Strengths at which a measure that names the damage fell most."""
        return sum(name in self.told_by for name in self.fell_most)

    @property
    def is_clean(self) -> bool:
        """Whether nothing is amiss with the case."""
        n = len(self.fallen)
        return self.n_lower == n and self.n_stronger == n - 1 and self.n_named == n

    def text(self) -> str:
        """What is amiss, in a line: the scores, and what fell most at each strength."""
        told = [
            ", ".join(f"{name} {by:.2f}" for name, by in sorted(fell.items(), key=_most)[:3])
            for fell in self.fallen
        ]
        return f"    {self.pair}: {np.round(self.overall, 4).tolist()}  {'; '.join(told)}"


def _most(entry: tuple[str, float]) -> float:
    return -entry[1]


def applies(damage: Damage, pair: Pair) -> bool:
    """Whether a kind of damage can be done to a pair."""
    if damage.done is not ramp_squeezed:
        return True
    octaves = np.log2(pair.incoming.pulse.tempo_bpm / pair.outgoing.pulse.tempo_bpm)
    return bool(abs(octaves - np.round(octaves)) > np.log2(LEAST_RAMP))


def pairs_of(seed: int, *, n_synthetic: int, n_demo: int) -> list[Pair]:
    """The pairs of a seed."""
    rng = np.random.default_rng(seed)
    synthetic = [synthetic_pair(rng) for _ in range(n_synthetic)]
    return [*synthetic, *(demo_pair(number, rng) for number in range(n_demo))]


def sabotaged(pairs: Sequence[Pair], *, kind: str, n_workers: int) -> Iterator[list[Case]]:
    """Every pair under every kind of damage with `kind` in its name, one kind after another."""
    damages = [damage for damage in DAMAGES if kind in damage.name]
    tasks = [
        (damages.index(damage), number, DAMAGES.index(damage))
        for damage in damages
        for number, pair in enumerate(pairs)
        if applies(damage, pair)
    ]
    with ProcessPoolExecutor(n_workers, initializer=_take, initargs=(list(pairs),)) as pool:
        jobs = [(at, pool.submit(_sabotaged, number, damage)) for at, number, damage in tasks]
        for at in range(len(damages)):
            yield [job.result() for of, job in jobs if of == at]


_PAIRS: list[Pair] = []  # of this process


def _take(pairs: list[Pair]) -> None:
    _PAIRS[:] = pairs


def _sabotaged(number: int, damage: int) -> Case:
    return sabotage(_PAIRS[number], DAMAGES[damage])


def sabotage(pair: Pair, damage: Damage) -> Case:
    """Score a pair sane and damaged."""
    clean = sane(pair, damage.recipe)
    before = score_candidate(clean, pair.outgoing, pair.incoming)
    cards = [
        score_candidate(damage.done(pair, clean, strength), pair.outgoing, pair.incoming)
        for strength in damage.strengths
    ]
    return Case(
        pair=pair.name,
        kind=damage.name,
        overall=(before.overall, *(card.overall for card in cards)),
        fallen=tuple(_fallen(before, card) for card in cards),
        told_by=damage.told_by,
    )


def _fallen(before: Scorecard, after: Scorecard) -> dict[str, float]:
    """How much each measure fell; one that is only there now had nothing to tell before."""
    known = {measure.name: measure.score for measure in before.measures}
    return {m.name: known.get(m.name, 1.0) - m.score for m in after.measures}
