"""How well the ends and starts of real songs are heard, and where songs are left and entered.

Run ``python -m benchmarks.edges --songs FOLDER``. The songs are free music of Debian's game
packages, unpacked side by side; `edge_labels.tsv` has what was seen of them on pictures of
level, bands and hits (`benchmarks.edge_sheets`). Since few of them fade, each is also taken from
its start and faded out by a fader of known law and length: those fades are told apart below.

Every limit was chosen on one half of the songs, by the checksum of their names; the table tells of
the other half, and the reaches are asked of it. Exits are asked of all songs.
"""

from __future__ import annotations

import argparse
import sys
import zlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from benchmarks.edge_sheets import name_of, songs_in
from segue.analysis.ending import hear_ending
from segue.analysis.facts import PULSE_CONFIDENCE
from segue.analysis.opening import hear_opening
from segue.analysis.pulse import hear_pulse
from segue.audio import read_song
from segue.audio.clip import Clip

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from segue.analysis.facts import Ending, PulseFact
    from segue.audio.clip import SongEdge

LABELS: Final = Path(__file__).with_name("edge_labels.tsv")
EDGE_S: Final = 45.0
RATE_HZ: Final = 44_100
LEAST_FADER_S: Final = 4.0
LONGEST_FADER_S: Final = 22.0
EARLY_S: Final = 2.0
"""Where no hit shows a last chord, it is read off a picture to within two seconds."""
LATE_S: Final = 5.0
"""So long a last chord may be heard out: a bar or two."""
AT_ONCE_BARS: Final = 1.05
REACHES: Final = {
    "false fades": ("at most", 0.02),
    "fades found": ("at least", 0.80),
    "verdicts right": ("at least", 0.90),
    "left before the last chord": ("at most", 0.0),
    "left after all sound": ("at most", 0.0),
    "bar one at the start": ("at least", 0.90),
}
OF_ALL: Final = ("left before the last chord", "left after all sound", "fades found")
"""Exits are asked of all songs, and real fades are too few to be parted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """What was seen of a piece."""

    piece: str
    ending: tuple[str, ...]
    last_s: float | None
    bar_one: str

    @property
    def is_clear(self) -> bool:
        """Whether the picture tells a fade from another ending."""
        return not {"unclear", "no music"} & set(self.ending)

    @property
    def is_report(self) -> bool:
        """Whether the piece is of the half that nothing was chosen on."""
        return zlib.crc32(self.piece.encode()) % 2 == 1


@dataclass(slots=True, kw_only=True)
class Count:
    """So many of so many."""

    hits: int = 0
    of: int = 0

    def add(self, *, hit: bool) -> None:
        """Count one."""
        self.hits, self.of = self.hits + hit, self.of + 1

    @property
    def share(self) -> float:
        """Share of hits; 0 of none."""
        return self.hits / self.of if self.of else 0.0


def labels() -> dict[str, Label]:
    """The labels by piece."""
    rows = [line.split("\t") for line in LABELS.read_text(encoding="utf-8").splitlines()]
    return {
        piece: Label(
            piece=piece,
            ending=tuple(ending.split(" | ")),
            last_s=None if last == "-" else float(last),
            bar_one=bar_one,
        )
        for piece, ending, last, _, bar_one in (row for row in rows if len(row) > 1)
        if piece != "piece"
    }


def faded(song: SongEdge) -> SongEdge:
    """The start of a song as if it were its end, faded out by a fader drawn from its name."""
    rng = np.random.default_rng(zlib.crc32(song.path.name.encode()))
    longest = np.log(LONGEST_FADER_S / LEAST_FADER_S)
    fade_s = LEAST_FADER_S * float(np.exp(rng.uniform(0.0, longest)))
    samples = song.mix.samples.copy()
    n_fade = min(round(fade_s * song.rate_hz), len(samples))
    way = np.linspace(0.0, 1.0, n_fade)
    laws = (10 ** (-50 * way / 20), 1 - way, (1 - way) ** 2, 0.5 + 0.5 * np.cos(np.pi * way))
    samples[-n_fade:] *= laws[rng.integers(len(laws))].astype(np.float32)[:, None]
    stem = song.stems[0]
    clip = Clip(samples=samples, rate_hz=song.rate_hz, start_s=song.start_s)
    return replace(
        song, edge="end", duration_s=clip.end_s, stems=(replace(stem, role="mix", clip=clip),)
    )


def left_at_s(ending: Ending, pulse: PulseFact, song: SongEdge) -> float:
    """Where the plan leaves a song, in seconds of its file."""
    from benchmarks._edge_facts import facts_of_end
    from segue.plan.edges import song_end

    end = song_end(facts_of_end(song, ending, pulse))
    return end.grid.seconds_at(end.done_index)


def heard_pieces(folder: Path) -> Iterator[tuple[Label, str, dict[str, bool]]]:
    """What is right of every piece, by the name of the measure."""
    known = labels()
    for path in songs_in(folder):
        label = known.get(name_of(path, folder))
        if label is None or label.ending == ("no music",):
            continue
        end = read_song(path, edge="end", edge_s=EDGE_S, rate_hz=RATE_HZ)
        pulse = hear_pulse(end)
        ending = hear_ending(end, pulse)
        found: dict[str, bool] = {}
        if label.is_clear:
            found["verdicts right"] = ending.kind in label.ending
            measure = "fades found" if "fade" in label.ending else "false fades"
            found[measure] = ending.kind == "fade"
            if "fade" not in label.ending and label.last_s is not None:
                left_s = left_at_s(ending, pulse, end)
                found["left before the last chord"] = left_s < label.last_s - EARLY_S
                found["left soon after the last chord"] = left_s <= label.last_s + LATE_S
                found["left after all sound"] = left_s > ending.sound_end_s + 4 * pulse.beat_s
        yield label, ending.kind, found
        start = read_song(path, edge="start", edge_s=EDGE_S, rate_hz=RATE_HZ)
        made = faded(start)
        kind = hear_ending(made, hear_pulse(made)).kind
        yield label, kind, {"fades found, faders on real songs": kind == "fade"}
        if label.bar_one != "-":
            yield label, "start", {"bar one at the start": _is_right_start(start, label)}


def _is_right_start(start: SongEdge, label: Label) -> bool:
    pulse = hear_pulse(start)
    opening = hear_opening(start, pulse)
    if pulse.confidence < PULSE_CONFIDENCE:
        return True  # free time: entered where it sounds
    bar_s = max(pulse.metre, 4) * pulse.beat_s
    wanted_s = opening.sound_start_s if label.bar_one == "at once" else float(label.bar_one)
    return abs(opening.first_downbeat_s - wanted_s) <= AT_ONCE_BARS * bar_s


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the table and leave with 1 where a reach is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--songs", type=Path, required=True)
    given = parser.parse_args(arguments)
    halves: dict[bool, dict[str, Count]] = {False: {}, True: {}}
    for label, kind, found in heard_pieces(given.songs):
        for measure, hit in found.items():
            halves[label.is_report].setdefault(measure, Count()).add(hit=hit)
            if hit != (REACHES.get(measure, ("at least",))[0] == "at least"):
                print(f"  {measure}: {label.piece} is {kind}, seen {' or '.join(label.ending)}")
    print(f"\n{'measure':36s} {'chosen on':>14s} {'report':>14s}  reach")
    missed = False
    for measure in dict.fromkeys([*halves[True], *halves[False]]):
        chosen, report = (halves[half].get(measure, Count()) for half in (False, True))
        which, reach = REACHES.get(measure, ("", 0.0))
        both = Count(hits=chosen.hits + report.hits, of=chosen.of + report.of)
        asked = both if measure in OF_ALL else report
        met = {"at most": asked.share <= reach, "at least": asked.share >= reach}.get(which, True)
        missed |= not met
        said = f"{which} {reach:.2f} {'' if met else 'MISSED'}" if which else ""
        cells = " ".join(f"{c.share:.2f} ({c.hits}/{c.of})".rjust(14) for c in (chosen, report))
        print(f"{measure:36s} {cells}  {said}")
    sys.exit(1 if missed else 0)


if __name__ == "__main__":
    main()
