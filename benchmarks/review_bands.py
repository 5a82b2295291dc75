"""How well `segue review` reads takes of another band that plays a plan again: one table.

    python -m benchmarks.review_bands --store FOLDER                # the report: even seeds
    python -m benchmarks.review_bands --store FOLDER --develop      # odd seeds, for tuning

Run folders and performances are made in the store once. Every candidate of five pairs of
demo songs is recorded as it was rendered, and each pair is played again by another band;
each is recorded twice, in a room, with noise 10 dB below, at a speed up to 0.5 % off, half
as MP3 at 96 kbit/s, and the second time with the click leaking in. Needs fluidsynth, the
two SoundFonts and ffmpeg. Exits 1 where one of these is not there, and where a reach is
missed.
"""

import argparse
import shutil
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from benchmarks._review_band import SINGERS_SOUNDFONT, SOUNDFONTS
from benchmarks._review_takes import Performance, performed, recorded, rendered
from benchmarks.review import run_folders
from segue.analysis.tuning import tuning_of
from segue.errors import SegueError
from segue.review.find import find_transition
from segue.review.listening import Listening, listening_to, read_clip
from segue.review.rehearsal import LEAST_MATCH, ReviewRequest, review_take
from segue.review.report import Review
from segue.runfolder import CandidateRecord, RunDocument, read_document

PAIRS: Final = ((1, 2), (3, 5), (5, 1), (4, 3), (2, 4))
FIRST_SEED: Final = {"report": 30, "develop": 3}
N_PERFORMANCES: Final = 3
N_RECORDINGS: Final = 2


@dataclass(frozen=True, kw_only=True)
class Row:
    """One take: the errors of its review; None where the take was refused or has no singer."""

    name: str
    match: float
    offset_ms: float | None = None
    bars_ms: float | None = None
    singer_ms: float | None = None
    singer_cents: float | None = None
    has_singer: bool = False
    is_played_again: bool = False
    alarms: tuple[str, ...] = ()
    wrong_matches: tuple[float, ...] = ()


def takes(
    run: Path, store: Path, first_seed: int, *, n_performances: int, n_recordings: int
) -> Iterator[tuple[CandidateRecord, Performance, int]]:
    """What is recorded of a run: candidate, performance, and the recording's seed."""
    document = read_document(run)
    for record in document.candidates:
        for recording in range(n_recordings):
            seed = 1000 + 100 * first_seed + 10 * recording + record.rank
            yield record, rendered(run, record), seed
    for number in range(n_performances):
        seed = first_seed + 2 * number
        record = next(
            r for r in document.candidates if (r.rank + seed) % len(document.candidates) == 0
        )
        made = performed(document, record, band=seed % 2, seed=seed, store=store)
        for recording in range(n_recordings):
            yield record, made, 100 * seed + 10 * recording + record.rank


def reviewed(
    run: Path,
    record: CandidateRecord,
    made: Performance,
    seed: int,
    others: list[Listening],
    path: Path,
) -> Row:
    """One take recorded, reviewed, and held against the truth and against other songs."""
    # The second recording of everything has the click in it.
    click = run / record.click_file if seed % 100 >= 10 else None
    truth = recorded(made, path, seed=seed, click=click)
    wrong = matches_of(path, others) if others else ()
    name = f"{run.name}, candidate {record.rank}, {seed}, {truth.kind}"
    name += " + click" if truth.has_click else ""
    try:
        review = review_take(ReviewRequest(run=run, take=path, rank=record.rank)).best_try
    except SegueError as error:
        return Row(
            name=f"{name}: {error}",
            match=0.0,
            has_singer=made.singer_late_ms is not None,
            is_played_again=any(made.late_s),
            wrong_matches=wrong,
        )
    singer = review.singer
    known = made.singer_late_ms is not None and made.singer_cents is not None
    found = known and singer is not None
    return Row(
        name=name,
        match=review.match,
        offset_ms=1000 * (review.offset_s - truth.offset_s - truth.speed * _start_late_s(made)),
        bars_ms=_bars_error_ms(review, made, record),
        singer_ms=singer.late_ms - made.singer_late_ms if found else None,
        singer_cents=singer.cents - made.singer_cents if found else None,
        has_singer=known,
        is_played_again=any(made.late_s),
        alarms=alarms_of(review),
        wrong_matches=wrong,
    )


def matches_of(path: Path, others: list[Listening]) -> tuple[float, ...]:
    """How well a take agrees with other songs' transitions."""
    clip = read_clip(path)
    heard = listening_to(clip, tuning_cents=tuning_of(clip))
    return tuple(find_transition(other, heard).match for other in others)


def _start_late_s(made: Performance) -> float:
    return float(np.median(made.late_s[:8]))


def _bars_error_ms(review: Review, made: Performance, record: CandidateRecord) -> float:
    """Middle error of the bars' lateness: both about their own middle, the clock's part out."""
    plan = record.plan
    at_s = np.array([plan.seconds_at(beat) for beat in range(len(made.late_s))])
    starts_s = np.array([bar.plan_s for bar in review.bars])
    of_beat = np.searchsorted(starts_s, at_s + 1e-3) - 1
    told, true = [], []
    for index, bar in enumerate(review.bars):
        mine = of_beat == index
        if bar.late_ms is not None and mine.any():
            told.append(bar.late_ms)
            true.append(1000 * float(np.mean(np.array(made.late_s)[mine])))
    apart = np.array(told) - np.array(true)
    return float(np.median(np.abs(apart - np.median(apart))))


