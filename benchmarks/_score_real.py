"""Segues between real songs, rendered once and kept: the ground of the better and the worse.

Songs are drawn from folders, so that those the weights are set on and those they are tried on
share no folder. Each is rendered with one recipe of every carrier that suits the pair.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from pydantic import TypeAdapter

from benchmarks.music import LEAST_S, TALK_S, length_s
from segue.analysis.facts import EdgeFacts
from segue.analysis.shared_count import counted_together
from segue.audio import read_song
from segue.audio.clip import Clip
from segue.catalogue.scan import songs_under
from segue.errors import SegueError
from segue.heard.hearing import hear
from segue.job.shortlist import LEAST_SUITABILITY, carrier_of
from segue.plan import Given, plan_segue, suitability
from segue.plan.heard_words import filled_in
from segue.plan.plan import Plan
from segue.recipes import load_recipes, shelf_folder
from segue.render import render_candidate
from segue.render.candidate import Candidate
from segue.render.song_layer import Kits

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from segue.recipes import Recipe

RATE_HZ: Final = 22_050
BUSES: Final = ("music", "click", "cue", "outgoing", "interlude", "incoming")
_FULL: Final = 32_767  # of 16 bits
_PLAN, _FACTS = TypeAdapter(Plan), TypeAdapter(tuple[EdgeFacts, EdgeFacts])


@dataclass(frozen=True, slots=True, kw_only=True)
class RealSegue:
    """A rendered segue between two real songs."""

    name: str
    pair: str
    facts: tuple[EdgeFacts, EdgeFacts]
    candidate: Candidate

    @property
    def is_for_talk(self) -> bool:
        """Whether it was planned to be talked over."""
        return self.candidate.plan.talk_s is not None


def drawn_songs(folders: Sequence[Path], n_pairs: int, seed: int) -> list[tuple[Path, Path]]:
    """Pairs of songs from some folders; no song is in two of them."""
    songs = sorted(song.path for song in songs_under(folders) if length_s(song) >= LEAST_S)
    random.Random(seed).shuffle(songs)
    return list(zip(songs[::2], songs[1::2], strict=False))[:n_pairs]


def kept_segues(pairs: Sequence[tuple[Path, Path]], keep: Path) -> list[Path]:
    """Files of the segues of some pairs: those that are kept, or else rendered and kept."""
    keep.mkdir(parents=True, exist_ok=True)
    found = []
    for number, pair in enumerate(pairs):
        stem = f"{number:02d} {pair[0].stem} to {pair[1].stem}"
        there = sorted(keep.glob(f"{number:02d} *.npz"))
        found += there or _rendered(pair, stem, number, keep)
    return found


def _rendered(pair: tuple[Path, Path], stem: str, seed: int, keep: Path) -> list[Path]:
    try:
        old = read_song(pair[0], edge="end", edge_s=45.0, rate_hz=RATE_HZ)
        new = read_song(pair[1], edge="start", edge_s=45.0, rate_hz=RATE_HZ)
        facts = filled_in(*counted_together(hear(old), hear(new)))
    except SegueError as error:
        print(f"{stem}: {error}")
        return []
    kits, made = Kits(), []
    for recipe in _one_of_each(facts, seed):
        talk_s = TALK_S if recipe.suits.talk == "yes" else None
        plan = plan_segue(recipe, *facts, talk_s=talk_s)
        path = keep / f"{stem}, {recipe.name}.npz"
        _write(path, facts, render_candidate(plan, old, new, kits=kits))
        made.append(path)
    return made


def _one_of_each(facts: tuple[EdgeFacts, EdgeFacts], seed: int) -> list[Recipe]:
    """One recipe of each carrier, and one to talk over, of the four that suit a pair best."""
    fits: dict[str, list[tuple[float, str, Recipe]]] = {}
    for recipe in load_recipes(shelf_folder()):
        is_talk = recipe.suits.talk == "yes"
        fit = suitability(recipe, *facts, Given(talk_s=TALK_S if is_talk else None))
        if fit >= LEAST_SUITABILITY:
            kind = "talk" if is_talk else carrier_of(recipe)
            fits.setdefault(kind, []).append((-fit, recipe.name, recipe))
    generator = random.Random(seed)
    return [generator.choice(sorted(kind)[:4])[2] for _, kind in sorted(fits.items())]


def _write(path: Path, facts: tuple[EdgeFacts, EdgeFacts], candidate: Candidate) -> None:
    sounds = {}
    for bus in BUSES:
        samples = getattr(candidate, bus).samples
        peak = max(float(np.abs(samples).max(initial=0.0)), 1e-6)
        sounds[bus] = np.round(samples / peak * _FULL).astype(np.int16)
        sounds[f"{bus}_peak"] = np.float64(peak)
    np.savez(
        path,
        rate_hz=candidate.music.rate_hz,
        plan=np.frombuffer(_PLAN.dump_json(candidate.plan), dtype=np.uint8),
        facts=np.frombuffer(_FACTS.dump_json(facts), dtype=np.uint8),
        own_share=candidate.own_share,
        **sounds,
    )


def read_segue(path: Path) -> RealSegue:
    """A kept segue."""
    with np.load(path) as found:
        rate_hz = int(found["rate_hz"])
        clips = {
            bus: Clip(
                samples=found[bus].astype(np.float32) * np.float32(found[f"{bus}_peak"] / _FULL),
                rate_hz=rate_hz,
            )
            for bus in BUSES
        }
        plan = _PLAN.validate_json(found["plan"].tobytes())
        facts = _FACTS.validate_json(found["facts"].tobytes())
        own_share = float(found["own_share"])
    pair, _, _ = path.stem.rpartition(", ")
    candidate = Candidate(plan=plan, own_share=own_share, **clips)
    return RealSegue(name=path.stem, pair=pair, facts=facts, candidate=candidate)
