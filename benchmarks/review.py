"""How well `segue review` tells what is wrong with a take of known truth: one table.

    python -m benchmarks.review                 # the report, on seeds of its own
    python -m benchmarks.review --develop       # other seeds and fewer pairs, for tuning

A report is worth what its seeds are: once its misses have been looked at they are spent, and
`FIRST_SEED` moves the report on. Spent so far: 1 to 200, 1000 to 1999 (for tuning), 5000 to 5999
and 7000 to 7999.

The run folders of pairs of demo songs are made once and kept in a cache; the takes are made and
thrown away, or kept with what was told of them in the folder of `--keep`: a report that was stopped
goes on there, as long as the code that tells is the same. A band plays each option again, its beats
wandering; one thing is done to it, each at three strengths, or nothing; it is recorded by the desk,
in a room or by a phone, with noise, talk before and after, a clock that runs off and a level of its
own, half of them as MP3 at 64 kbit/s. What a recorder does, and nothing at all, is done to one
playing of each option, in recordings that all differ. Needs ffmpeg. Options are spread over the
processors.

Exits 1 where a reach is missed: 95 % of what was done is found, named first and placed within a
bar; 95 % of the sizes are within 20 ms, 10 cents or half a beat a minute; and nothing at all is
told of the clean takes.
"""

import argparse
import json
import os
import shutil
import sys
import tempfile
import zlib
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from functools import lru_cache, partial
from pathlib import Path
from typing import Final

import numpy as np
import platformdirs
from pydantic import TypeAdapter

from benchmarks._review_damage import NO_STEMS, RATE_HZ, STRENGTHS, Damage, Stage
from benchmarks._review_phone import WAYS, recorded
from benchmarks._review_verdict import Outcome, judged, table_lines
from segue.errors import SegueError
from segue.files.source_digest import source_digest
from segue.files.whole_file import write_whole
from segue.job.between import make_segues
from segue.job.request import Request
from segue.review.rehearsal import ListenedRun
from segue.runfolder import read_document

DEMO: Final = Path(__file__).parent.parent / "demo_audio"
DEVELOPED_ON: Final = ((1, 2), (4, 3), (3, 5), (5, 1))
PAIRS: Final = (*DEVELOPED_ON, (2, 4), (1, 3))
FIRST_SEED: Final = {"develop": 1_000, "report": 8_000}
"""A take's seed is this and its place in the table."""
N_OF_EACH: Final = 2
N_CLEAN: Final = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeOrder:
    """A take that is to be made: what is done to which option of which run."""

    kind: str
    strength: float
    seed: int
    run: Path
    rank: int
    way: int

    @property
    def evening(self) -> int:
        """Which of two times that the option is played by a band that does nothing wrong."""
        return self.seed // 1_000 * 2 + self.seed // 2 % 2

    @property
    def has_stems(self) -> bool:
        """Whether the review finds the songs' stems: not of all, for not every band has them."""
        return self.kind != NO_STEMS and (self.kind != "" or self.seed % 5 > 0)


def run_folders(cache: Path, pairs: Iterable[tuple[int, int]]) -> list[Path]:
    """A run folder for each pair, made where there is none, or its songs are not there any more."""
    songs = {int(path.name[:2]): path for path in DEMO.iterdir() if path.name[:2].isdigit()}
    folders = []
    for first, second in pairs:
        out = cache / f"run {first} {second}"
        if not _is_at_hand(out):
            shutil.rmtree(out, ignore_errors=True)
            print(f"making the segues from song {first} to song {second} …", flush=True)
            make_segues(
                Request(outgoing=songs[first], incoming=songs[second], out=out),
                progress=lambda _: None,
            )
        folders.append(out)
    return folders


def _is_at_hand(run: Path) -> bool:
    """Whether a run can be read, and its songs are where it read them."""
    try:
        document = read_document(run)
    except SegueError:
        return False
    return all(Path(song.file).exists() for song in (document.outgoing, document.incoming))


