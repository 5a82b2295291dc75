"""Fit the nets by which Segue's hearing of keys adds up its evidence.

``python -m benchmarks.fit_key FOLDER... --into MODEL.npz`` hears every item of sets that
``benchmarks.ears_set`` (odd seeds) and ``benchmarks.rendered_songs`` (split fit) made, cuts
and colours each anew several times, and fits nets of one hidden layer that see the evidence
from every tonic. Songs are in four folds, and each net is fitted to three of them. ``--guessed
N`` adds edges whose frames are guessed from notes without sound, songs that nobody wrote among
them; ``--recordings FOLDER`` adds the edges of recordings on whose key general estimators
agree. ``--measure FOLDER...`` prints what the nets do on sets that they were not fitted to.

The weights in place were fitted by `fitted_net` on 3600 items, 14 000 cuts: edges of songs,
loops and produced grooves, band grooves, scores and 250 edges of recordings; and on 22 000
guessed edges. The frames had been kept as bytes. A new run of this module gives other weights of
the same kind.
"""

import argparse
import json
import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Final

import numpy as np

from benchmarks import rendered_songs
from benchmarks._agreed_keys import agreed_key
from benchmarks._key_frames import N_FOLDS, KeyItem, frames_of, other_cut, unpacked
from benchmarks._song_frames import guessed_cuts
from benchmarks._song_grammar import Grammar, grammar_sketch, learned
from benchmarks._song_loops import loop_sketch
from benchmarks._song_produced import produced_sketch
from benchmarks._song_sketch import rock_sketches, split_of
from segue.analysis.key_evidence import key_evidence
from segue.analysis.key_heard import KeyModel, key_scores
from segue.music.key import ALL_KEYS, MODES, N_PITCH_CLASSES, Key, parse_key

N_UNITS: Final = 48
BATCH: Final = 64
RATE: Final = 0.002
DECAY: Final = 0.01
DROPPED: Final = 0.3
SMOOTHING: Final = 0.04
NOISE: Final = 0.15
OTHER_CUTS: Final = {"guessed": 1}
MOST_OTHER_CUTS: Final = 3
WEIGHTS: Final = {"groove": 0.8, "score": 0.8, "rock": 1.2, "pop": 1.2, "loop": 1.1,
                  "produced": 0.9, "guessed": 0.5, "recording": 1.2}  # fmt: skip
FEWEST_AGREED: Final = 4
RECORDINGS: Final = (".ogg", ".flac", ".mp3", ".wav", ".opus")
SURE: Final = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Layers:
    """Weights of one net, in the order in which they are fitted."""

    hidden: np.ndarray
    hidden_bias: np.ndarray
    modes: np.ndarray
    straight: np.ndarray
    modes_bias: np.ndarray

    @property
    def all(self) -> tuple[np.ndarray, ...]:
        """Every array, to be changed in place."""
        return (self.hidden, self.hidden_bias, self.modes, self.straight, self.modes_bias)


def main() -> None:
    """Fit from the command line."""
    options = fit_options(__doc__ or "")
    items = heard_items(options)
    evidence, keys, weights, folds = _training(items)
    model = fitted(evidence, keys, weights, folds, n_epochs=options.epochs)
    write_model(model, options.into)
    print(f"{len(items)} items, {len(keys)} cuts, a net for each fold in {options.into}")
    for folder in options.measure:
        _measure(model, folder)


def heard_items(options: argparse.Namespace) -> list[KeyItem]:
    """All items that `fit_options` ask for, heard or guessed on all processors."""
    sources = rendered_songs.sources_of(options)
    with ProcessPoolExecutor(max_workers=options.workers) as pool:
        items = [item for item in pool.map(_heard, _truths(options.folders)) if item]
        guess = partial(_guessed, sources)
        items += [item for item in pool.map(guess, range(options.guessed)) if item]
        if options.recordings:
            files = [p for p in sorted(options.recordings.rglob("*")) if p.suffix in RECORDINGS]
            jobs = [(path, edge) for path in files for edge in ("start", "end")]
            items += [item for item in pool.map(_recording, jobs) if item]
    return items


def fit_options(description: str) -> argparse.Namespace:
    """What both fits of the key are asked for."""
    parser = argparse.ArgumentParser(description=description.partition("\n")[0])
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--into", type=Path, required=True)
    parser.add_argument("--guessed", type=int, default=0)
    parser.add_argument("--recordings", type=Path)
    parser.add_argument("--measure", type=Path, nargs="*", default=[])
    parser.add_argument("--epochs", type=float, default=8)
    parser.add_argument("--seconds", type=float, default=320)
    parser.add_argument("--workers", type=int, default=os.cpu_count())
    rendered_songs.add_source_options(parser)
    return parser.parse_args()


def _truths(folders: list[Path]) -> Iterator[tuple[Path, dict[str, Any]]]:
    for folder in folders:
        for truth in json.loads((folder / "index.json").read_text("utf-8")):
            yield folder, truth


