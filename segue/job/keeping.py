"""A rendered and scored candidate, its place among the others, and their files.

Each is measured once, levelled in memory and written once; picture and page are made of the
same sound.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, TypedDict

import numpy as np

from segue.audio.loudness import integrated_lufs
from segue.audio.write import packed, rounded24, write_unpacked
from segue.runfolder import BarReport, CandidateRecord, Making, Version
from segue.runfolder.pictures import Waveform, waveform_of, write_picture
from segue.score.cleanliness import TRUE_PEAK
from segue.score.scorecard import ties_of_cards

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from pathlib import Path

    from segue.plan import Plan
    from segue.render.candidate import Candidate
    from segue.score import Scorecard


LEVEL_TOLERANCE_LU: Final = 0.02
"""Candidates this close in loudness are left as they are; a tenth of a LU is what is promised."""


_DB_PLACES: Final = 6
"""Decimals of a gain, so that the same difference found in two ways gives the same samples."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rendered:
    """A candidate that is scored and measured, and its sound, packed until it is written.

    Parameters
    ----------
    record : CandidateRecord
        With rank 1 until `ranked` gives it its own.
    packed : tuple of bytes
        Music, click and cue; see `segue.audio.write.packed`.
    outline : Waveform
        Of the music before it is turned down.
    lowered_db : float
        What the music is to be turned down by.
    """

    record: CandidateRecord
    packed: tuple[bytes, bytes, bytes]
    outline: Waveform
    lowered_db: float = 0.0

    @property
    def waveform(self) -> Waveform:
        """Of the music at its level, as it is in its file."""
        times_s, *extremes = self.outline
        return Waveform(times_s, *(rounded24(rounded24(one) * self._gain) for one in extremes))

    @property
    def _gain(self) -> np.float32:
        return np.float32(10 ** (-self.lowered_db / 20))

    def write(self, folder: Path, file: str) -> Path:
        """Write a file that the record names.

        Raises
        ------
        InputError
            If it cannot be written.
        """
        number = self.record.sound_files.index(file)
        gain = 1.0 if number else float(self._gain)
        write_unpacked(folder / file, self.packed[number], gain=gain)
        return folder / file


def measured(candidate: Candidate, scorecard: Scorecard, made: Making | None = None) -> Rendered:
    """A scored candidate, ready to be levelled and ranked."""
    plan = candidate.plan
    record = CandidateRecord(
        rank=1,
        plan=plan,
        scorecard=scorecard,
        bars=_bars(plan),
        exit_s=plan.seconds_at(plan.exit_beat),
        entry_s=plan.seconds_at(plan.entry_beat),
        singer_s=None if plan.singer_beat is None else plan.seconds_at(plan.singer_beat),
        **_file_names(plan.recipe, label="1"),
        loudness_lufs=integrated_lufs(candidate.music),
        true_peak_dbtp=_peak_dbtp(scorecard),
        notes=(*plan.notes, *candidate.notes),
        made=made,
    )
    sounds = (packed(candidate.music), packed(candidate.click), packed(candidate.cue))
    return Rendered(record=record, packed=sounds, outline=waveform_of(candidate.music))


def levelled(candidates: Sequence[Rendered]) -> list[Rendered]:
    """All candidates as loud as the quietest, so that nobody picks the louder one."""
    heard = [c.record.loudness_lufs for c in candidates if math.isfinite(c.record.loudness_lufs)]
    target = min(heard, default=-math.inf)
    return [lowered_to(candidate, target) for candidate in candidates]


def lowered_to(candidate: Rendered, target_lufs: float) -> Rendered:
    """A candidate no louder than a target."""
    lufs = candidate.record.loudness_lufs
    over_db = round(lufs - target_lufs, _DB_PLACES) if math.isfinite(lufs) else 0.0
    if over_db <= LEVEL_TOLERANCE_LU:
        return candidate
    return replace(candidate, record=_lowered(candidate.record, over_db), lowered_db=over_db)


def _lowered(record: CandidateRecord, by_db: float) -> CandidateRecord:
    """What is said of a candidate once it is quieter."""
    card = record.scorecard
    curve = tuple(replace(sample, value=sample.value - by_db) for sample in card.loudness_lufs)
    return replace(
        record,
        scorecard=replace(card, loudness_lufs=curve),
        loudness_lufs=record.loudness_lufs - by_db,
        true_peak_dbtp=record.true_peak_dbtp - by_db,
        lowered_db=by_db,
    )


def ranked(candidates: Sequence[Rendered]) -> tuple[Rendered, ...]:
    """Candidates best first, the names of their files beginning with the rank.

    One with a bad fault comes after those without.
    """
    best_first = sorted(candidates, key=lambda candidate: candidate.record.scorecard.order)
    ties = ties_of_cards([candidate.record.scorecard for candidate in best_first])
    return tuple(
        replace(candidate, record=_with_rank(candidate.record, rank, is_tie=is_tie))
        for rank, (candidate, is_tie) in enumerate(zip(best_first, ties, strict=True), start=1)
    )


def written_sounds(folder: Path, candidates: Iterable[Rendered]) -> Callable[[str], Path]:
    """Writes the file of a name, and gives back where it is.

    Returns
    -------
    callable
        Takes a name that one of the records has; raises `InputError` where the file cannot be
        written.
    """
    of_file = {file: candidate for candidate in candidates for file in candidate.record.sound_files}
    return lambda file: of_file[file].write(folder, file)


def draw_pictures(folder: Path, candidates: Iterable[Rendered], *, title: str) -> None:
    """Draw the picture of every candidate."""
    for candidate in candidates:
        record = candidate.record
        write_picture(
            folder / record.picture_file,
            title=f"{title}: {record.plan.recipe}",
            waveform=candidate.waveform,
            plan=record.plan,
            scorecard=record.scorecard,
        )


def _peak_dbtp(scorecard: Scorecard) -> float:
    """As it was measured for the score; silence has no peak."""
    peaks = [measure.value for measure in scorecard.measures if measure.name == TRUE_PEAK]
    return peaks[0] if peaks else -math.inf


def _bars(plan: Plan) -> tuple[BarReport, ...]:
    return tuple(
        BarReport(number=line.number, time_s=plan.seconds_at(line.beat), section=line.section)
        for line in plan.bar_lines
    )


def _with_rank(record: CandidateRecord, rank: int, *, is_tie: bool) -> CandidateRecord:
    names = _file_names(record.plan.recipe, label=str(rank))
    return replace(record, rank=rank, is_tie=is_tie, **names)


def as_version(candidate: Rendered, rank: int, version: Version) -> Rendered:
    """A candidate as a version of an option, its files named after it."""
    record = candidate.record
    names = _file_names(record.plan.recipe, label=version.label)
    return replace(candidate, record=replace(record, rank=rank, version=version, **names))


class _FileNames(TypedDict):
    music_file: str
    click_file: str
    cue_file: str
    picture_file: str


def _file_names(recipe: str, *, label: str) -> _FileNames:
    """Letters, digits, spaces and dashes of the recipe's name, behind what it is called."""
    letters = "".join(c if c.isalnum() or c in " -" else "-" for c in recipe)
    name = f"{label} {letters.strip(' -') or 'option'}"
    return _FileNames(
        music_file=f"{name}.wav",
        click_file=f"{name} click.wav",
        cue_file=f"{name} cue.wav",
        picture_file=f"{name}.png",
    )
