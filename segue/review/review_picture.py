"""The picture of a review: how late each bar is, what sounds, and where the singer came in."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any, Final

from segue.audio.clip import outline
from segue.pages.filling_in import page_colours
from segue.plan.bridge_words import SECTION_WORDS
from segue.review.timing import FLAM_MS, JUST_NOTICED_MS
from segue.runfolder.pictures import plain_words, section_colours

if TYPE_CHECKING:
    from segue.audio.clip import Clip
    from segue.review.moves import BarTiming
    from segue.review.report import Rehearsal, Review

_SIZE_INCHES: Final = (11.0, 6.5)  # width and height of the picture; by judgement
_DOTS_AN_INCH: Final = 110  # 1210 by 715 dots in all; by judgement
_N_COLUMNS: Final = 1600  # of the wave's outline, more than the picture has dots; by judgement
_LEAST_RANGE_MS: Final = 50.0  # the axis of lateness shows at least so much; by judgement


@plain_words()
def picture_of(rehearsal: Rehearsal, take: Clip) -> bytes:
    """Draw the best try of a recording as a PNG file.

    Parameters
    ----------
    take : Clip
        The recording.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    review = rehearsal.best_try
    figure = Figure(figsize=_SIZE_INCHES, dpi=_DOTS_AN_INCH, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots(2, 1, sharex=True, height_ratios=[2.0, 1.2])
    title = f"{rehearsal.from_title} → {rehearsal.to_title}: {review.recipe}, take {rehearsal.take}"
    figure.suptitle(f"{title}\n{review.advice}", fontsize=11, wrap=True)
    _draw_bars(axes[0], review)
    _draw_sound(axes[1], review, take)
    content = io.BytesIO()
    figure.savefig(content, format="png", metadata={"Software": None})
    return content.getvalue()


def _draw_bars(axis: Any, review: Review) -> None:  # noqa: ANN401 - matplotlib axes
    known = [bar for bar in review.bars if bar.late_ms is not None]
    for section, colour in section_colours().items():
        mine = [bar for bar in known if bar.section == section]
        heights = [bar.late_ms for bar in mine]
        middles_s = [_middle_s(review, bar) for bar in mine]
        widths_s = [0.7 * _length_s(review, bar) for bar in mine]
        axis.bar(middles_s, heights, width=widths_s, color=colour, label=SECTION_WORDS[section])
    for bar in review.bars:
        axis.axvline(bar.time_s, color="#dddddd", linewidth=0.6, zorder=0)
        if bar.late_ms is None:
            axis.text(_middle_s(review, bar), 0, "–", ha="center", va="center", color="#777777")
    axis.axhspan(-JUST_NOTICED_MS, JUST_NOTICED_MS, color="#eeeeee", zorder=-1)
    axis.axhline(0, color="#333333", linewidth=1)
    if review.singer is not None and review.missing_singer is None:
        axis.plot(review.singer.time_s, review.singer.late_ms, "D", color=page_colours()["first"],
                  label=f"singer ({review.singer.cents:+.0f} cents)")  # fmt: skip
    if review.broke is not None:
        broke = next(bar for bar in review.bars if bar.number == review.broke.bar)
        axis.axvline(broke.time_s, color=page_colours()["weak"], linewidth=2, label="broke here")
    late_ms = [abs(bar.late_ms or 0.0) for bar in known]
    late_ms += [abs(review.singer.late_ms)] if review.singer is not None else []
    reach = max(_LEAST_RANGE_MS, FLAM_MS, *(1.2 * ms for ms in late_ms))
    axis.set_ylim(-reach, reach)
    axis.set_ylabel("ms early (below) or late")
    axis.legend(loc="upper left", fontsize=8, ncols=5)


def _draw_sound(axis: Any, review: Review, take: Clip) -> None:  # noqa: ANN401
    first_frames, low, high = outline(take.samples, _N_COLUMNS)
    columns_s = first_frames / take.rate_hz
    axis.fill_between(columns_s, low, high, color="#888888", linewidth=0)
    top = max(float(high.max()), -float(low.min()), 1e-6)
    for bar in review.bars:
        axis.axvline(bar.time_s, color="#dddddd", linewidth=0.6, zorder=0)
        axis.text(bar.time_s, -1.1 * top, f" {bar.number}", fontsize=7, color="#555555")
    for hole in review.holes:
        axis.axvspan(
            hole.start_s, hole.start_s + hole.length_s, color=page_colours()["weak"], alpha=0.4
        )
    last = review.bars[-1]
    axis.set_xlim(review.bars[0].time_s - 1.0, last.time_s + _length_s(review, last) + 1.0)
    axis.set_ylim(-1.2 * top, 1.1 * top)
    axis.set_yticks([])
    axis.set_ylabel("sound")
    axis.set_xlabel("seconds of the recording, and bars")


def _middle_s(review: Review, bar: BarTiming) -> float:
    return bar.time_s + _length_s(review, bar) / 2


def _length_s(review: Review, bar: BarTiming) -> float:
    later = [b.time_s for b in review.bars if b.number > bar.number]
    if later:
        return min(later) - bar.time_s
    before = [b.time_s for b in review.bars if b.number < bar.number]
    return bar.time_s - max(before) if before else 1.0
