"""How near an answer is to the truth, measure by measure.

An answer has the form of ``segue analyse --json``; what it leaves out is not measured. Beats
are scored over the whole excerpt: mir_eval's habit of dropping the first five seconds would
drop a fifth of it. Estimated beats before the first true beat or after the last one are left
out for every system, because a free opening and a ringing end have no truth to hold them to.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, Final

import mir_eval
import numpy as np
import numpy.typing as npt

Item = dict[str, Any]
"""A truth of the index, or an answer to it."""

BEAT_WINDOW_S: Final = 0.07
TEMPO_TOLERANCE_RATIO: Final = 0.005
ACC1_TOLERANCE_RATIO: Final = 0.04
OCTAVES: Final = (1 / 3, 1 / 2, 1.0, 2.0, 3.0)
"""What counts as the same tempo where the octave is free, as in Acc2."""
SURE: Final = 0.8
"""Keys given with at least this confidence have to be right."""


@dataclass(slots=True, kw_only=True)
class Tally:
    """Everything measured of one system: a list a measure, an entry an item (or a beat)."""

    values: dict[str, list[float]] = field(default_factory=dict)

    def add(self, measure: str, *values: float) -> None:
        """Note one value or more of a measure."""
        self.values.setdefault(measure, []).extend(float(value) for value in values)

    def result(self, measure: str) -> float | None:
        """The measure as the table gives it; None where nothing was answered."""
        values = self.values.get(measure)
        if not values:
            return None
        is_median = measure.endswith(("_abs_ms", "_abs_cents"))
        return float(np.median(values) if is_median else np.mean(values))


def tally(truths: Sequence[Item], answers: Sequence[Item]) -> Tally:
    """All measures of a system's answers."""
    total = Tally()
    for truth, answer in zip(truths, answers, strict=True):
        for measure in (_key, _tempo, _beats, _downbeats, _tuning, _kind):
            measure(total, truth, answer)
    return total


def key_name(key: Item) -> str:
    """A key of an answer, as mir_eval reads it."""
    return f"{key['tonic']} {key['mode']}"


def is_key_right(truth: Item, answer: Item) -> bool:
    """Whether tonic and mode are right, however they are spelled."""
    return mirex_score(truth["key"], key_name(answer["key"])) == 1.0


def mirex_score(wanted: str, given: str) -> float:
    """MIREX key score with fifths credited both ways, as MIREX does since 2017.

    mir_eval's released versions credit only the fifth above. Swapping truth and answer turns
    a fifth below into one above and leaves every other relation as it is.
    """
    weighted = mir_eval.key.weighted_score
    return float(max(weighted(wanted, given), weighted(given, wanted)))


def _key(total: Tally, truth: Item, answer: Item) -> None:
    if "key" not in answer:
        return
    score = mirex_score(truth["key"], key_name(answer["key"]))
    total.add("key_weighted", score)
    total.add("key_exact", score == 1.0)
    total.add(f"key_weighted_{truth['group']}", score)
    if answer["key"].get("confidence", 0.0) >= SURE:
        total.add("key_exact_where_sure", score == 1.0)


def _tempo(total: Tally, truth: Item, answer: Item) -> None:
    if "tempo_bpm" not in answer:
        return
    low, high = truth.get("tempo_range_bpm", [truth["tempo_bpm"]] * 2)

    def is_within(bpm: float, tolerance: float) -> bool:
        return bool(low * (1 - tolerance) <= bpm <= high * (1 + tolerance))

    bpm = answer["tempo_bpm"] or 0.0
    total.add("tempo_octave_free", any(is_within(bpm * o, TEMPO_TOLERANCE_RATIO) for o in OCTAVES))
    total.add("tempo_acc1", is_within(bpm, ACC1_TOLERANCE_RATIO))
    if "metre" in answer:
        total.add("metre", answer["metre"] == truth["metre"])


