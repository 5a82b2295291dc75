"""Keys of rendered edges, alone and with the rest of the song that they are from.

``python -m benchmarks.song_keys --split report --items 400`` arranges each song once, renders an
edge of it, the stretch beside that edge and the other end of the song with the same players,
sounds and effects, hears the edge alone and with the others, and prints by group how many keys
are right, and how many of the sure ones. Where songs and SoundFonts are is said as for
``benchmarks.rendered_songs``.
"""

import argparse
import copy
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import soundfile

from benchmarks import _song_effects as effects
from benchmarks._song_sketch import Sketch
from benchmarks.rendered_songs import (
    EDGE_S,
    SPLIT_NUMBERS,
    Cut,
    Sources,
    add_source_options,
    arranged,
    drawn_cut,
    drawn_sketch,
    players_of,
    sounded,
    sources_of,
    varied,
)
from segue.analysis.hear import hear_edge
from segue.analysis.tuning import PITCHED_ROLES
from segue.audio import read_song
from segue.audio.clip import Clip, SongEdge

LEAST_S: Final = 12.0
"""Shorter stretches are not heard, as in `segue.audio.read`."""
SURE: Final = 0.8
ENDINGS: Final = (("stop", 0.0), ("ring", 0.0), ("fade", 8.0))
"""How the other end of a song ends, and how long it fades."""
SURE_REACH: Final = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardKeys:
    """An edge's truth, and what was heard of it alone and in its song: key and confidence."""

    groups: tuple[str, ...]
    key: str
    alone: tuple[str, float]
    in_song: tuple[str, float]


def main() -> int:
    """Render, hear and print; 1 where fewer sure keys are right than is asked."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    add_source_options(parser)
    parser.add_argument("--split", choices=list(SPLIT_NUMBERS), default="report")
    parser.add_argument("--items", type=int, default=100)
    parser.add_argument("--workers", type=int, default=1)
    options = parser.parse_args()
    sources = sources_of(options)
    with ProcessPoolExecutor(max_workers=options.workers) as pool:
        jobs = [pool.submit(heard, options.split, number, sources)
                for number in range(options.items)]  # fmt: skip
        found = [keys for job in jobs if (keys := job.result()) is not None]
    print(f"{'group':12} {'n':>4}  alone  in its song  sure and right, alone  in its song")
    for group in sorted({group for keys in found for group in keys.groups}):
        print(_row(group, [keys for keys in found if group in keys.groups]))
    sure = [keys for keys in found if keys.in_song[1] >= SURE]
    return int(np.mean([keys.in_song[0] == keys.key for keys in sure] or [1.0]) < SURE_REACH)


def _row(group: str, found: list[HeardKeys]) -> str:
    cells = []
    for name in ("alone", "in_song"):
        told = [(getattr(keys, name)[0] == keys.key, getattr(keys, name)[1]) for keys in found]
        sure = [is_right for is_right, confidence in told if confidence >= SURE]
        cells.append((np.mean([is_right for is_right, _ in told]),
                      np.mean(sure) if sure else np.nan, len(sure)))  # fmt: skip
    (alone, sure_alone, n_alone), (song, sure_song, n_song) = cells
    return (f"{group:12} {len(found):4}  {alone:5.3f}  {song:11.3f}  "
            f"{sure_alone:14.3f} of {n_alone:3}  {sure_song:5.3f} of {n_song:3}")  # fmt: skip


def heard(split: str, number: int, sources: Sources) -> HeardKeys | None:
    """An edge heard in both ways; None where its key is not sure or nothing can be rendered."""
    rng = np.random.default_rng([31, SPLIT_NUMBERS[split], number])
    try:
        sketch = varied(drawn_sketch(split, sources, rng), rng)
        cut = drawn_cut(sketch, rng)
        players = players_of(sketch, rng)
        before = copy.deepcopy(rng)
        draft = arranged(sketch, cut, players, rng)
        if draft.truth["key"] is None:
            return None
        edge = _edge_of(*sounded(draft, sources, copy.deepcopy(rng)))
        around = []
        for stretch in stretches(sketch, cut):
            other = arranged(sketch, stretch, players, copy.deepcopy(before))
            around.append(_clip_of(*sounded(other, sources, copy.deepcopy(rng))))
    except (ValueError, IndexError) as problem:  # too short a song, nothing sounding
        print(f"{split} {number}: {problem}", flush=True)
        return None
    alone, in_song = hear_edge(edge).key, hear_edge(edge, around=tuple(around)).key
    chord = draft.truth["edge_chord"] or {}
    is_off = cut.edge == "end" and bool(chord.get("semitones_above_tonic"))
    group = draft.truth["group"]
    return HeardKeys(
        groups=(group, "all", *([f"{group}, off"] if is_off else [])),
        key=draft.truth["key"],
        alone=(str(alone.key), alone.confidence),
        in_song=(str(in_song.key), in_song.confidence),
    )


def stretches(sketch: Sketch, cut: Cut) -> Iterator[Cut]:
    """The bars beside an edge, and those of the song's other end, where there are enough.

    A song that is cut for an end is over there, and one that is cut for a start begins there.
    """
    lines_s = sketch.beats_s[list(sketch.bars)]
    first, last = cut.bars
    if cut.edge == "end":
        beside = (int(np.searchsorted(lines_s, lines_s[first] - EDGE_S)), first)
        far_last = int(np.searchsorted(lines_s, lines_s[0] + EDGE_S, side="right")) - 1
        far = (0, min(far_last, beside[0]))
    else:
        beside_last = int(np.searchsorted(lines_s, lines_s[last] + EDGE_S, side="right")) - 1
        beside = (last, min(beside_last, sketch.n_bars))
        far_first = int(np.searchsorted(lines_s, lines_s[-1] - EDGE_S))
        far = (max(far_first, beside[1]), sketch.n_bars)
    for (from_bar, to_bar), is_beside in ((beside, True), (far, False)):
        if from_bar < to_bar and lines_s[to_bar] - lines_s[from_bar] >= LEAST_S:
            yield _stretch(cut, (from_bar, to_bar), is_beside=is_beside)


def _stretch(cut: Cut, bars: tuple[int, int], *, is_beside: bool) -> Cut:
    if is_beside:
        kind = "cut" if cut.edge == "end" else "cut in"
        return replace(cut, bars=bars, kind=kind, fade_s=0.0)
    if cut.edge == "end":
        return replace(cut, edge="start", bars=bars, kind="start", fade_s=0.0)
    kind, fade_s = ENDINGS[sum(bars) % len(ENDINGS)]
    return replace(cut, edge="end", bars=bars, kind=kind, fade_s=fade_s)


def _edge_of(sound: np.ndarray, truth: dict[str, Any]) -> SongEdge:
    """The rendering as a file would bring it; the song is twice as long."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "edge.wav"
        soundfile.write(path, sound, effects.FILE_RATE_HZ, subtype="PCM_16")
        return replace(read_song(path, edge=truth["edge"], edge_s=EDGE_S), duration_s=2 * EDGE_S)


def _clip_of(sound: np.ndarray, truth: dict[str, Any]) -> Clip:
    """A stretch in the half of the song that it is from."""
    edge = _edge_of(sound, truth)
    clip = edge.sum_of(*PITCHED_ROLES)
    assert clip is not None
    return replace(clip, start_s=0.0 if edge.edge == "start" else EDGE_S)


if __name__ == "__main__":
    sys.exit(main())
