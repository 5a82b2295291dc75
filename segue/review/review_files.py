"""A review on the disk: JSON with a schema version, a page with sound, and a picture.

Each is whole or not at all. The picture shows how late each bar is, what sounds, and where the
singer came in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from pydantic import TypeAdapter, ValidationError

from segue.audio.clip import Clip, outline
from segue.errors import InputError, disk_faults
from segue.files.whole_file import first_fault, plain_bytes, plain_json, write_whole
from segue.pages import page_colours
from segue.plan.bridge_words import SECTION_WORDS
from segue.review.listening import read_clip
from segue.review.report import SCHEMA_VERSION, Rehearsal, Review
from segue.review.review_page import PageOfReview, page_text
from segue.review.timing import FLAM_MS, JUST_NOTICED_MS
from segue.review.trend import Trend, trend_of
from segue.runfolder import read_document
from segue.runfolder.pictures import new_figure, plain_words, png_of, section_colours
from segue.runfolder.run_document import LARGEST_BYTES, candidate_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from segue.review.moves import BarTiming

_ENDING: Final = " review.json"
"""Of the name of a review, behind its take's."""
_SIZE_INCHES: Final = (11.0, 6.5)  # width and height of the picture; by judgement
_DOTS_AN_INCH: Final = 110  # 1210 by 715 dots in all; by judgement
_N_COLUMNS: Final = 1600  # of the wave's outline, more than the picture has dots; by judgement
_LEAST_RANGE_MS: Final = 50.0  # the axis of lateness shows at least so much; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class ReviewFiles:
    """What was written of a review.

    Parameters
    ----------
    trend : Trend or None
        Of the reviews of this join that lie beside it; None where it is the first.
    """

    document: Path
    picture: Path
    page: Path
    trend: Trend | None


def write_review(
    path: Path, review: Rehearsal, *, run: Path, take: Path, earlier: Sequence[Rehearsal] = ()
) -> ReviewFiles:
    """Write a review, its picture and its page.

    Parameters
    ----------
    path : Path
        The JSON file; the others have its name and end in ``.png`` and ``.html``. Older ones are
        replaced. Its folder is made where it is not there.
    run, take : Path
        The run folder and the recording, for the sound.
    earlier : sequence of Rehearsal
        Reviews that count beside those which lie in the same folder.

    Raises
    ------
    InputError
        If one cannot be written.
    RunFolderError, AudioFileError
        If the sound cannot be read.
    """
    played = candidate_of(read_document(run), review.best_try.candidate)
    sound = read_clip(take)
    beside = reviews_beside(path)
    trend = trend_of((*beside, *(e for e in earlier if e not in beside)), review)
    page = page_text(
        PageOfReview(
            rehearsal=review,
            label=played.label,
            plan=read_clip(run / played.music_file),
            take=sound,
            trend=trend,
        )
    )
    files = ReviewFiles(
        document=path, picture=path.with_suffix(".png"), page=path.with_suffix(".html"), trend=trend
    )
    contents = {files.picture: picture_of(review, sound), files.page: page.encode()}
    with disk_faults(path.parent, "cannot be made ({}): choose a folder with --out."):
        path.parent.mkdir(parents=True, exist_ok=True)
    for file, content in {**contents, path: review_text(review).encode()}.items():
        with disk_faults(file, "cannot be written ({}): choose a folder with --out."):
            write_whole(file, content)
    return files


def review_text(review: Rehearsal) -> str:
    """The review as JSON text, the same for the same take; ends with a newline."""
    return TypeAdapter(Rehearsal).dump_json(review, indent=1).decode() + "\n"


def read_review(path: Path) -> Rehearsal:
    """Read a review that was written.

    Raises
    ------
    InputError
        If it is no review, or comes from a newer version.
    """
    try:
        text = plain_bytes(path, most_bytes=LARGEST_BYTES).decode("utf-8")
        version = plain_json(text)["schema_version"]
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise InputError(
            path, "is no review: name the JSON file that 'segue review' wrote."
        ) from error
    if isinstance(version, int) and version > SCHEMA_VERSION:
        raise InputError(
            path, f"was written by a newer Segue (schema {version}): update, or review again."
        )
    if version != SCHEMA_VERSION:
        raise InputError(path, "was written by an older Segue: review the take again.")
    try:
        return TypeAdapter(Rehearsal).validate_json(text, strict=True, extra="forbid")
    except ValidationError as error:
        raise InputError(path, f"{first_fault(error)}: review the take again.") from error


def reviews_beside(path: Path) -> tuple[Rehearsal, ...]:
    """Reviews that lie in the folder of a review; what cannot be read is left out.

    Those of an older Segue are among these: the take has to be reviewed again to count.
    """
    found = []
    for other in sorted(path.parent.glob(f"*{_ENDING}")):
        if other == path:
            continue
        try:
            found.append(read_review(other))
        except InputError:
            continue
    return tuple(found)


@plain_words()
def picture_of(rehearsal: Rehearsal, take: Clip) -> bytes:
    """Draw the best try of a recording as a PNG file."""
    review = rehearsal.best_try
    figure = new_figure(_SIZE_INCHES, _DOTS_AN_INCH, layout="constrained")
    axes = figure.subplots(2, 1, sharex=True, height_ratios=[2.0, 1.2])
    title = f"{rehearsal.from_title} → {rehearsal.to_title}: {review.recipe}, take {rehearsal.take}"
    figure.suptitle(f"{title}\n{review.advice}", fontsize=11, wrap=True)
    _draw_bars(axes[0], review)
    _draw_sound(axes[1], review, take)
    return png_of(figure)


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