def _near(events_s: Iterable[float], wanted_s: Sequence[float]) -> npt.NDArray[np.float64]:
    """Estimated events inside the span that has truth."""
    events = np.sort(np.asarray(list(events_s), dtype=np.float64))
    inside = (events >= wanted_s[0] - BEAT_WINDOW_S) & (events <= wanted_s[-1] + BEAT_WINDOW_S)
    return events[inside]


def _beats(total: Tally, truth: Item, answer: Item) -> None:
    if "beats_s" not in answer:
        return
    wanted = np.asarray(truth["beats_s"])
    given = _near(answer["beats_s"], truth["beats_s"])
    total.add("beat_f", mir_eval.beat.f_measure(wanted, given, BEAT_WINDOW_S))
    if not len(given):
        return
    pairs = mir_eval.util.match_events(wanted, given, BEAT_WINDOW_S)
    errors_ms = [1000 * (given[g] - wanted[w]) for w, g in pairs]
    where = "drums" if truth["has_drums"] else "no_drums"
    total.add(f"beat_{where}_abs_ms", *np.abs(errors_ms))
    total.add(f"beat_{where}_signed_ms", *errors_ms)


def _downbeats(total: Tally, truth: Item, answer: Item) -> None:
    if "downbeats_s" not in answer:
        return
    wanted = np.asarray(truth["downbeats_s"])
    given = _near(answer["downbeats_s"], truth["beats_s"])
    total.add("downbeat_f", mir_eval.beat.f_measure(wanted, given, BEAT_WINDOW_S))


def _tuning(total: Tally, truth: Item, answer: Item) -> None:
    if answer.get("tuning_cents") is None:
        return
    error = (answer["tuning_cents"] - truth["tuning_cents"] + 50) % 100 - 50
    total.add("tuning_abs_cents", abs(error))


def _kind(total: Tally, truth: Item, answer: Item) -> None:
    side = "ending" if truth["edge"] == "end" else "opening"
    if truth["kind"] is not None and answer.get(side):
        total.add(f"{side}_kind", answer[side]["kind"] == truth["kind"])


def pairs_both_right(
    pairs: Sequence[dict[str, str]], truths: Sequence[Item], answers: Sequence[Item]
) -> float | None:
    """Share of pairs in which the keys of both sides are exactly right."""
    right = {
        truth["file"]: is_key_right(truth, answer)
        for truth, answer in zip(truths, answers, strict=True)
        if "key" in answer
    }
    judged = [
        right[pair["ending"]] and right[pair["opening"]]
        for pair in pairs
        if pair["ending"] in right and pair["opening"] in right
    ]
    return float(np.mean(judged)) if judged else None


def calibration(
    truths: Sequence[Item], answers: Sequence[Item]
) -> list[tuple[float, float, int, float]]:
    """Lowest and highest confidence, number of items and share right, bin by bin."""
    edges = (0.0, 0.2, 0.4, 0.6, 0.7, 0.8, 0.9, 1.0 + 1e-9)
    confidence = np.array([answer["key"]["confidence"] for answer in answers])
    right = np.array([is_key_right(t, a) for t, a in zip(truths, answers, strict=True)])
    curve = []
    for low, high in pairwise(edges):
        inside = (confidence >= low) & (confidence < high)
        if inside.any():
            curve.append((low, min(high, 1.0), int(inside.sum()), float(right[inside].mean())))
    return curve


def first_note_share(truths: Sequence[Item], answers: Sequence[Item], kind: str) -> float | None:
    """Share of first notes within 50 cents and 50 ms, of the clean stems or of those with bleed."""
    tolerance_semitones, tolerance_s = 0.5, 0.05
    right = []
    for truth, answer in zip(truths, answers, strict=True):
        if truth["kind"] != kind:
            continue
        note = answer.get("first_note")
        right.append(
            note is not None
            and abs(note["midi"] - truth["midi"]) <= tolerance_semitones
            and abs(note["time_s"] - truth["time_s"]) <= tolerance_s
        )
    return float(np.mean(right)) if right else None


Hear = Callable[[Item], Item]
"""What is measured: from a truth (read nothing but its ``path`` and ``edge``) to an answer."""
