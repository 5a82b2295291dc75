"""Reviews on the disk: JSON with a schema version, whole or not at all."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import TypeAdapter, ValidationError

from segue.errors import InputError
from segue.files.plain_file import first_fault, plain_bytes, plain_json
from segue.files.whole_file import write_whole
from segue.review.listening import read_clip
from segue.review.report import SCHEMA_VERSION, Rehearsal
from segue.runfolder.run_document import LARGEST_BYTES

if TYPE_CHECKING:
    from pathlib import Path


def review_text(review: Rehearsal) -> str:
    """The review as JSON text, the same for the same take; ends with a newline."""
    return TypeAdapter(Rehearsal).dump_json(review, indent=1).decode() + "\n"


def write_review(path: Path, review: Rehearsal, *, take: Path) -> tuple[Path, Path]:
    """Write a review and its picture, each whole or not at all.

    Parameters
    ----------
    path : Path
        The JSON file; the picture has its name and ends in ``.png``. Older ones are replaced.
    take : Path
        The recording, for the picture.

    Returns
    -------
    tuple of Path
        The JSON file and the picture.

    Raises
    ------
    InputError
        If one cannot be written.
    """
    from segue.review.review_picture import picture_of

    image = path.with_suffix(".png")
    _make_folder(path.parent)
    _written(image, picture_of(review, read_clip(take)))
    _written(path, review_text(review).encode())
    return path, image


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
