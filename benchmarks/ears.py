"""How well Segue hears, next to the general libraries, on songs whose truth is exact.

``python -m benchmarks.ears`` makes the report set (seed 2) or reuses it, prints the table,
and exits with 1 where a reach is missed. ``--dev`` is the set to tune on (seed 1); nobody
tunes on the report set. In scripts, `evaluate` does the same for any function that hears.

Besides the project it needs the ``bench`` extra, and the Debian packages ``fluidsynth`` and
``fluid-soundfont-gm``.
"""

import argparse
import hashlib
import json
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import platformdirs

from benchmarks import _baselines, _ears_songs, _segue
from benchmarks._measures import Tally, calibration, first_note_share, pairs_both_right, tally
from benchmarks._table import missed, table_lines
from benchmarks.ears_set import DEV_SEED, REPORT_SEED, SIZES, build

Item = dict[str, Any]
Hear = Callable[[Item], Item]
"""From a truth (of which it reads ``path`` and ``edge``) to an answer as ``--json`` prints it."""
GROUPS: Final[dict[str, Callable[[Item], bool]]] = {
    "all": lambda _: True,
    "scores": lambda truth: truth["group"] == "score",
    "grooves": lambda truth: truth["group"] == "groove",
    "endings": lambda truth: truth["edge"] == "end",
    "openings": lambda truth: truth["edge"] == "start",
    "drums": lambda truth: truth["has_drums"],
    "no drums": lambda truth: not truth["has_drums"],
    "major": lambda truth: truth["key"].endswith("major"),
    "minor": lambda truth: truth["key"].endswith("minor"),
    "lossy": lambda truth: truth["is_lossy"],
}
GROUP_MEASURES: Final = (
    "key_weighted", "key_exact", "tempo_octave_free", "tempo_acc1", "beat_f", "downbeat_f",
    "metre", "tuning_abs_cents",
)  # fmt: skip
BASELINE_COLUMNS: Final = {
    "key MIREX": "key_weighted",
    "grooves": "key_weighted_groove",
    "key exact": "key_exact",
    "pairs": "pairs_exact",
    "tempo 0.5 %": "tempo_octave_free",
    "tempo Acc1": "tempo_acc1",
    "beat F": "beat_f",
    "drums ms": "beat_drums_abs_ms",
    "signed ms": "beat_drums_signed_ms",
    "no drums ms": "beat_no_drums_abs_ms",
    "cents": "tuning_abs_cents",
    "x real time": "speed",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Evaluation:
    """Truths, answers, and what they come to."""

    truths: list[Item]
    answers: list[Item]
    tally: Tally

    def lines(self) -> list[str]:
        """The table of this one system, its groups, and its calibration curve."""
        lines = [*table_lines(self.tally, {}), "", *group_lines(self.truths, self.answers)]
        if all("confidence" in answer.get("key", {}) for answer in self.answers):
            lines += ["", *calibration_lines(self.truths, self.answers)]
        return lines


def evaluate(index_path: Path | str, hear: Hear, *, limit: int | None = None) -> Evaluation:
    """What a function hears in a set, measured.

    Parameters
    ----------
    index_path : path
        The set's ``index.json``; ``pairs.json`` is looked for beside it.
    hear : callable
        From a truth, with ``path`` added, to an answer in the form of ``segue analyse
        --json``; ``took_s`` is its processor time. What it leaves out is not measured.
    limit : int or None
        The first so many items only.

    Returns
    -------
    Evaluation
        Its ``lines()`` are the table, ready to print.
    """
    truths = load_truths(index_path)[:limit]
    answers = [hear(truth) for truth in truths]
    return measured(truths, answers, load_pairs(index_path))


def measured(truths: list[Item], answers: list[Item], pairs: list[dict[str, str]]) -> Evaluation:
    """Answers that are already there, measured."""
    total = tally(truths, answers)
    both = pairs_both_right(pairs, truths, answers)
    if both is not None:
        total.add("pairs_exact", both)
    took_s = sum(answer.get("took_s", 0.0) for answer in answers)
    if took_s:
        total.add("speed", sum(truth["length_s"] for truth in truths) / took_s)
    return Evaluation(truths=truths, answers=answers, tally=total)


def add_first_notes(total: Tally, truths: list[Item], answers: list[Item]) -> None:
    """The first-note set's measures."""
    for kind in ("clean", "bleed"):
        share = first_note_share(truths, answers, kind)
        if share is not None:
            total.add(f"first_note_{kind}", share)
    took_s = sum(answer.get("took_s", 0.0) for answer in answers)
    if took_s:
        total.add("first_note_speed", sum(truth["length_s"] for truth in truths) / took_s)


def load_truths(index_path: Path | str) -> list[Item]:
    """The truths of an index, each with the whole ``path`` of its file."""
    folder = Path(index_path).parent
    truths: list[Item] = json.loads(Path(index_path).read_text())
    return [truth | {"path": str(folder / truth["file"])} for truth in truths]


def load_pairs(index_path: Path | str) -> list[dict[str, str]]:
    """The pairs of a set, or none where it has none."""
    path = Path(index_path).with_name("pairs.json")
    pairs: list[dict[str, str]] = json.loads(path.read_text()) if path.exists() else []
    return pairs


def group_lines(truths: Sequence[Item], answers: Sequence[Item]) -> list[str]:
    """The chief measures, group by group."""
    lines = [f"{'group':<10} {'n':>4} " + " ".join(f"{m:>17}" for m in GROUP_MEASURES)]
    for name, belongs in GROUPS.items():
        inside = [pair for pair in zip(truths, answers, strict=True) if belongs(pair[0])]
        if not inside:
            continue
        total = tally([pair[0] for pair in inside], [pair[1] for pair in inside])
        results = [total.result(measure) for measure in GROUP_MEASURES]
        texts = [f"{'-' if result is None else f'{result:.3f}':>17}" for result in results]
        lines.append(f"{name:<10} {len(inside):>4} " + " ".join(texts))
    return lines


def calibration_lines(truths: Sequence[Item], answers: Sequence[Item]) -> list[str]:
    """Confidence of the key against the share that is right."""
    lines = ["key confidence     n  right"]
    for low, high, n_items, share in calibration(truths, answers):
        lines.append(f"  {low:.1f} to {high:.1f}  {n_items:>6}  {share:.2f}")
    return lines


def baseline_tallies(
    truths: list[Item], pairs: list[dict[str, str]], kept_path: Path
) -> dict[str, Tally]:
    """Every general library's tally; answers are kept, for the libraries do not change."""
    kept: dict[str, Any] = json.loads(kept_path.read_text()) if kept_path.exists() else {}
    marks = [_mark(truth) for truth in truths]
    todo = [(mark, truth) for mark, truth in zip(marks, truths, strict=True) if mark not in kept]
    if todo:
        with ProcessPoolExecutor(max_workers=2, initializer=_baselines.warm_up) as pool:
            found = pool.map(_baselines.baseline_answers, [truth["path"] for _, truth in todo])
            for (mark, _), answers in zip(todo, found, strict=True):
                kept[mark] = answers
                kept_path.write_text(json.dumps(kept))
    heard = [_baselines.with_together(kept[mark]) for mark in marks]
    tallies = {
        name: measured(truths, [answers[name] for answers in heard], pairs).tally
        for name in (heard[0] if heard else {})
    }
    for name, total in tallies.items():
        if name not in _baselines.TOGETHER:  # a part alone is no rival in speed
            total.values["speed_alone"] = total.values.pop("speed")
    return tallies


def _mark(truth: Item) -> str:
    """What an item is known by: a remade item has another truth and another mark."""
    stable = {name: value for name, value in truth.items() if name != "path"}
    digest = hashlib.sha256(json.dumps(stable, sort_keys=True).encode()).hexdigest()
    return f"{truth['file']} {digest[:12]}"


def baseline_lines(tallies: dict[str, Tally]) -> list[str]:
    """Each library's own results."""
    lines = [f"{'library':<26}" + "".join(f"{heading:>12}" for heading in BASELINE_COLUMNS)]
    for name, total in tallies.items():
        results = [total.result(measure) for measure in BASELINE_COLUMNS.values()]
        results[-1] = results[-1] or total.result("speed_alone")
        texts = [f"{'-' if result is None else f'{result:.3g}':>12}" for result in results]
        lines.append(f"{name:<26}" + "".join(texts))
    return lines


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--seed", type=int, default=REPORT_SEED)
    parser.add_argument("--dev", action="store_true", help="the set to tune on")
    parser.add_argument("--items", type=int, default=None, help="make a smaller set")
    parser.add_argument(
        "--cache",
        type=Path,
        default=platformdirs.user_cache_path("segue") / "ears",
        help="where sets are kept (default: %(default)s)",
    )
    parser.add_argument("--without-baselines", action="store_true")
    parser.add_argument("--songs", type=Path, help="a set of benchmarks.rendered_songs, keys only")
    parser.add_argument("--recordings", type=Path, help="recordings without labels, keys only")
    return parser.parse_args()


def _songs_and_recordings(options: argparse.Namespace) -> int:
    """The table of songs and recordings; 1 where a reach is missed."""
    results = []
    if options.songs:
        results += _ears_songs.song_results(load_truths(options.songs / "index.json"))
    if options.recordings:
        results += _ears_songs.recording_results(options.recordings)
    print("\n".join(_ears_songs.result_lines(results)))
    return 0 if all(map(_ears_songs.is_reached, results)) else 1


def main() -> int:
    """Print the table; 1 where a reach is missed."""
    options = _options()
    if options.songs or options.recordings:
        return _songs_and_recordings(options)
    seed = DEV_SEED if options.dev else options.seed
    n_items = options.items or SIZES.get(seed, SIZES[REPORT_SEED])
    name = {DEV_SEED: "dev", REPORT_SEED: "report"}.get(seed, f"seed{seed}")
    folder = options.cache / (name if options.items is None else f"{name}-{n_items}")
    build(seed, n_items, folder, options.cache / "cache")
    truths, pairs = load_truths(folder / "index.json"), load_pairs(folder / "index.json")
    others: dict[str, Tally] = {}
    if not options.without_baselines:
        others = baseline_tallies(truths, pairs, folder / "baselines.json")
        if not _baselines.has_essentia():
            print("essentia: not installed, its rows are absent; pip install 'segue[bench]'.\n")
    _segue.hear_with_segue(truths[0])  # compiles what the first call compiles; not timed
    evaluation = evaluate(folder / "index.json", _segue.hear_with_segue)
    notes = load_truths(folder / "first_notes.json")
    add_first_notes(evaluation.tally, notes, [_segue.hear_first_note(note) for note in notes])
    print("\n".join(table_lines(evaluation.tally, others)))
    print("\n".join(["", *group_lines(evaluation.truths, evaluation.answers)]))
    print("\n".join(["", *calibration_lines(evaluation.truths, evaluation.answers)]))
    print("\n".join(["", *baseline_lines(others)] if others else []))
    return 1 if missed(evaluation.tally) else 0


if __name__ == "__main__":
    sys.exit(main())
