"""Reviews as JSON with a schema version, and read again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from pydantic import TypeAdapter, ValidationError

from segue.errors import InputError
from segue.files.plain_file import first_fault, plain_bytes, plain_json
from segue.review.report import SCHEMA_VERSION, Rehearsal
from segue.runfolder.run_document import LARGEST_BYTES

if TYPE_CHECKING:
    from pathlib import Path

ENDING: Final = " review.json"
"""Of the name of a review, behind its take's."""


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
