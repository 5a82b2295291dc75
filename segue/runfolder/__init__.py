"""Run folders: the document of a run, its files, and how they appear whole or not at all."""

from segue.runfolder.document import (
    BarReport,
    CandidateRecord,
    Choice,
    RunDocument,
    document_text,
    read_document,
)
from segue.runfolder.folder import check_free, whole_folder

__all__ = [
    "BarReport",
    "CandidateRecord",
    "Choice",
    "RunDocument",
    "check_free",
    "document_text",
    "read_document",
    "whole_folder",
]
