"""What a review told of a take, held against what was done to it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from benchmarks._review_damage import STRENGTHS, Damage
from segue.review.report import Finding, Rehearsal, Review

Unit = Literal["ms", "cents", "BPM"]

WITHIN: Final[dict[Unit, float]] = {"ms": 20.0, "cents": 10.0, "BPM": 0.5}
REACH: Final = 0.95
NAMES: Final = {
    "another option": "another option",
    "no singer": "no singer",
    "dropouts": "gap",
    "one part rests": "rest",
    "second try late": "step",
    "slower": "tempo",
    "late once": "late once",
    "singer late": "singer late",
    "singer flat": "singer pitch",
}
"""How a review calls what is done; what is missing here is no finding but a note."""
_FAR: Final = 10_000  # bars: further than any option is long
_UNITS: Final[dict[str, Unit]] = {
    "dropouts": "ms",
    "second try late": "ms",
    "slower": "BPM",
    "late once": "ms",
    "singer late": "ms",
    "singer flat": "cents",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of one take.

    Parameters
    ----------
    is_found, is_first, is_placed : bool
        Whether what was done is told at all; before all else; within a bar of where it was done.
        Of a clean take the first alone counts: whether nothing is told.
    size_errors : tuple of float
        In the unit of the damage.
    told : tuple of str
        Everything that was told, the worst first.
    """

    kind: str
    strength: float
    name: str
    is_found: bool = False
    is_first: bool = False
    is_placed: bool = False
    size_errors: tuple[float, ...] = ()
    told: tuple[str, ...] = ()

    @property
    def is_right(self) -> bool:
        """Found, named first and placed."""
        return self.is_found and self.is_first and self.is_placed

    @property
    def line(self) -> str:
        """For whoever watches."""
        sizes = " ".join(f"{error:+.1f}" for error in self.size_errors)
        verdict = "right" if self.is_right else "MISSED"
        told = "; ".join(self.told) or "nothing told"
        return (
            f"{verdict}  {self.kind or 'clean'} {self.strength:g}  [{sizes}]  {self.name}: {told}"
        )


def judged(rehearsal: Rehearsal, damage: Damage, *, name: str, strength: float) -> Outcome:
    """What was told of a take, against what was done to it."""
    match damage.kind:
        case "":
            found = _of_clean(rehearsal)
        case "second try late":
            found = _of_second_try(rehearsal, damage)
        case "automatic gain":
            found = _of_gain(rehearsal.best_try)
        case "starts within":
            found = _of_start(rehearsal.best_try, damage)
        case _:
            found = _of_finding(rehearsal.best_try, damage)
    is_found, is_first, is_placed, errors = found
    return Outcome(
        kind=damage.kind,
        strength=strength,
        name=name,
        is_found=is_found,
        is_first=is_first,
        is_placed=is_placed,
        size_errors=errors,
        told=tuple(f.sentence for one in rehearsal.tries for f in one.findings),
    )


_Found = tuple[bool, bool, bool, tuple[float, ...]]


def _of_clean(rehearsal: Rehearsal) -> _Found:
    is_quiet = len(rehearsal.tries) == 1 and not rehearsal.best_try.findings
    return is_quiet, is_quiet, is_quiet, ()


def _of_second_try(rehearsal: Rehearsal, damage: Damage) -> _Found:
    """Two tries, the first clean and the best, the second late from its bar on."""
    if len(rehearsal.tries) != 2:
        return False, False, False, ()
    good, bad = rehearsal.tries
    is_found, is_first, is_placed, errors = _of_finding(bad, damage)
    is_best = rehearsal.best == 1 and not good.findings
    return is_found and is_best, is_first, is_placed, errors


def _of_gain(review: Review) -> _Found:
    """The recorder is named as the one who does it, and nothing else is complained of."""
    is_named = review.gain_ratio > 1 and not review.levels
    return is_named, not review.findings, True, ()