def _heard(job: tuple[Path, dict[str, Any]]) -> KeyItem | None:
    """An item of a set; None where its key is not sure or nothing is pitched."""
    folder, truth = job
    if not truth["key"]:
        return None
    cuts = frames_of(folder / truth["file"], truth["edge"])
    return _item(cuts, parse_key(truth["key"]), truth["group"], _song_of(truth)) if cuts else None


def _item(cuts: tuple[Any, ...], key: Key, group: str, song: str) -> KeyItem:
    weight = WEIGHTS.get(group, 1.0)
    return KeyItem(cuts=cuts, key=ALL_KEYS.index(key), group=group, song=song, weight=weight)


def _song_of(truth: dict[str, Any]) -> str:
    """The song, or the chords of a loop in whatever rotation; none for what nobody wrote."""
    if truth["group"] == "grammar":
        return ""
    loop = str(truth["style"]).rpartition(":")[2].partition(", from")[0].strip()
    is_loop = truth["group"] in {"loop", "produced"}
    return f"loop {loop}" if is_loop else f"{truth['group']} {truth['piece'] or truth['file']}"


def _recording(job: tuple[Path, str]) -> KeyItem | None:
    """An edge of a recording on whose key enough estimators agree."""
    path, edge = job
    key, n_agree = agreed_key(path)
    if n_agree < FEWEST_AGREED:
        return None
    return _item(frames_of(path, edge), ALL_KEYS[key], "recording", path.parent.name)


def _guessed(sources: rendered_songs.Sources, number: int) -> KeyItem | None:
    """An edge without sound: of a song that nobody wrote, of a loop, or of a song."""
    rng = np.random.default_rng([77, number])
    draw = rng.random()
    if draw < 0.3 and sources.rock:
        sketch = grammar_sketch(number, _grammar(sources.rock), rng)
    elif draw < 0.42:
        sketch = loop_sketch(3 * int(rng.integers(10_000)), rng)
    elif draw < 0.5:
        sketch = produced_sketch(number, rng)
    else:
        sketch = rendered_songs.drawn_sketch("fit", sources, rng)
    try:
        draft = rendered_songs.drafted(sketch, rng)
    except (ValueError, IndexError):  # too short a song
        return None
    if not draft.truth["key"]:
        return None
    is_start = draft.cut.edge == "start"
    cuts = tuple(unpacked(cut, is_start=is_start) for cut in guessed_cuts(draft, rng))
    return _item(cuts, parse_key(draft.truth["key"]), "guessed", _song_of(draft.truth))


_grammars: dict[Path, Grammar] = {}


def _grammar(path: Path) -> Grammar:
    if path not in _grammars:
        songs = (song for song in rock_sketches(path) if split_of(song.name) == "fit")
        _grammars[path] = learned(songs)
    return _grammars[path]


def _training(items: list[KeyItem]) -> tuple[np.ndarray, ...]:
    """Evidence of each cut as heard and of others, keys, weights and folds."""
    rows, keys, weights, folds = [], [], [], []
    for number, item in enumerate(items):
        rng = np.random.default_rng([11, number])
        n_others = OTHER_CUTS.get(item.group, MOST_OTHER_CUTS)
        others = [other_cut(item.cuts[rng.integers(len(item.cuts))], rng) for _ in range(n_others)]
        for cut in (*item.cuts, *others):
            rows.append(key_evidence(cut))
            keys.append(item.key)
            weights.append(item.weight)
            folds.append(item.fold)
    return np.array(rows, np.float32), np.array(keys), np.array(weights), np.array(folds)


def fitted(
    evidence: np.ndarray,
    keys: np.ndarray,
    weights: np.ndarray,
    folds: np.ndarray,
    *,
    n_epochs: float,
) -> KeyModel:
    """A net for each fold, which it has not seen, on evidence brought to one scale by kind."""
    mean = evidence.mean(axis=(0, 2))[:, None]
    scale = evidence.std(axis=(0, 2))[:, None] + 1e-4
    level = (evidence - mean) / scale
    nets = []
    for fold in range(N_FOLDS):
        seen = folds != fold
        nets.append(fitted_net(level[seen], keys[seen], weights[seen], fold, n_epochs))
    layers = [np.stack(layer) for layer in zip(*(net.all for net in nets), strict=True)]
    names = ("hidden", "hidden_bias", "modes", "straight", "modes_bias")
    return KeyModel(mean=mean, scale=scale, **dict(zip(names, layers, strict=True)))


