"""A review on the disk: JSON with a schema version, a picture, and a page with sound.

Each is whole or not at all.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from pydantic import TypeAdapter, ValidationError

from segue.errors import InputError
from segue.files.whole_file import first_fault, plain_bytes, plain_json, write_whole
from segue.review.listening import read_clip
from segue.review.report import SCHEMA_VERSION, Rehearsal
from segue.review.review_page import PageOfReview, page_text
from segue.review.review_picture import picture_of
from segue.review.trend import trend_of
from segue.runfolder import read_document
from segue.runfolder.run_document import LARGEST_BYTES, candidate_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from segue.review.trend import Trend

_ENDING: Final = " review.json"
"""Of the name of a review, behind its take's."""


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
    _make_folder(path.parent)
    _written(files.picture, picture_of(review, sound))
    _written(files.page, page.encode())
    _written(path, review_text(review).encode())
    return files


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            folder, f"cannot be made ({error.strerror}): choose a folder with --out."
        ) from error


def _written(path: Path, content: bytes) -> None:
    try:
        write_whole(path, content)
    except OSError as error:
        raise InputError(
            path, f"cannot be written ({error.strerror}): choose a folder with --out."
        ) from error


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
