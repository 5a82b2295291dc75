"""A review as a page with sound: one row a bar, the plan and every try at a press.

One file that opens in any browser without a network, to be shown to the band on the spot: the
worst three things first, tries beside each other, and what the weeks came to.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.clip import Clip
from segue.audio.loudness import integrated_lufs
from segue.audio.marked_mp3 import LEAD_S, MARK_S, marked_mp3, music_rate_kbps
from segue.music.tempo import clock
from segue.pages import filled
from segue.plan.bridge_words import SECTION_WORDS
from segue.review.findings import UNEVEN_MS
from segue.review.timing import JUST_NOTICED_MS

if TYPE_CHECKING:
    from segue.review.moves import BarTiming
    from segue.review.report import Finding, Rehearsal, Review
    from segue.review.trend import Trend, TrendLine

_STYLES: Final = ("shared.css", "review.css")
_SCRIPTS: Final = ("mark.js", "player.js", "review.js")
N_WORST: Final = 3  # things that are told first: more is not practised in one evening; by judgement
# of the take that is heard before its first bar and after its last; by judgement
_AROUND_S: Final = 1.0
_HIGHEST_PEAK: Final = 0.89  # full scale less 1 dB: an encoder overshoots by so much (EBU R 128)
_LEAST_REACH_MS, _MOST_REACH_MS = 50.0, 120.0  # what the marks of lateness show; by judgement
_HALF: Final = 50.0  # of their width, in units of the drawing
_CHART_TOP: Final = 3.0  # times what is no change: a chart shows at least so much; by judgement
_CHART: Final = (300.0, 80.0, 8.0)  # of a line over weeks: width, height, margin; by judgement


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PageOfReview:
    """What a page is made of.

    Parameters
    ----------
    label : str
        Of the option that was played, as '2b'.
    trend : Trend or None
        None where this is the first review of the join.
    """

    rehearsal: Rehearsal
    label: str
    plan: Clip
    take: Clip
    trend: Trend | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BarCell:
    """A bar in one try.

    Parameters
    ----------
    side : int
        1 for the first try: the plan is 0.
    aloud : str
        For those who do not see the page.
    x, width : float
        Of the mark that shows how late it is, from -50 to 50.
    is_off : bool
        Whether it is further from the grid than bars scatter.
    is_there : bool
        Whether the recording has it.
    """

    side: int
    words: str
    aloud: str
    x: float
    width: float
    is_off: bool
    is_there: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BarRow:
    """A bar in the plan and in every try; `place` counts from 0."""

    place: int
    number: int
    section: str
    words: str
    cells: tuple[BarCell, ...]
    told: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ToPractise:
    """A finding, and the bar from which it is to be heard; None where it is about all."""

    finding: Finding
    from_place: int | None
    from_bar: int | None


def page_text(page: PageOfReview) -> str:
    """The page as HTML."""
    told, best = page.rehearsal, page.rehearsal.best_try
    names = _try_names(told)
    tries = [_to_practise(finding, best) for finding in best.findings]
    sides, sounds = _sounds(page)
    return filled(
        "review.html",
        {
            "styles": _STYLES,
            "scripts": _SCRIPTS,
            "title": f"{told.from_title} → {told.to_title}: how it went",
            "told": told,
            "best": best,
            "label": page.label,
            "names": names,
            "worst": tries[:N_WORST],
            "others": tries[N_WORST:],
            "rows": _rows(page, names),
            "trend": page.trend,
            "charts": [_chart(line) for line in page.trend.lines] if page.trend else [],
            "values": {"lead_s": LEAD_S, "mark_s": MARK_S, "best": told.best, "sides": sides},
            "sounds": sounds,
            "clock": clock,
            "sections": SECTION_WORDS,
            "just_noticed": _HALF * JUST_NOTICED_MS / _reach_ms(told),
        },
    )


def _try_names(told: Rehearsal) -> tuple[str, ...]:
    if len(told.tries) == 1:
        return ("take",)
    return tuple(f"try {n}" for n in range(1, len(told.tries) + 1))


def _to_practise(finding: Finding, review: Review) -> ToPractise:
    """A finding is heard from the bar before."""
    numbers = [bar.number for bar in review.bars]
    if finding.bar is None or finding.bar not in numbers:
        return ToPractise(finding=finding, from_place=None, from_bar=None)
    place = max(numbers.index(finding.bar) - 1, 0)
    return ToPractise(finding=finding, from_place=place, from_bar=numbers[place])


def _rows(page: PageOfReview, names: tuple[str, ...]) -> tuple[BarRow, ...]:
    told = page.rehearsal
    reach_ms = _reach_ms(told)
    rows = []
    for place, planned in enumerate(told.best_try.bars):
        cells, words = [], []
        for n, (name, one) in enumerate(zip(names, told.tries, strict=True)):
            bar = one.bars[place]
            is_there = -_AROUND_S / 2 < bar.time_s < page.take.duration_s
            cells.append(_cell(n + 1, name, bar, reach_ms, is_there=is_there))
            before = f"{name.capitalize()}: " if len(names) > 1 else ""
            words += [f"{before}{f.sentence}." for f in one.findings if f.bar == bar.number]
        rows.append(
            BarRow(
                place=place,
                number=planned.number,
                section=planned.section,
                words=SECTION_WORDS[planned.section],
                cells=tuple(cells),
                told=tuple(words),
            )
        )
    return tuple(rows)


def _cell(side: int, name: str, bar: BarTiming, reach_ms: float, *, is_there: bool) -> BarCell:
    late_ms = bar.late_ms if is_there else None
    if late_ms is None:
        words = "not told" if is_there else "not in it"
        aloud = f"bar {bar.number}, {name}: {words}"
    else:
        words = f"{round(late_ms) + 0.0:+.0f} ms" if round(late_ms) else "0 ms"
        way = "late" if late_ms > 0 else "early"
        aloud = f"bar {bar.number}, {name}: {abs(late_ms):.0f} ms {way}"
    end = float(np.clip(_HALF * (late_ms or 0.0) / reach_ms, -_HALF, _HALF))
    return BarCell(
        side=side,
        words=words,
        aloud=aloud,
        x=min(end, 0.0),
        width=abs(end),
        is_off=abs(late_ms or 0.0) > UNEVEN_MS,
        is_there=is_there,
    )


def _reach_ms(told: Rehearsal) -> float:
    """How late the widest mark is."""
    late_ms = [abs(bar.late_ms or 0.0) for one in told.tries for bar in one.bars]
    return min(max(_LEAST_REACH_MS, *late_ms), _MOST_REACH_MS)


def _sounds(page: PageOfReview) -> tuple[list[dict[str, object]], list[tuple[str, str]]]:
    """Where the bars start in each sound, and the sounds as text: the plan's, then the tries'."""
    bars = page.rehearsal.best_try.bars
    sides: list[dict[str, object]] = [
        {"name": "plan", "starts": [_fine(b.plan_s) for b in bars] + [page.plan.duration_s]}
    ]
    clips = [page.plan]
    target_lufs = integrated_lufs(page.plan)
    for name, one in zip(_try_names(page.rehearsal), page.rehearsal.tries, strict=True):
        ends_s = one.offset_s + one.length_s
        first_s = max(one.bars[0].time_s - _AROUND_S, 0.0)
        last_s = min(ends_s + _AROUND_S, page.take.duration_s)
        clips.append(_as_loud(_between(page.take, first_s, last_s), target_lufs))
        starts = [_fine(b.time_s - first_s) for b in one.bars]
        sides.append({"name": name, "starts": [*starts, _fine(ends_s - first_s)]})
    quality = str(music_rate_kbps([clip.duration_s for clip in clips]))
    texts = [base64.b64encode(marked_mp3(clip, quality)).decode() for clip in clips]
    return sides, [(f"sound-{n}", text) for n, text in enumerate(texts)]


def _fine(seconds: float) -> float:
    return round(seconds, 4)


def _between(clip: Clip, first_s: float, last_s: float) -> Clip:
    first, last = (round(s * clip.rate_hz) for s in (first_s, last_s))
    return Clip(samples=clip.samples[first:last], rate_hz=clip.rate_hz)


def _as_loud(clip: Clip, target_lufs: float) -> Clip:
    """The take as loud as the plan, as far as it is not cut off: it is compared by its playing."""
    lufs = integrated_lufs(clip)
    peak = float(np.abs(clip.samples).max(initial=0.0))
    if peak == 0 or not np.isfinite([lufs, target_lufs]).all():
        return clip
    gain = min(10 ** ((target_lufs - lufs) / 20), _HIGHEST_PEAK / peak)
    return replace(clip, samples=(clip.samples * gain).astype(np.float32))


def _chart(line: TrendLine) -> dict[str, object]:
    """Points of a line over the weeks: how far from 0, the highest at the top."""
    width, height, margin = _CHART
    known = [(n, abs(v)) for n, v in enumerate(line.values) if v is not None]
    # What is no change looks like none.
    top = max([v for _, v in known] + [_CHART_TOP * line.same, 1.0])
    step = (width - 2 * margin) / max(len(line.values) - 1, 1)
    points = [
        (margin + n * step, height - margin - (height - 2 * margin) * v / top) for n, v in known
    ]
    return {
        "line": line,
        "points": [(f"{x:.1f}", f"{y:.1f}") for x, y in points],
    }