def orders(
    runs: list[Path], *, first_seed: int, kinds: Iterable[str], n_of_each: int, n_clean: int
) -> Iterator[TakeOrder]:
    """Every take: runs, options and ways of recording go round against the strengths."""
    wanted = [
        (kind, strength, number)
        for kind in kinds
        for number in range(n_of_each)
        for strength in STRENGTHS[kind]
    ]
    wanted += [("", 0.0, number) for number in range(n_clean)]
    for place, (kind, strength, number) in enumerate(wanted):
        run = runs[(place + place // len(runs)) % len(runs)]
        n_options = len(read_document(run).candidates)
        yield TakeOrder(
            kind=kind,
            strength=strength,
            seed=first_seed + place,
            run=run,
            rank=1 + (place + place // 3) % n_options,
            way=(place + 2 * (place // 3) + number) % len(WAYS),
        )


@lru_cache(maxsize=1)
def _stage(run: Path, seed: int) -> Stage:
    return Stage(read_document(run), seed=seed)


@lru_cache(maxsize=2)
def _listened(run: Path, *, has_stems: bool) -> ListenedRun:
    listened = ListenedRun(run)
    if not has_stems:
        document = listened.document
        gone = {
            side: replace(getattr(document, side), file=str(run / "not there"))
            for side in ("outgoing", "incoming")
        }
        listened.document = replace(document, **gone)
    return listened


def made(order: TakeOrder, folder: Path) -> tuple[Path, Damage, dict[str, object]]:
    """The take of an order in a folder, or the one that was made before; and its truth."""
    path = folder / f"{order.kind or 'clean'} {order.strength:g} {order.seed}.wav"
    facts = path.with_suffix(".json")
    if not facts.is_file():
        rng = np.random.default_rng([21, zlib.crc32(order.kind.encode()), order.seed])
        played = _stage(order.run, order.evening).damaged(
            order.rank, order.kind, order.strength, rng
        )
        told = recorded(
            played.samples,
            RATE_HZ,
            path,
            seed=order.seed,
            gain_ratio=order.strength if order.kind == "automatic gain" else 1.0,
            starts_s=order.strength if order.kind == "starts within" else 0.0,
            way=WAYS[order.way],
        )
        truth = {"damage": asdict(played.damage), "recorded": asdict(told)}
        facts.write_text(json.dumps(truth), encoding="utf-8")
    truth = json.loads(facts.read_text(encoding="utf-8"))
    places = tuple((float(a), float(b)) for a, b in truth["damage"].pop("places"))
    return path, Damage(places=places, **truth["damage"]), truth["recorded"]


def outcome(order: TakeOrder, *, keep: Path | None) -> Outcome:
    """One take made, reviewed and held against its truth."""
    with tempfile.TemporaryDirectory(prefix="segue-takes-") as scratch:
        path, damage, told = made(order, keep or Path(scratch))
        name = f"{order.run.name}, option {order.rank}, seed {order.seed}, {told['way']}"
        name += ", MP3" if told["is_mp3"] else ""
        name += "" if order.has_stems else ", no stems"
        try:
            rehearsal = _listened(order.run, has_stems=order.has_stems).review(path, order.rank)
        except SegueError as error:
            return Outcome(kind=order.kind, strength=order.strength, name=f"{name}: {error}")
    told_of = judged(rehearsal, damage, name=name, strength=order.strength)
    return replace(told_of, kind=order.kind)


def kept_outcome(order: TakeOrder, keep: Path) -> Outcome:
    """The same, from what was told by this very code of the take that is kept."""
    code = source_digest(("review", "analysis", "audio"), ("numpy", "scipy"))[:12]
    path = keep / f"{order.seed} by {code} told.json"
    if path.is_file():
        return TypeAdapter(Outcome).validate_json(path.read_bytes())
    told = outcome(order, keep=keep)
    write_whole(path, TypeAdapter(Outcome).dump_json(told))
    return told


def outcomes_of(work: Sequence[TakeOrder], *, keep: Path | None) -> list[Outcome]:
    """All takes of one option, told as they come."""
    told = []
    for order in work:
        told.append(outcome(order, keep=None) if keep is None else kept_outcome(order, keep))
        print(told[-1].line, flush=True)
    return told


def main() -> int:
    """Make the takes, review them, and print the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--develop", action="store_true", help="other seeds, for tuning")
    parser.add_argument("--kinds", nargs="*", default=list(STRENGTHS), help="of damage")
    parser.add_argument("--of-each", type=int, default=N_OF_EACH, help="takes of each strength")
    parser.add_argument("--clean", type=int, default=N_CLEAN, help="takes with nothing wrong")
    parser.add_argument("--keep", type=Path, help="a folder to go on in")
    parser.add_argument(
        "--cache", type=Path, default=platformdirs.user_cache_path("segue") / "review benchmark"
    )
    asked = parser.parse_args()
    if shutil.which("ffmpeg") is None:
        print("nothing was measured: takes cannot be made without ffmpeg; install it and run again")
        return 1
    if asked.keep is not None:
        asked.keep.mkdir(parents=True, exist_ok=True)
    asked.cache.mkdir(parents=True, exist_ok=True)
    runs = run_folders(asked.cache, DEVELOPED_ON if asked.develop else PAIRS)
    wanted = orders(
        runs,
        first_seed=FIRST_SEED["develop" if asked.develop else "report"],
        kinds=asked.kinds,
        n_of_each=asked.of_each,
        n_clean=asked.clean,
    )
    # Of one option together: a worker then reads its songs, and plays it, once.
    of_option: dict[tuple[str, int, int], list[TakeOrder]] = {}
    for order in wanted:
        of_option.setdefault((str(order.run), order.rank, order.evening), []).append(order)
    work = [of_option[key] for key in sorted(of_option)]
    with ProcessPoolExecutor(len(os.sched_getaffinity(0))) as pool:
        outcomes = [one for told in pool.map(partial(outcomes_of, keep=asked.keep), work)
                    for one in told]  # fmt: skip
    lines, is_met = table_lines(outcomes)
    print("\n" + "\n".join(lines))
    return 0 if is_met else 1


if __name__ == "__main__":
    sys.exit(main())
