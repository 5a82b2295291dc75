"""Keys of songs that do not end on their tonic, and of recordings without labels.

`song_results` reads sets of `benchmarks.rendered_songs`; `recording_results` compares with
what general estimators agree on (`benchmarks._agreed_keys`).
"""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

from benchmarks import _segue
from benchmarks._agreed_keys import agreed_key
from benchmarks._measures import SURE, is_key_right, key_name, mirex_score
from segue.analysis.facts import KEY_CONFIDENCE
from segue.music.key import ALL_KEYS, parse_key

Item = dict[str, Any]
Result = tuple[str, int, float, float]
"""What was measured, on how many edges, the result, and the reach."""
AT_MOST: Final = ("none heard", "sure of another")
"""Results that have to be no higher than their reach."""
ALL_AGREE: Final = 5
SUFFIXES: Final = (".ogg", ".flac", ".mp3", ".wav", ".opus")


def _is_off_tonic(truth: Item) -> bool:
    chord = truth["edge_chord"]
    return bool(truth["edge"] == "end" and chord and chord["semitones_above_tonic"])


GROUPS: Final[dict[str, Callable[[Item], bool]]] = {
    "rock songs": lambda t: t["group"] == "rock",
    "pop songs": lambda t: t["group"] == "pop",
    "loops": lambda t: t["group"] == "loop",
    "rock and pop endings off the tonic": lambda t: t["group"] != "loop" and _is_off_tonic(t),
    "loops that stop off the tonic": lambda t: t["group"] == "loop" and _is_off_tonic(t),
}
REACHES: Final = {
    ("rock songs", "exact"): 0.94,
    ("rock songs", "weighted"): 0.96,
    ("rock and pop endings off the tonic", "exact"): 0.88,
    ("loops", "exact"): 0.85,
}
SURE_REACH: Final = 0.95
PAIR_REACH: Final = 0.88


def song_results(truths: Sequence[Item]) -> list[Result]:
    """Every group of a set of rendered songs; edges without a sure key are left out."""
    kept = [truth for truth in truths if truth["key"]]
    answers = [_segue.hear_with_segue(truth) for truth in kept]
    results: list[Result] = []
    for name, belongs in GROUPS.items():
        inside = [(t, a) for t, a in zip(kept, answers, strict=True) if belongs(t)]
        if inside:
            results += _group_results(name, inside)
    right = [is_key_right(t, a) for t, a in zip(kept, answers, strict=True)]
    ends = [r for t, r in zip(kept, right, strict=True) if t["edge"] == "end"]
    starts = [r for t, r in zip(kept, right, strict=True) if t["edge"] == "start"]
    both = [a and b for a, b in zip(ends, starts, strict=False)]
    results.append(("both keys of a pair", len(both), float(np.mean(both)), PAIR_REACH))
    chords = [_is_chord_right(t, a) for t, a in zip(kept, answers, strict=True) if t["edge_chord"]]
    results.append(("chord at the edge", len(chords), float(np.mean(chords)), 0.0))
    return results


def _group_results(name: str, inside: Sequence[tuple[Item, Item]]) -> list[Result]:
    scores = np.array([mirex_score(t["key"], key_name(a["key"])) for t, a in inside])
    sure = np.array([a["key"]["confidence"] >= SURE for _, a in inside])
    n_items, n_sure = len(inside), int(sure.sum())
    exact, weighted = float(np.mean(scores == 1.0)), float(scores.mean())
    results = [
        (f"{name}: exact", n_items, exact, REACHES.get((name, "exact"), 0.0)),
        (f"{name}: weighted", n_items, weighted, REACHES.get((name, "weighted"), 0.0)),
    ]
    if n_sure:
        right = float(np.mean(scores[sure] == 1.0))
        results.append((f"{name}: right where sure", n_sure, right, SURE_REACH))
    return results


def _is_chord_right(truth: Item, answer: Item) -> bool:
    """Whether root and third of the chord at the edge are right."""
    heard, wanted = answer.get("edge_chord"), truth["edge_chord"]
    if heard is None:
        return False
    third = 3 if heard["quality"] == "minor" else 4
    return bool(heard["root"] == wanted["root"] and third in wanted["intervals"])


def recording_results(folder: Path) -> list[Result]:
    """Where at least four of five estimators agree, and where all do."""
    votes: dict[int, list[tuple[bool, float]]] = {4: [], 5: []}
    for path in sorted(p for p in folder.rglob("*") if p.suffix in SUFFIXES):
        wanted, n_agree = agreed_key(path)
        edge = "start" if path.stem.endswith("start") else "end"
        answer = _segue.hear_with_segue({"path": str(path), "edge": edge})
        heard = ALL_KEYS.index(parse_key(key_name(answer["key"])))
        for least, found in votes.items():
            if n_agree >= least:
                found.append((heard == wanted, answer["key"]["confidence"]))
    results: list[Result] = []
    for least, reach in ((4, 0.90), (ALL_AGREE, 0.97)):
        same = np.array([is_same for is_same, _ in votes[least]], dtype=bool)
        confidence = np.array([one for _, one in votes[least]])
        if not len(same):
            continue
        name = f"recordings, {least} of 5 agree"
        results.append((f"{name}: same key", len(same), float(same.mean()), reach))
        others = float(np.mean(~same & (confidence >= SURE)))
        results.append((f"{name}: sure of another", len(same), others, 0.0))
        if least == ALL_AGREE:
            none = float(np.mean(confidence < KEY_CONFIDENCE))
            results.append((f"{name}: none heard", len(same), none, 0.02))
    return results


def is_reached(result: Result) -> bool:
    """Whether a result is as good as asked."""
    name, _, found, reach = result
    return found <= reach if name.endswith(AT_MOST) else found >= reach


def result_lines(results: Sequence[Result]) -> list[str]:
    """The table, a mark where a reach is missed."""
    lines = [f"{'keys of songs and recordings':<58} {'n':>4} {'result':>7} {'reach':>6}"]
    for result in results:
        name, n_items, found, reach = result
        asked = f"{reach:.2f}" if reach or name.endswith(AT_MOST) else "-"
        mark = "" if is_reached(result) else "  missed"
        lines.append(f"{name:<58} {n_items:>4} {found:>7.3f} {asked:>6}{mark}")
    return lines
