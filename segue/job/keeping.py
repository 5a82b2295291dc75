"""A rendered and scored candidate into the run folder, and its place among the others."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.clip import Clip
from segue.audio.loudness import integrated_lufs
from segue.audio.true_peak import true_peak_dbtp
from segue.audio.write import read_wav, write_wav24
from segue.runfolder import BarReport, CandidateRecord
from segue.runfolder.pictures import write_picture
from segue.score.scorecard import ties_with_next_better

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from segue.plan import Plan
    from segue.render.candidate import Candidate
    from segue.score import Scorecard


LEVEL_TOLERANCE_LU: Final = 0.02
"""Candidates this close in loudness are left as they are; a tenth of a LU is what is promised."""


def kept(folder: Path, candidate: Candidate, scorecard: Scorecard) -> CandidateRecord:
    """Write a candidate's sound under its recipe's name.

    Parameters
    ----------
    folder : Path
        The run folder that is being filled.

    Returns
    -------
    CandidateRecord
        With rank 1 until `ranked` gives it its own.

    Raises
    ------
    InputError
        If a file cannot be written.
    """
    plan = candidate.plan
    names = _write_audio(folder, candidate)
    return CandidateRecord(
        rank=1,
        plan=plan,
        scorecard=scorecard,
        bars=_bars(plan),
        exit_s=plan.seconds_at(plan.exit_beat),
        entry_s=plan.seconds_at(plan.entry_beat),
        singer_s=None if plan.singer_beat is None else plan.seconds_at(plan.singer_beat),
        music_file=names["music"],
        click_file=names["click"],
        cue_file=names["cue"],
        picture_file=f"{_slug(plan.recipe)}.png",
        loudness_lufs=integrated_lufs(candidate.music),
        true_peak_dbtp=true_peak_dbtp(candidate.music, oversampling=16),
        notes=(*plan.notes, *candidate.notes),
    )


def levelled(folder: Path, records: list[CandidateRecord]) -> list[CandidateRecord]:
    """All candidates as loud as the quietest, so that nobody picks the louder one.

    Parameters
    ----------
    folder : Path
        Holds the music of all records.

    Returns
    -------
    list of CandidateRecord
        With the levels that their files have now.
    """
    heard = [r.loudness_lufs for r in records if math.isfinite(r.loudness_lufs)]
    target = min(heard, default=-math.inf)
    return [_levelled(folder, record, target) for record in records]


def _levelled(folder: Path, record: CandidateRecord, target: float) -> CandidateRecord:
    over_db = record.loudness_lufs - target if math.isfinite(record.loudness_lufs) else 0.0
    if over_db <= LEVEL_TOLERANCE_LU:
        return record
    music = read_wav(folder / record.music_file)
    quieter = music.samples * np.float32(10 ** (-over_db / 20))
    write_wav24(folder / record.music_file, Clip(samples=quieter, rate_hz=music.rate_hz))
    return _lowered(record, over_db)


def _lowered(record: CandidateRecord, by_db: float) -> CandidateRecord:
    """What is said of a candidate once it is quieter."""
    card = record.scorecard
    curve = tuple(replace(sample, value=sample.value - by_db) for sample in card.loudness_lufs)
    return replace(
        record,
        scorecard=replace(card, loudness_lufs=curve),
        loudness_lufs=record.loudness_lufs - by_db,
        true_peak_dbtp=record.true_peak_dbtp - by_db,
    )


def ranked(folder: Path, records: list[CandidateRecord]) -> tuple[CandidateRecord, ...]:
    """Records best first, their files renamed to begin with the rank."""
    best_first = sorted(records, key=lambda record: -record.scorecard.overall)
    ties = ties_with_next_better([record.scorecard.overall for record in best_first])
    return tuple(
        replace(_with_rank(folder, record, rank), is_tie=is_tie)
        for rank, (record, is_tie) in enumerate(zip(best_first, ties, strict=True), start=1)
    )


def draw_pictures(folder: Path, records: Iterable[CandidateRecord], *, title: str) -> None:
    """Draw the picture of every candidate under the name that its record gives.

    Parameters
    ----------
    folder : Path
        Holds the music of all records.
    title : str
        Heading, before the recipe's name.
    """
    for record in records:
        write_picture(
            folder / record.picture_file,
            title=f"{title}: {record.plan.recipe}",
            music=read_wav(folder / record.music_file),
            plan=record.plan,
            scorecard=record.scorecard,
        )


def _write_audio(folder: Path, candidate: Candidate) -> dict[str, str]:
    slug = _slug(candidate.plan.recipe)
    names = {"music": f"{slug}.wav", "click": f"{slug} click.wav", "cue": f"{slug} cue.wav"}
    for bus, name in names.items():
        write_wav24(folder / name, getattr(candidate, bus))
    return names


def _bars(plan: Plan) -> tuple[BarReport, ...]:
    return tuple(
        BarReport(number=line.number, time_s=plan.seconds_at(line.beat), section=line.section)
        for line in plan.bar_lines
    )


def _with_rank(folder: Path, record: CandidateRecord, rank: int) -> CandidateRecord:
    def renamed(name: str) -> str:
        (folder / name).rename(folder / f"{rank} {name}")
        return f"{rank} {name}"

    return replace(
        record,
        rank=rank,
        music_file=renamed(record.music_file),
        click_file=renamed(record.click_file),
        cue_file=renamed(record.cue_file),
        picture_file=f"{rank} {record.picture_file}",  # to be drawn
    )


def _slug(name: str) -> str:
    """File name of a recipe: letters, digits, spaces and dashes of its name."""
    kept = "".join(c if c.isalnum() or c in " -" else "-" for c in name)
    return kept.strip(" -") or "candidate"
