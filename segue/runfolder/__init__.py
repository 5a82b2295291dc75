"""Run folders: the document of a run, its files, and how they appear whole or not at all."""

from segue.runfolder.making import Making, RunSources, SongSource, Version, place_text
from segue.runfolder.run_document import (
    BarReport,
    CandidateRecord,
    Choice,
    RunDocument,
    document_text,
    read_document,
)
from segue.runfolder.run_folder import BALLOT_NAME, check_free, whole_folder, write_choice

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
