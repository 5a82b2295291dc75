"""How well the pulse is heard in made songs that neither the net nor its weights were fitted on.

``python -m benchmarks.pulse_ears --soundfont FILE ...`` makes songs of all kinds of
`benchmarks.learn_beats` (scores are those of the ears benchmark's even seeds), hears them, prints
a table by group and leaves with 1 where a reach is missed. Rock and pop songs, where given, are
those that both runs of the learning and its check held out.
"""

import argparse
import sys
from collections import defaultdict
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import mir_eval
import numpy as np

from benchmarks import learn_beats
from benchmarks._pulse_songs import MadeSong
from benchmarks._pulse_sound import Player, rendered
from benchmarks.ears_set import REPORT_SEED, piece_pools
from segue.analysis.facts import PulseFact
from segue.analysis.onsets import RATE_HZ
from segue.analysis.pulse import hear_pulse
from segue.audio.clip import Clip, SongEdge, Stem

FIRST_SEED: Final = 30_000_000
WINDOW_S: Final = 0.07
SAME_OCTAVE: Final = 0.04
MEASURES: Final = ("octave", "beat F", "downbeat F", "free time")
REACHES: Final = {
    "no drums": (0.85, 0.88, 0.78, None),
    "drums": (0.95, 0.98, 0.93, None),
    "soft attacks": (None, 0.75, None, None),
}
OPEN_GROUPS: Final = ("own, soft",)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Heard:
    """An edge's groups, and its measures."""

    groups: tuple[str, ...]
    measures: tuple[float, ...]


def heard(song: MadeSong, player: Player, rng: np.random.Generator) -> Heard | None:
    """A made song, rendered and heard; None where it has too few bars to measure."""
    made = rendered(song, player, rng)
    if made is None or (song.metre and made[2].sum() < 3):
        return None
    sound, beats_s, is_down = made
    clip = Clip(samples=np.stack([sound, sound], axis=1).astype(np.float32), rate_hz=RATE_HZ)
    stem = Stem(role="mix", file="made", clip=clip)
    edge = SongEdge(path=Path("made"), title="", edge="start", stems=(stem,),
                    duration_s=clip.duration_s)  # fmt: skip
    pulse = hear_pulse(edge)
    if not song.metre:
        return Heard(groups=("no pulse",), measures=(np.nan,) * 3 + (float(not pulse.is_known),))
    groups = [song.group + (", drums" if song.has_drums else "")]
    groups.append("drums" if song.has_drums else "no drums")
    groups += ["soft attacks"] if song.group in OPEN_GROUPS else []
    return Heard(groups=tuple(groups), measures=_measures(pulse, beats_s, is_down))


def _measures(pulse: PulseFact, beats_s: np.ndarray, is_down: np.ndarray) -> tuple[float, ...]:
    bpm = 60 / float(np.median(np.diff(beats_s)))
    is_right = bool(pulse.beats_s) and abs(np.log(pulse.tempo_bpm / bpm)) < SAME_OCTAVE
    beat_f, down_f = (
        float(mir_eval.beat.f_measure(wanted_s, _within(given_s, beats_s), WINDOW_S))
        for wanted_s, given_s in ((beats_s, pulse.beats_s), (beats_s[is_down], pulse.downbeats_s))
    )
    return float(is_right), beat_f, down_f, float(not pulse.is_known)


def _within(times_s: tuple[float, ...], beats_s: np.ndarray) -> np.ndarray:
    times = np.array(times_s)
    return times[(times > beats_s[0] - WINDOW_S) & (times < beats_s[-1] + WINDOW_S)]


def is_unseen(song: MadeSong) -> bool:
    """Whether nothing was learned from a song, in whichever run."""
    if not song.piece.startswith(("rock", "pop")):
        return True
    return learn_beats.is_held_out(song.piece) and not learn_beats.was_learned_later(song.piece)


def table(found: list[Heard]) -> tuple[list[str], bool]:
    """Lines of the table, and whether all reaches are met."""
    rows: dict[str, list[tuple[float, ...]]] = defaultdict(list)
    for one in found:
        for group in one.groups:
            rows[group].append(one.measures)
    lines = [f"{'group':<16} {'n':>4} " + " ".join(f"{name:>11}" for name in MEASURES)]
    is_met = True
    for group, measured in sorted(rows.items()):
        means = np.array(measured).mean(axis=0)
        wanted = REACHES.get(group, (None,) * len(MEASURES))
        missed = [reach is not None and mean < reach
                  for mean, reach in zip(means, wanted, strict=True)]  # fmt: skip
        is_met = is_met and not any(missed)
        cells = [f"{mean:>10.3f}{'*' if miss else ' '}"
                 for mean, miss in zip(means, missed, strict=True)]  # fmt: skip
        lines.append(f"{group:<16} {len(measured):>4} " + " ".join(cells))
    return [*lines, "* below the reach"], is_met


def main() -> int:
    """Print the table; 1 where a reach is missed."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    learn_beats.add_sources(parser, writes=False)
    parser.add_argument("--edges", type=int, default=300)
    options = parser.parse_args()
    sources, players = learn_beats.sources_of(options)
    scores = [(style, name) for style, names in piece_pools(REPORT_SEED).items() for name in names]
    sources = replace(sources, scores=scores)
    found: list[Heard] = []
    seed = FIRST_SEED
    while len(found) < options.edges:
        rng = np.random.default_rng([5, seed])
        song = learn_beats.made_song(seed, rng, sources)
        seed += 1
        if song is not None and is_unseen(song):
            one = heard(song, players[int(rng.integers(len(players)))], rng)
            found += [one] if one else []
    lines, is_met = table(found)
    print("\n".join(lines))
    return 0 if is_met else 1


if __name__ == "__main__":
    sys.exit(main())