def alarms_of(review: Review) -> tuple[str, ...]:
    """What a review complains of that is not about playing together in time and tune."""
    alarms = [fault.kind for fault in review.faults]
    alarms += [f"hole in bar {hole.bar}" for hole in review.holes]
    if review.broke is not None:
        alarms.append(f"broke in bar {review.broke.bar}")
    return tuple(alarms)


def print_table(rows: list[Row]) -> bool:
    """Print what was reached beside what is asked; whether all of it was."""
    sung = [row for row in rows if row.has_singer]
    offsets = [np.inf if row.offset_ms is None else abs(row.offset_ms) for row in rows]
    bars = [np.inf if row.bars_ms is None else row.bars_ms for row in rows]
    again = [ms for ms, row in zip(bars, rows, strict=True) if row.is_played_again]
    late = [np.inf if row.singer_ms is None else abs(row.singer_ms) for row in sung]
    cents = [np.inf if row.singer_cents is None else abs(row.singer_cents) for row in sung]
    wrong = [match for row in rows for match in row.wrong_matches]
    lines = (
        ("offset within 10 ms", _share(offsets, 10), 0.98),
        ("bars' timing, median error <= 5 ms", float(np.median(bars)), None),
        ("the same where played again", float(np.median(again)), None),
        ("entry time within 15 ms", _share(late, 15), 0.95),
        ("entry pitch within 8 cents", _share(cents, 8), 0.95),
        ("undamaged takes without an alarm", np.mean([not row.alarms for row in rows]), 1.0),
        ("right takes found", np.mean([row.match >= LEAST_MATCH for row in rows]), 0.98),
        ("wrong songs refused", np.mean([match < LEAST_MATCH for match in wrong]), 0.98),
    )
    print(f"{len(rows)} takes, {len(sung)} with a singer, {len(wrong)} wrong songs")
    met = True
    for heading, value, reach in lines:
        is_met = value <= 5 if reach is None else value >= reach
        met &= bool(is_met)
        print(
            f"{heading:38}{value:8.3f}   {'>= ' + str(reach) if reach else '<= 5 ms':9}"
            f"{'yes' if is_met else 'NO'}"
        )
    right = sorted(row.match for row in rows)
    print(f"match: right {right[0]:.2f} to {right[-1]:.2f}, wrong up to {max(wrong):.2f}")
    return met


def _share(errors: list[float], limit: float) -> float:
    return float(np.mean([error <= limit for error in errors]))


def _told(row: Row) -> str:
    numbers = (row.offset_ms, row.bars_ms, row.singer_ms, row.singer_cents)
    words = "  ".join("     -" if n is None else f"{n:6.1f}" for n in numbers)
    return f"{row.match:.2f}  {words}  {row.name}  {', '.join(row.alarms)}"


def reference_of(run: Path, document: RunDocument) -> Listening:
    """What is listened for in the best candidate of a run."""
    clip = read_clip(run / document.candidates[0].music_file)
    return listening_to(clip, tuning_cents=tuning_of(clip))


def missing_tools() -> list[str]:
    """What the takes are made with and is not there."""
    missing = [name for name in ("fluidsynth", "ffmpeg") if shutil.which(name) is None]
    if not any(path.is_file() for path in SOUNDFONTS):
        missing.append(SOUNDFONTS[0].name)
    if not SINGERS_SOUNDFONT.is_file():
        missing.append(SINGERS_SOUNDFONT.name)
    return missing


def main() -> int:
    """Make the takes, review them, and print the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--store", type=Path, required=True, help="where takes are kept")
    parser.add_argument("--develop", action="store_true", help="odd seeds, for tuning")
    parser.add_argument("--recordings", type=int, default=N_RECORDINGS, help="of each performance")
    parser.add_argument(
        "--performances", type=int, default=N_PERFORMANCES, help="of each pair by another band"
    )
    asked = parser.parse_args()
    if missing := missing_tools():
        print(
            f"nothing was measured: takes cannot be made without {', '.join(missing)}; "
            "install it and run again"
        )
        return 1
    asked.store.mkdir(parents=True, exist_ok=True)
    runs = run_folders(asked.store, PAIRS)
    listened = [reference_of(run, read_document(run)) for run in runs]
    path = asked.store / "take under review"
    rows = []
    first_seed = FIRST_SEED["develop" if asked.develop else "report"]
    print("match  offset ms, bars ms, entry ms, entry cents (errors)")
    for index, run in enumerate(runs):
        others = [heard for place, heard in enumerate(listened) if place != index]
        counts = {"n_performances": asked.performances, "n_recordings": asked.recordings}
        for record, made, seed in takes(run, asked.store, first_seed, **counts):
            first = seed % 100 < 10
            rows.append(reviewed(run, record, made, seed, others if first else [], path))
            print(_told(rows[-1]), flush=True)
    return 0 if print_table(rows) else 1


if __name__ == "__main__":
    sys.exit(main())