def fitted_net(
    level: np.ndarray, keys: np.ndarray, weights: np.ndarray, seed: int, n_epochs: float
) -> Layers:
    """Adam with a cosine rate and decay of the weights that see the evidence."""
    rng = np.random.default_rng(seed)
    n_seen = level.shape[1] * N_PITCH_CLASSES
    net = Layers(
        hidden=rng.normal(0, n_seen**-0.5, (n_seen, N_UNITS)).astype(np.float32),
        hidden_bias=np.zeros(N_UNITS, np.float32),
        modes=rng.normal(0, 0.1, (N_UNITS, len(MODES))).astype(np.float32),
        straight=np.zeros((n_seen, len(MODES)), np.float32),
        modes_bias=np.zeros(len(MODES), np.float32),
    )
    means = [np.zeros_like(array) for array in net.all]
    squares = [np.zeros_like(array) for array in net.all]
    n_steps = int(n_epochs * len(keys) / BATCH)
    for step in range(1, n_steps + 1):
        chosen = rng.choice(len(keys), BATCH, p=weights / weights.sum())
        slopes = _slopes(net, _noisy(level[chosen], rng), keys[chosen], rng)
        rate = RATE * min(1, step / 50) * (0.5 * (1 + np.cos(np.pi * step / n_steps)) + 0.01)
        for number, (array, slope) in enumerate(zip(net.all, slopes, strict=True)):
            means[number] = 0.9 * means[number] + 0.1 * slope
            squares[number] = 0.999 * squares[number] + 0.001 * slope**2
            ahead = means[number] / (1 - 0.9**step)
            ahead /= np.sqrt(squares[number] / (1 - 0.999**step)) + 1e-8
            np.subtract(array, rate * (ahead + DECAY * array * (number in (0, 3))), out=array)
    return net


def _noisy(level: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Evidence with each kind a little louder or softer, or missing."""
    kinds = (*level.shape[:2], 1)
    louder = 1 + NOISE * rng.standard_normal(kinds, dtype=np.float32)
    return np.asarray(level * louder * (rng.random(kinds, dtype=np.float32) > 0.08))


def _slopes(
    net: Layers, level: np.ndarray, keys: np.ndarray, rng: np.random.Generator
) -> tuple[np.ndarray, ...]:
    """Slopes of the smoothed cross entropy over 24 keys, hidden units dropped at random."""
    n_items = len(level)
    turned = [np.roll(level, -t, axis=2).reshape(n_items, -1) for t in range(N_PITCH_CLASSES)]
    seen = np.stack(turned, axis=1).reshape(n_items * N_PITCH_CLASSES, -1)
    raw = seen @ net.hidden + net.hidden_bias
    kept = (rng.random((n_items, 1, N_UNITS)) > DROPPED).repeat(N_PITCH_CLASSES, 1)
    passes = (raw > 0) * kept.reshape(raw.shape) / np.float32(1 - DROPPED)
    units = (raw * passes).astype(np.float32)
    scores = (units @ net.modes + seen @ net.straight + net.modes_bias).reshape(
        n_items, N_PITCH_CLASSES, len(MODES)
    )
    flat = scores.transpose(0, 2, 1).reshape(n_items, len(ALL_KEYS))
    odds = np.exp(flat - flat.max(axis=1, keepdims=True))
    odds /= odds.sum(axis=1, keepdims=True)
    wanted = np.full(odds.shape, SMOOTHING / len(ALL_KEYS))
    wanted[np.arange(n_items), keys] += 1 - SMOOTHING
    error = ((odds - wanted) / n_items).reshape(n_items, len(MODES), N_PITCH_CLASSES)
    error = error.transpose(0, 2, 1).reshape(-1, len(MODES)).astype(np.float32)
    back = ((error @ net.modes.T) * passes).astype(np.float32)
    return (seen.T @ back, back.sum(axis=0), units.T @ error, seen.T @ error, error.sum(axis=0))


def write_model(model: KeyModel, path: Path) -> None:
    """Write the arrays that ``segue.analysis.key_heard`` reads, in half precision."""
    names = KeyModel.__slots__  # type: ignore[attr-defined]
    arrays = {name: getattr(model, name).astype(np.float16) for name in names}
    exact = {name: getattr(model, name).astype(np.float32) for name in ("mean", "scale")}
    np.savez_compressed(path, **(arrays | exact))


def _measure(model: KeyModel, folder: Path) -> None:
    """What the nets do on a set, without caution."""
    items = [item for item in map(_heard, _truths([folder])) if item]
    for group in sorted({item.group for item in items}):
        chosen = [item for item in items if item.group == group]
        scores = np.array([np.mean([key_scores(model, key_evidence(cut)) for cut in item.cuts],
                                   axis=0) for item in chosen])  # fmt: skip
        right = scores.argmax(axis=1) == np.array([item.key for item in chosen])
        odds = np.exp(scores)
        sure = (odds / odds.sum(axis=1, keepdims=True)).max(axis=1) >= SURE
        shown = f"{right[sure].mean():.3f}" if sure.any() else "-"
        print(f"{folder.name} {group}: {len(chosen)} exact {right.mean():.3f}, sure "
              f"{sure.mean():.2f}, of these right {shown}")  # fmt: skip


if __name__ == "__main__":
    main()
