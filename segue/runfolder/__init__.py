"""Run folders: the document of a run, its files, and how they appear whole or not at all."""

from segue.runfolder.run_document import document_text, read_document
from segue.runfolder.run_folder import BALLOT_NAME, check_free, whole_folder, write_choice
from segue.runfolder.run_records import (
    BarReport,
    CandidateRecord,
    Choice,
    Making,
    RunDocument,
    RunSources,
    SongSource,
    Version,
    place_text,
)

__all__ = [
    "BALLOT_NAME",
    "BarReport",
    "CandidateRecord",
    "Choice",
    "Making",
    "RunDocument",
    "RunSources",
    "SongSource",
    "Version",
    "check_free",
    "document_text",
    "place_text",
    "read_document",
    "whole_folder",
    "write_choice",
]
