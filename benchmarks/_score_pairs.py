"""Pairs of songs whose way across is known to be sane: the ground that is then damaged.

Two kinds: synthetic bands, placed by the plan's own ruler, and the demo songs, moved by whole
semitones as a faster or slower tape would (so key and tempo move together and nothing is smeared).
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Protocol

import numpy as np
import numpy.typing as npt

from segue.analysis.facts import EdgeFacts, FirstNote
from segue.analysis.hear import hear_edge
from segue.audio import read_song
from segue.audio.clip import Clip, Edge, Overrides, SongEdge
from segue.cli.between import demo_folder
from segue.music.key import ALL_KEYS, parse_key
from segue.plan import plan_segue
from segue.plan.layer import MapPoint, SongLayer
from segue.recipes import load_recipes, shelf_folder
from segue.render import render_candidate
from tests.score import synthetic, synthetic_band

if TYPE_CHECKING:
    from segue.plan.plan import Plan
    from segue.render.candidate import Candidate

Sound = npt.NDArray[np.float64]
"""Shape (n_frames, 2), as long as the candidate."""

RATE_HZ: Final = 22_050
PAD, RAMP = "pad in the new key", "tempo ramp"
_EDGE_S: Final = 34.0
_DEMO_PAIRS: Final = ((1, 2), (2, 4), (4, 1), (1, 3), (3, 2), (5, 4), (2, 1), (4, 2))
_SINGER_AFTER_BEATS: Final = 4.0
_DEMO_SINGER_AFTER_BEATS: Final = 12.0
"""So that the new song is heard for six bars or more."""


class Pair(Protocol):
    """Two songs, a sane plan between them, and sounds to damage it with."""

    name: str
    outgoing: EdgeFacts
    incoming: EdgeFacts

    def plan(self, recipe: str) -> Plan:
        """A sane plan."""

    def render(self, plan: Plan) -> Candidate:
        """A plan made audible."""

    def bass(self, plan: Plan, start: float, end: float) -> Sound:
        """The incoming song's bass line a semitone up, between two beats of a plan."""

    def voice(self, plan: Plan, start: float, end: float) -> Sound:
        """The outgoing song's voice between two beats of a plan."""


@dataclass(frozen=True)
class SyntheticPair:
    """Two synthetic bands."""

    recipe: synthetic.Recipe
    name: str = "synthetic"

    @cached_property
    def _facts(self) -> tuple[EdgeFacts, EdgeFacts]:
        return synthetic.facts_of(self.recipe)

    @property
    def outgoing(self) -> EdgeFacts:
        """Facts of the old song."""
        return self._facts[0]

    @property
    def incoming(self) -> EdgeFacts:
        """Facts of the new song."""
        return self._facts[1]

    def plan(self, recipe: str) -> Plan:
        """Plan of the pad; a ramp has drums to be heard by."""
        _ = recipe
        return synthetic.plan_of(self.recipe)

    def render(self, plan: Plan) -> Candidate:
        """A plan made audible."""
        return synthetic.make_candidate(self.recipe, plan)

    def bass(self, plan: Plan, start: float, end: float) -> Sound:
        """The incoming song's bass line a semitone up, between two beats of a plan."""
        beats, phase = range(round(start), round(end)), round(plan.entry_beat)
        bus = np.zeros(round(plan.duration_s * synthetic_band.RATE_HZ))
        key = self.recipe.key_to
        synthetic_band.play_bass(bus, key, plan.seconds_at, beats, phase=phase, semitones=1.0)
        return self._stereo(bus)

    def voice(self, plan: Plan, start: float, end: float) -> Sound:
        """The outgoing song's voice between two beats of a plan."""
        beats = range(round(start), round(end))
        bus = np.zeros(round(plan.duration_s * synthetic_band.RATE_HZ))
        synthetic_band.play_voice(bus, self.recipe.key_from, plan.seconds_at, beats)
        return self._stereo(bus)

    def _stereo(self, bus: npt.NDArray[np.float64]) -> Sound:
        """At the level that the bands have in a rendered candidate."""
        return np.stack([bus, bus], axis=1) * synthetic.SIDE_GAIN


def synthetic_pair(rng: np.random.Generator) -> SyntheticPair:
    """Two random keys, tempi within a third of each other, and a pad on the way."""
    old, new = rng.choice(len(ALL_KEYS), size=2, replace=False)
    bpm_from, ratio = rng.uniform(88.0, 140.0), rng.uniform(1.15, 1.3)
    bpm_to = bpm_from * ratio if bpm_from < 110.0 else bpm_from / ratio
    interlude = int(rng.choice([16, 24]))
    recipe = synthetic.Recipe(
        key_from=ALL_KEYS[old],
        key_to=ALL_KEYS[new],
        bpm_from=float(bpm_from),
        bpm_to=float(bpm_to),
        interlude_beats=interlude,
        pad_start="new key" if interlude == 16 or rng.random() < 0.5 else "pivot",
        singer_beat=synthetic.EXIT_BEAT + interlude + _SINGER_AFTER_BEATS,
        seed=int(rng.integers(1 << 30)),
    )
    return SyntheticPair(recipe, f"{recipe.key_from} - {recipe.key_to}")