def _of_start(review: Review, damage: Damage) -> _Found:
    """Where the recording starts is noted, and nothing is complained of."""
    starts_in = review.first_bar - 1
    is_placed = damage.bar is not None and abs(starts_in - damage.bar) <= 1
    return starts_in > 0, not review.findings, is_placed, ()


def _of_finding(review: Review, damage: Damage) -> _Found:
    name = NAMES[damage.kind]
    mine = [finding for finding in review.findings if finding.kind == name]
    if not mine:
        return False, False, False, ()
    is_first = review.findings[0].kind == name
    if damage.kind == "another option":
        return True, is_first, mine[0].size == damage.size, ()
    if damage.kind == "dropouts":
        return _of_gaps(review, damage, is_first=is_first)
    nearest = min(mine, key=lambda f: _bars_off(f, damage))
    errors = () if damage.kind not in _UNITS else (nearest.size - _true_size(damage),)
    return True, is_first, _bars_off(nearest, damage) <= 1, errors


def _of_gaps(review: Review, damage: Damage, *, is_first: bool) -> _Found:
    """Each of the dropouts with a gap of its own that overlaps it."""
    errors, is_all = [], True
    for start_s, length_s in damage.places:
        at_s = review.take_s_at(start_s)
        mine = [h for h in review.holes if -h.length_s < h.start_s - at_s < length_s]
        is_all &= len(mine) == 1
        errors += [1000 * (hole.length_s - length_s) for hole in mine]
    return is_all, is_first, len(review.holes) == len(damage.places), tuple(errors)


def _bars_off(finding: Finding, damage: Damage) -> int:
    if finding.bar is None or damage.bar is None:
        return _FAR
    return abs(finding.bar - damage.bar)


def _true_size(damage: Damage) -> float:
    size = damage.expected_bpm if damage.kind == "slower" else damage.size
    if size is None:
        raise ValueError(f"a take with {damage.kind!r} has no size")
    return size


def table_lines(outcomes: Sequence[Outcome]) -> tuple[list[str], bool]:
    """The table, and whether every reach is met."""
    heading = f"{'done to the take':<20}{'takes':>6}{'found':>7}{'first':>7}{'placed':>8}"
    lines = [f"{heading}   sizes within      furthest off"]
    for kind in STRENGTHS:
        mine = [o for o in outcomes if o.kind == kind]
        if mine:
            lines.append(_row(kind, mine))
    damaged = [o for o in outcomes if o.kind]
    clean = [o for o in outcomes if not o.kind]
    within = [
        abs(error) <= WITHIN[_UNITS[o.kind]] for o in damaged if o.kind in _UNITS
        for error in o.size_errors
    ]  # fmt: skip
    reached = (
        ("found, named first and placed", [o.is_right for o in damaged], REACH),
        ("sizes within 20 ms, 10 cents, .5 BPM", within, REACH),
        ("clean takes without an alarm", [o.is_found for o in clean], 1.0),
    )
    lines.append("")
    is_met = True
    for name, parts, reach in reached:
        share = sum(parts) / len(parts) if parts else 0.0
        is_met &= share >= reach
        verdict = "met" if share >= reach else "MISSED"
        lines.append(
            f"{name:<38}{sum(parts):>4} of {len(parts):<4}{share:7.1%}  {reach:.0%} {verdict}"
        )
    return lines, is_met


def _row(kind: str, mine: Sequence[Outcome]) -> str:
    counts = [sum(part) for part in zip(*((o.is_found, o.is_first, o.is_placed) for o in mine),
                                        strict=True)]  # fmt: skip
    row = f"{kind:<20}{len(mine):>6}{counts[0]:>7}{counts[1]:>7}{counts[2]:>8}"
    errors = [error for o in mine for error in o.size_errors]
    if kind in _UNITS and errors:
        unit = _UNITS[kind]
        n_within = sum(abs(error) <= WITHIN[unit] for error in errors)
        worst = max(errors, key=abs)
        row += f"   {n_within:>3} of {len(errors):<4} ({unit:<5}){worst:+9.1f}"
    return row
