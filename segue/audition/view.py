"""Which page is made: of which run, with the anchor or not, names shown or hidden."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from segue.audition.anchor import ANCHOR_RANK, write_anchor

if TYPE_CHECKING:
    from pathlib import Path

    from segue.runfolder import CandidateRecord, RunDocument


@dataclass(frozen=True, slots=True, kw_only=True)
class PageView:
    """What a page shows.

    Parameters
    ----------
    records : tuple of CandidateRecord
        The candidates; the anchor, if any, comes last.
    is_blind : bool
        Whether names are hidden and the order is shuffled for every listener.
    """

    document: RunDocument
    records: tuple[CandidateRecord, ...]
    is_blind: bool = False

    @property
    def has_anchor(self) -> bool:
        """Whether a hard cut that ought to lose is among the records."""
        return any(record.rank == ANCHOR_RANK for record in self.records)


def page_view(
    folder: Path, document: RunDocument, *, is_blind: bool, wants_anchor: bool
) -> PageView:
    """The view of a run; cuts the anchor where it is wanted.

    Parameters
    ----------
    folder : Path
        The run folder.

    Returns
    -------
    PageView
        Without an anchor where none could be told from the candidates.

    Raises
    ------
    InputError
        If the anchor cannot be cut.
    """
    anchor = write_anchor(folder, document) if wants_anchor else None
    extra = () if anchor is None else (anchor,)
    return PageView(document=document, records=(*document.candidates, *extra), is_blind=is_blind)
