"""The benchmark's table: what was reached, what the best general library reached, what is asked."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from benchmarks._measures import Tally


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """A line of the table; `name` is that of the tally."""

    name: str
    heading: str
    reach: float | None
    better: Literal["more", "less", "near 0"]
    unit: str = ""

    def is_met(self, value: float | None) -> bool | None:
        """Whether a value reaches what is asked; None where nothing is asked."""
        if self.reach is None:
            return None
        if value is None:
            return False
        if self.better == "more":
            return value >= self.reach
        return abs(value) <= self.reach

    def rank(self, value: float) -> float:
        """Larger is better."""
        return value if self.better == "more" else -abs(value)

    def text(self, value: float | None) -> str:
        """A value with its unit, or a dash."""
        if value is None:
            return "-"
        if self.unit == "x":
            return f"{value:.0f} x"
        return f"{value:.2f} {self.unit}" if self.unit else f"{value:.3f}"


MEASURES: Final = (
    Measure(name="key_weighted", heading="key, MIREX weighted", reach=0.92, better="more"),
    Measure(name="key_weighted_groove", heading="  grooves alone", reach=0.88, better="more"),
    Measure(name="key_weighted_score", heading="  scores alone", reach=None, better="more"),
    Measure(name="key_exact", heading="key, exact", reach=0.88, better="more"),
    Measure(name="tempo_octave_free", heading="tempo within 0.5 %, octave free", reach=0.98,
            better="more"),
    Measure(name="tempo_acc1", heading="tempo, right octave (Acc1, 4 %)", reach=0.90,
            better="more"),
    Measure(name="beat_f", heading="beat F (70 ms)", reach=0.95, better="more"),
    Measure(name="beat_drums_abs_ms", heading="beat position with drums, median absolute error",
            reach=4.0, better="less", unit="ms"),
    Measure(name="beat_drums_signed_ms", heading="  mean signed error", reach=2.0,
            better="near 0", unit="ms"),
    Measure(name="beat_no_drums_abs_ms", heading="beat position without drums, the same",
            reach=10.0, better="less", unit="ms"),
    Measure(name="beat_no_drums_signed_ms", heading="  mean signed error", reach=None,
            better="near 0", unit="ms"),
    Measure(name="downbeat_f", heading="downbeat F (70 ms)", reach=0.85, better="more"),
    Measure(name="metre", heading="metre (beats a bar)", reach=None, better="more"),
    Measure(name="ending_kind", heading="kind of ending (grooves)", reach=None, better="more"),
    Measure(name="opening_kind", heading="kind of opening", reach=None, better="more"),
    Measure(name="tuning_abs_cents", heading="tuning, median absolute error", reach=1.5,
            better="less", unit="cents"),
    Measure(name="pairs_exact", heading="both sides of a pair right in key, exact", reach=0.85,
            better="more"),
    Measure(name="first_note_clean", heading="first note, 50 cents and 50 ms, clean stem",
            reach=0.97, better="more"),
    Measure(name="first_note_bleed", heading="  stem with -12 to -26 dB of bleed", reach=0.92,
            better="more"),
    Measure(name="first_note_speed", heading="  speed", reach=40.0, better="more", unit="x"),
    Measure(name="speed", heading="speed of all facts, x real time per core", reach=60.0,
            better="more", unit="x"),
    Measure(name="key_exact_where_sure", heading="keys of confidence >= 0.8 that are right",
            reach=0.95, better="more"),
)  # fmt: skip


def table_lines(own: Tally | None, others: Mapping[str, Tally]) -> list[str]:
    """Lines of the table: each measure, own value, best other, reach, met or missed."""
    lines = [f"{'measure':<50} {'Segue':>11} {'best other':>11} {'reach':>11}  verdict"]
    for measure in MEASURES:
        value = own.result(measure.name) if own else None
        best, best_name = best_other(measure, others)
        verdict = {None: "", True: "met", False: "MISSED"}[measure.is_met(value) if own else None]
        lines.append(
            f"{measure.heading:<50} {measure.text(value):>11} {measure.text(best):>11} "
            f"{measure.text(measure.reach):>11}  {verdict:<7} {best_name}".rstrip()
        )
    return lines


def best_other(measure: Measure, others: Mapping[str, Tally]) -> tuple[float | None, str]:
    """The best value among the general libraries, and whose it is."""
    results = [(tally.result(measure.name), name) for name, tally in others.items()]
    known = [(value, name) for value, name in results if value is not None]
    return max(known, key=lambda pair: measure.rank(pair[0]), default=(None, ""))


def missed(own: Tally) -> list[str]:
    """Headings of the measures that are not reached."""
    return [m.heading.strip() for m in MEASURES if m.is_met(own.result(m.name)) is False]
