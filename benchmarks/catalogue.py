"""What a catalogue costs: hearing for each core, memory over many songs, all pairs of songs.

Run: ``python -m benchmarks.catalogue [--songs 300] [--pairs 20000] [--heard 4]``

Hearing: songs of 100 s are heard for the catalogue by one process; how many seconds of
their edges in a second of processor time. Memory: that many songs of 3 s, each of its own
content, go through the whole of `build_catalogue` (``--songs 5000`` is the full size and
takes about half an hour); the resident memory of the process after a tenth of them and at
the end, and its medians over the first and the last fifth. Pairs: the 20 best of every song
among random facts, written to the catalogue.
Exit 1 if hearing is below 60 times real time, memory grew by more than 5 %, or the pairs
took a minute.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import soundfile

from segue.catalogue import Build, Store, build_catalogue, open_store, write_all_pairs
from segue.catalogue.filling import Asked, hear_both_edges
from segue.catalogue.suiting import ENDINGS, OPENINGS
from segue.music.key import MODES
from segue.workers import open_workers

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

RATE_HZ = 44_100
LONG_SONG_S, SHORT_SONG_S = 100.0, 3.0
EDGE_S = 45.0
LEAST_REAL_TIME = 60.0
MOST_GROWTH = 1.05
MOST_PAIRS_S = 60.0
CHORDS = ((0, 4, 7), (9, 12, 16), (5, 9, 12), (7, 11, 14))
"""I, vi, IV, V in semitones above the tonic."""


def main() -> int:
    """Print the table; 1 if something was missed."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--songs", type=int, default=300, help="for the memory")
    parser.add_argument("--pairs", type=int, default=20_000, help="songs that are compared")
    parser.add_argument("--heard", type=int, default=4, help="long songs that are heard")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as work:
        folder = Path(work)
        rate = _hearing_rate(folder / "long", asked.heard)
        print(f"hearing, one core            {rate:8.1f} x real time (>= {LEAST_REAL_TIME:g})")
        seen_mb = _memory_mb(folder / "short", asked.songs)
        first, last = seen_mb[len(seen_mb) // 10], seen_mb[-1]
        print(f"memory at a tenth, at the end {first:6.0f}, {last:.0f} MB of {asked.songs} songs")
        n_fifth = max(len(seen_mb) // 5, 1)
        early, late = np.median(seen_mb[:n_fifth]), np.median(seen_mb[-n_fifth:])
        print(f"median of first, last fifth   {early:6.0f}, {late:.0f} MB")
        took_s, peak_mb = _pairs_s(folder / "pairs.sqlite", asked.pairs)
        print(f"all pairs of {asked.pairs} songs    {took_s:8.1f} s (< {MOST_PAIRS_S:g})")
        print(f"peak memory so far           {peak_mb:8.0f} MB")
    is_met = rate >= LEAST_REAL_TIME and last <= MOST_GROWTH * first and took_s < MOST_PAIRS_S
    return 0 if is_met else 1


def _hearing_rate(folder: Path, n_songs: int) -> float:
    for number in range(n_songs + 1):
        _write_song(folder / f"{number}.wav", number, LONG_SONG_S)
    paths = sorted(folder.iterdir())
    hear_both_edges(Asked(path=paths[0], content="", edge_s=EDGE_S))  # compiles, warms up
    start_s = time.process_time()
    for path in paths[1:]:
        hear_both_edges(Asked(path=path, content="", edge_s=EDGE_S))
    return 2 * EDGE_S * n_songs / (time.process_time() - start_s)


def _memory_mb(folder: Path, n_songs: int) -> list[float]:
    """Resident memory of one process that lists and hears, after each song."""
    for number in range(n_songs):
        _write_song(folder / f"{number:05d}.wav", number, SHORT_SONG_S)
    seen: list[float] = []
    with open_store(folder.with_suffix(".sqlite")) as store, open_workers(n_processes=1) as hands:
        tell: Callable[[str], None] = lambda _: seen.append(_resident_mb())  # noqa: E731
        build_catalogue(store, Build(folders=(folder,)), hands, tell=tell)
    return seen


def _pairs_s(path: Path, n_songs: int) -> tuple[float, float]:
    rng = np.random.default_rng(20)
    with open_store(path) as store:
        _write_facts(store, rng, n_songs)
        start_s = time.perf_counter()
        write_all_pairs(store)
        took_s = time.perf_counter() - start_s
    return took_s, _peak_mb()


def _write_facts(store: Store, rng: np.random.Generator, n_songs: int) -> None:
    """Random facts of songs that nobody recorded, without the parts that are not compared."""
    store.database.execute("BEGIN")
    store.database.executemany("INSERT INTO songs VALUES (?, ?, '', ?)", _names(n_songs))
    for edge, kinds in (("end", ENDINGS), ("start", OPENINGS)):
        store.database.executemany(
            "INSERT INTO edges VALUES (?, ?, ?, ?, ?, ?, ?, '')",
            _random_edges(rng, n_songs, edge, kinds),
        )
    store.database.execute("COMMIT")


def _names(n_songs: int) -> Iterable[tuple[str, str, str]]:
    return ((f"/{n:06d}.wav", f"Song {n}", f"{n:040x}") for n in range(n_songs))


def _random_edges(
    rng: np.random.Generator, n_songs: int, edge: str, kinds: tuple[str, ...]
) -> Iterator[tuple[Any, ...]]:
    """One in ten without a key, two in ten in free time."""
    for n in range(n_songs):
        has_key, has_pulse = rng.random(2) > (0.1, 0.2)
        yield (
            f"{n:040x}",
            edge,
            int(rng.integers(12)) if has_key else None,
            MODES[int(rng.integers(2))] if has_key else None,
            float(rng.uniform(60, 180)) if has_pulse else None,
            float(rng.normal(-14, 4)),
            kinds[int(rng.integers(len(kinds)))],
        )


def _write_song(path: Path, seed: int, duration_s: float) -> None:
    """Four chords, a bass and a drum on every beat."""
    path.parent.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(seed)
    beat_s, tonic = 60.0 / rng.uniform(85, 150), rng.integers(48, 60)
    time_s = np.arange(round(duration_s * RATE_HZ)) / RATE_HZ
    bar = (time_s // (4 * beat_s)).astype(np.int64) % len(CHORDS)
    in_beat_s = time_s % beat_s
    sound = 0.3 * np.exp(-in_beat_s / 0.02) * rng.standard_normal(len(time_s))
    for voice in range(3):
        midi = tonic + np.array(CHORDS)[bar, voice]
        sound += 0.08 * np.sin(2 * np.pi * 440.0 * 2 ** ((midi - 69) / 12) * time_s)
    root = tonic - 12 + np.array(CHORDS)[bar, 0]
    bass_hz = 440.0 * 2 ** ((root - 69) / 12)
    sound += 0.2 * np.exp(-in_beat_s / 0.3) * np.sin(2 * np.pi * bass_hz * time_s)
    soundfile.write(path, np.column_stack([sound, sound]).astype(np.float32), RATE_HZ)


def _resident_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * 4096 / 1e6


def _peak_mb() -> float:
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3


if __name__ == "__main__":
    sys.exit(main())
