"""The run document: everything a later command needs, as one JSON file.

The file has a schema version. Writing and reading go through one function
each; what is read is checked as strictly as what is typed in a recipe.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Final, Literal

from pydantic import TypeAdapter, ValidationError

from segue.analysis.facts import EdgeFacts
from segue.errors import OptionError, RunFolderError
from segue.files.plain_file import plain_bytes
from segue.plan.plan import Plan
from segue.runfolder.soundness import misfits
from segue.score.scorecard import Scorecard
from segue.score.weights import Purpose

SCHEMA_VERSION: Final = 1
DOCUMENT_NAME: Final = "segue.json"
LARGEST_BYTES: Final = 1 << 26
"""Far more than any run has to tell."""
_LARGEST_NUMBER: Final = 1 << 63
"""Seeds may be as large; everything else is far smaller."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BarReport:
    """A bar line in seconds of the candidate, for readers that know no tempo curves."""

    number: int
    time_s: float
    section: Literal["outgoing", "interlude", "incoming"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CandidateRecord:
    """A candidate in the run folder.

    Parameters
    ----------
    rank : int
        1 is the best scored.
    is_tie : bool
        Whether it scores the same as the one ranked before it, within the noise of the measures.
    bars : tuple of BarReport
        Every bar line, in seconds from the start of the WAV.
    exit_s, entry_s : float
        Where the interlude starts and where bar one of the incoming song is.
    singer_s : float or None
        Where the first sung note is.
    music_file, click_file, cue_file : str
        WAV names, relative to the run folder.
    picture_file : str
        Picture of key path, tempo and loudness.
    loudness_lufs, true_peak_dbtp : float
        Of the music bus.
    """

    rank: int
    plan: Plan
    scorecard: Scorecard
    bars: tuple[BarReport, ...]
    exit_s: float
    entry_s: float
    singer_s: float | None
    music_file: str
    click_file: str
    cue_file: str
    picture_file: str
    loudness_lufs: float
    true_peak_dbtp: float
    notes: tuple[str, ...]
    is_tie: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What the band chose."""

    rank: int
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunDocument:
    """A whole run.

    Parameters
    ----------
    rate_hz : int
        Of all WAVs.
    candidates : tuple of CandidateRecord
        Best first.
    purpose : {'talk', 'lift', 'calm', 'dance'} or None
        What the way across is for, as far as the weights go.
    weights : {'table', 'own'}
        Whether the published table weighed the measures or the band's own weights.
    """

    schema_version: Literal[1]
    segue_version: str
    rate_hz: int
    outgoing: EdgeFacts
    incoming: EdgeFacts
    candidates: tuple[CandidateRecord, ...]
    choice: Choice | None = None
    purpose: Purpose | None = None
    weights: Literal["table", "own"] = "table"

    @property
    def chosen_recipe(self) -> str | None:
        """The recipe of the chosen candidate."""
        if self.choice is None:
            return None
        rank = self.choice.rank
        return next((c.plan.recipe for c in self.candidates if c.rank == rank), None)


def document_text(document: RunDocument) -> str:
    """The document as JSON text, the same for the same run.

    Returns
    -------
    str
        Ends with a newline.
    """
    return _adapter().dump_json(document, indent=1).decode() + "\n"


def read_document(folder: Path) -> RunDocument:
    """Read the document of a run folder.

    Raises
    ------
    RunFolderError
        If there is none, it is not JSON, comes from a newer version, or does
        not hold together.
    """
    path = folder / DOCUMENT_NAME
    try:
        text = plain_bytes(path, most_bytes=LARGEST_BYTES).decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise RunFolderError(
            folder, "is not a run folder (no readable segue.json): make one with 'segue between'."
        ) from error
    version = _version(path, text)
    if version > SCHEMA_VERSION:
        raise RunFolderError(
            path, f"was written by a newer Segue (schema {version}): update, or run it again."
        )
    try:
        document = _adapter().validate_json(text, strict=True, extra="forbid")
    except ValidationError as error:
        raise RunFolderError(path, f"{first_fault(error)}: run it again.") from error
    for misfit in misfits(document):
        raise RunFolderError(path, f"does not hold together ({misfit}): run it again.")
    return document


@lru_cache(maxsize=1)
def _adapter() -> TypeAdapter[RunDocument]:
    return TypeAdapter(RunDocument)  # takes longer to make than to read a document with


def plain_json(text: str) -> Any:  # noqa: ANN401 - any JSON value
    """A JSON text whose numbers are all of this world: of others, no later step makes sense.

    Raises
    ------
    ValueError
        If it is not JSON as RFC 8259 has it, or holds a number larger than any of ours.
    RecursionError
        If it is nested too deep.
    """
    return json.loads(text, parse_float=_bounded, parse_int=_bounded_whole, parse_constant=_bounded)


def _bounded(text: str) -> float:
    if not abs(number := float(text)) <= _LARGEST_NUMBER:  # false for what is no number, too
        raise ValueError(f"{text} is larger than any number of ours")
    return number


def _bounded_whole(text: str) -> int:
    if abs(number := int(text)) > _LARGEST_NUMBER:
        raise ValueError(f"{text} is larger than any number of ours")
    return number


def first_fault(error: ValidationError) -> str:
    """Where a document does not hold together first, and why.

    Returns
    -------
    str
        Without the remedy.
    """
    first = error.errors()[0]
    place = ".".join(str(part) for part in first["loc"])
    return f"does not hold together at '{place}' ({first['msg']})"


def candidate_of(document: RunDocument, rank: int | None) -> CandidateRecord:
    """The candidate of a run that is asked for.

    Parameters
    ----------
    rank : int or None
        None is the one that was chosen, or else the best scored.

    Raises
    ------
    OptionError
        If there is no such candidate.
    """
    if rank is None:
        rank = 1 if document.choice is None else document.choice.rank
    for record in document.candidates:
        if record.rank == rank:
            return record
    raise OptionError(f"there is no candidate {rank}: the run has 1 to {len(document.candidates)}.")


def _version(path: Path, text: str) -> int:
    try:
        version = plain_json(text)["schema_version"]
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise RunFolderError(
            path, "is damaged (no JSON with a schema_version): run it again."
        ) from error
    if not isinstance(version, int):
        raise RunFolderError(path, f"has schema_version {version!r}, not a number: run it again.")
    return version
