"""What is done with a run: chosen, packed for the rig, and a take of it reviewed."""

from __future__ import annotations

import contextlib
import shutil
import zipfile
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from segue.audio.decode import sound_info
from segue.audio.stems_folder import AUDIO_SUFFIXES
from segue.audition.limits import RequestRefusalError
from segue.desk.house import PACKS, TAKES, House
from segue.desk.own_folder import safe_name
from segue.errors import AudioFileError
from segue.files.whole_file import age_s
from segue.review import ReviewRequest, review_take, write_review
from segue.runfolder import Choice, write_choice
from segue.setlist.set_document import show_choice
from segue.stage.pack import StageRequest, stage_pack

if TYPE_CHECKING:
    from pathlib import Path

    from segue.review.report import Rehearsal

LARGEST_SOUND_BYTES: Final = 2 << 30
"""Of one file that is dropped in: an hour of 24-bit stereo at 96 kHz."""
LEAST_FREE_BYTES: Final = 1 << 29
"""What the disk must have left beside a file that is dropped in; by judgement."""
OLD_PART_S: Final = 3600.0
"""Seconds: nothing comes in for so long without growing; a killed desk left what is older."""
PART_MARK: Final = ".dropped-"
"""Start of the name of a file that is still coming in."""
_TOO_LARGE, _WRONG, _NO_ROOM = 413, 422, 507  # status codes of HTTP (RFC 9110, RFC 4918)


def choose(house: House, run: str, rank: int, why: str) -> None:
    """Write down what the band chose, and show it on the page of the evening.

    Raises
    ------
    SegueError
        If there is no such option, or it cannot be written.
    """
    folder = house.folder.inside(run)
    write_choice(folder, Choice(rank=rank, why=why))
    tell_choice(house, folder)


def tell_choice(house: House, folder: Path) -> None:
    """Show what was chosen in a run folder, on the page of its evening too.

    Raises
    ------
    SegueError
        If the evening cannot be read, or its page not written.
    """
    house.tell("choice")
    if show_choice(folder):
        house.tell("evening")


def pack_zip(house: House, run: str, rank: int | None) -> Path:
    """The pack of an option as one file, made in a folder of its own.

    Returns
    -------
    Path
        A ZIP file in the server's own temporary folder.

    Raises
    ------
    SegueError
        If the run cannot be read, or the pack not written.
    """
    folder = house.folder.inside(run)
    out = house.folder.inside(f"{PACKS}/{folder.name}")
    stage_pack(StageRequest(run=folder, out=out, rank=rank))
    return zipped(out, house.scratch / f"{folder.name}.zip")


def zipped(folder: Path, place: Path) -> Path:
    """All files of a folder in one ZIP file, below the folder's name."""
    part = place.with_suffix(".part")
    with zipfile.ZipFile(part, "w", zipfile.ZIP_STORED) as archive:  # sound does not shrink
        for file in sorted(path for path in folder.rglob("*") if path.is_file()):
            if not file.is_symlink():
                archive.write(file, f"{folder.name}/{file.relative_to(folder).as_posix()}")
    part.replace(place)
    return place


@dataclass(frozen=True, slots=True, kw_only=True)
class ReviewedTake:
    """A take that was dropped in, with its review.

    Parameters
    ----------
    name, picture, page : str
        Of the recording and of its review's picture and page, below the desk's folder.
    """

    name: str
    picture: str
    page: str
    review: Rehearsal


def reviewed(house: House, run: str, take: Path) -> ReviewedTake:
    """Hear a take against the plan of a run; the review is kept beside the take.

    Raises
    ------
    SegueError
        If the take does not hold the segue, or something cannot be read.
    """
    folder = house.folder.inside(run)
    told = review_take(ReviewRequest(run=folder, take=take))
    path = take.with_name(f"{take.stem} review.json")
    files = write_review(path, told, run=folder, take=take)
    name_of = house.folder.name_of
    return ReviewedTake(
        name=name_of(take), picture=name_of(files.picture), page=name_of(files.page), review=told
    )


def sound_place(house: House, folder: str, name: str) -> Path:
    """A free place for a file that is dropped in, its name made harmless.

    Raises
    ------
    RequestRefusalError
        If its name promises no sound, or the disk is nearly full.
    """
    stem, _, ending = name.rpartition(".")
    suffix = f".{ending.lower()}"
    if suffix not in AUDIO_SUFFIXES:
        raise RequestRefusalError(
            f"'{name[:80]}' is no audio file by its name: drop WAV, FLAC, AIFF, Ogg or MP3.",
            status=_WRONG,
        )
    if shutil.disk_usage(house.folder.root).free < LEAST_FREE_BYTES:
        raise RequestRefusalError("The disk is nearly full: make room.", status=_NO_ROOM)
    return house.folder.free(folder, safe_name(stem, fallback="sound") + suffix)


def check_sound(part: Path, shown_as: str) -> None:
    """Make sure that a file which came in is whole, readable audio.

    Raises
    ------
    RequestRefusalError
        If it is not; its sentence names the file as it was dropped.
    """
    try:
        sound_info(part)
    except AudioFileError as error:
        raise RequestRefusalError(f"{shown_as[:80]}: {error.problem}", status=_WRONG) from error


def sweep_dropped(house: House) -> None:
    """Remove what was coming in when an earlier desk was killed."""
    for folder in (house.folder.root, *(house.folder.root / TAKES).glob("*")):
        for part in folder.glob(f"{PART_MARK}*"):
            with contextlib.suppress(OSError):
                if age_s(part.lstat().st_mtime) > OLD_PART_S:
                    part.unlink()


def refuse_too_large(n_bytes: int) -> None:
    """Refuse a file that grows beyond what a song can be."""
    if n_bytes > LARGEST_SOUND_BYTES:
        raise RequestRefusalError("That file is larger than any song.", status=_TOO_LARGE)