@dataclass(frozen=True)
class DemoPair:
    """Two demo songs on a tape that runs faster or slower."""

    name: str
    songs: tuple[SongEdge, SongEdge]
    outgoing: EdgeFacts
    incoming: EdgeFacts

    def plan(self, recipe: str) -> Plan:
        """A plan by a recipe of the shelf."""
        found = {r.name: r for r in load_recipes(shelf_folder())}[recipe]
        return plan_segue(
            found,
            self.outgoing,
            self.incoming,
            outgoing_has_stems=True,
            incoming_has_stems=True,
        )

    def render(self, plan: Plan) -> Candidate:
        """A plan made audible."""
        return render_candidate(plan, *self.songs)

    def bass(self, plan: Plan, start: float, end: float) -> Sound:
        """The incoming song's bass line a semitone up, between two beats of a plan."""
        import pedalboard

        song = next(x for x in plan.layers if isinstance(x, SongLayer) and x.song == "incoming")
        line = self._alone(plan, replace(song, roles=("bass",), start_beat=start, end_beat=end))
        sound = np.ascontiguousarray(line.T, dtype=np.float32)
        moved = pedalboard.time_stretch(sound, RATE_HZ, pitch_shift_in_semitones=1.0).T
        short = np.zeros((max(0, len(line) - len(moved)), 2))
        return np.concatenate([moved.astype(np.float64), short])[: len(line)]

    def voice(self, plan: Plan, start: float, end: float) -> Sound:
        """The outgoing song's lead between two beats of a plan, from where it plays longest."""
        lead = next(s.clip for s in self.songs[0].stems if s.role == "lead")
        length_s = plan.seconds_at(end) - plan.seconds_at(start)
        n_frames = round(length_s * lead.rate_hz)
        power = np.cumsum(np.square(lead.samples[:, 0], dtype=np.float64))
        first = int(np.argmax(power[n_frames:] - power[:-n_frames]))
        from_s = lead.start_s + first / lead.rate_hz
        layer = SongLayer(
            name="voice",
            song="outgoing",
            start_beat=start,
            end_beat=end,
            roles=("lead",),
            time_map=(
                MapPoint(beat=start, source_s=from_s),
                MapPoint(beat=end, source_s=from_s + length_s),
            ),
        )
        return self._alone(plan, layer)

    def _alone(self, plan: Plan, layer: SongLayer) -> Sound:
        made = self.render(replace(plan, layers=(layer,)))
        return (made.outgoing.samples + made.incoming.samples).astype(np.float64)


def demo_pair(number: int, rng: np.random.Generator) -> DemoPair:
    """A pair of demo songs, each moved by up to three semitones with its tempo."""
    first, second = _DEMO_PAIRS[number % len(_DEMO_PAIRS)]
    moves = [int(move) for move in rng.integers(-3, 4, size=2)]
    old, old_facts = _moved_song(first, "end", moves[0])
    new, new_facts = _moved_song(second, "start", moves[1])
    name = f"demo {first}{moves[0]:+d} - {second}{moves[1]:+d}"
    return DemoPair(name, (old, new), old_facts, new_facts)


@lru_cache(maxsize=32)
def _moved_song(number: int, edge: Edge, semitones: int) -> tuple[SongEdge, EdgeFacts]:
    folder = next(p for p in demo_folder().iterdir() if p.name.startswith(f"{number:02d} "))
    song, truth = read_song(folder, edge=edge, edge_s=_EDGE_S, rate_hz=RATE_HZ), _truth(number)
    ratio = 2.0 ** (semitones / 12.0)
    stems = tuple(replace(s, clip=_faster(s.clip, ratio)) for s in song.stems)
    song = replace(song, stems=stems, duration_s=song.duration_s / ratio)
    given = Overrides(
        key=parse_key(truth["key"]).transposed(semitones),
        tempo_bpm=truth["tempo_bpm"] * ratio,
        metre=truth["metre"],
        first_downbeat_s=truth["first_downbeat_s"] / ratio if edge == "start" else None,
    )
    facts = hear_edge(song, overrides=given)
    if edge == "start" and facts.opening is not None:
        # the lead is not always in by then: these pairs take the thirteenth beat
        sung_s = facts.opening.first_downbeat_s + _DEMO_SINGER_AFTER_BEATS * facts.pulse.beat_s
        facts = replace(facts, first_note=FirstNote(midi=60.0, time_s=sung_s))
    return song, facts


def _truth(number: int) -> dict[str, Any]:
    songs = json.loads(Path(demo_folder() / "truth.json").read_text(encoding="utf-8"))["songs"]
    return dict(songs[number - 1])


def _faster(clip: Clip, ratio: float) -> Clip:
    import soxr

    samples = soxr.resample(clip.samples, clip.rate_hz * ratio, clip.rate_hz)
    return Clip(
        samples=np.asarray(samples, dtype=np.float32),
        rate_hz=clip.rate_hz,
        start_s=clip.start_s / ratio,
    )
