"""What is done with a run: voted on, chosen, packed for the rig, and a take of it reviewed.

A vote on the phones in the room has its own server beside the desk, with its own code.
"""

from __future__ import annotations

import contextlib
import shutil
import threading
import zipfile
from contextlib import ExitStack
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from segue.audio.decode import sound_info
from segue.audio.stems_folder import AUDIO_SUFFIXES
from segue.audition.limits import RequestRefusalError
from segue.audition.network import lan_address
from segue.audition.secrets import code_to_read
from segue.audition.serve import Hall, LiveServer, open_vote
from segue.desk.house import PACKS, TAKES, House
from segue.desk.own_folder import safe_name
from segue.errors import AudioFileError
from segue.files.whole_file import age_s
from segue.review import ReviewRequest, review_take, write_review
from segue.runfolder import Choice, write_choice
from segue.setlist.set_document import show_choice
from segue.stage.pack import StageRequest, stage_pack

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from segue.audition.page import ToVoteOn
    from segue.desk.orders import ChooseBody, RunBody
    from segue.review.report import Rehearsal


LARGEST_SOUND_BYTES: Final = 2 << 30
"""Of one file that is dropped in: an hour of 24-bit stereo at 96 kHz."""
_LEAST_FREE_BYTES: Final = 1 << 29
"""What the disk must have left beside a file that is dropped in; by judgement."""
_OLD_PART_S: Final = 3600.0
"""Seconds: nothing comes in for so long without growing; a killed desk left what is older."""
PART_MARK: Final = ".dropped-"
"""Start of the name of a file that is still coming in."""
_TOO_LARGE, _WRONG, _NO_ROOM = 413, 422, 507  # status codes of HTTP (RFC 9110, RFC 4918)


def choose(house: House, body: ChooseBody) -> None:
    """Write down what the band chose, and show it on the page of the evening.

    Raises
    ------
    SegueError
        If there is no such option, or it cannot be written.
    """
    folder = house.folder.inside(body.run)
    write_choice(folder, Choice(rank=body.rank, why=body.why.strip()))
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


def pack_zip(house: House, body: RunBody) -> Path:
    """The pack of an option as one file, made in a folder of its own.

    A ZIP file in the server's own temporary folder.

    Raises
    ------
    SegueError
        If the run cannot be read, or the pack not written.
    """
    folder = house.folder.inside(body.run)
    out = house.folder.inside(f"{PACKS}/{folder.name}")
    stage_pack(StageRequest(run=folder, out=out, rank=body.rank))
    path = _zipped(out, house.scratch / f"{folder.name}.zip")
    house.packs[path.name] = path
    return path


def _zipped(folder: Path, place: Path) -> Path:
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
    if shutil.disk_usage(house.folder.root).free < _LEAST_FREE_BYTES:
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
                if age_s(part.lstat().st_mtime) > _OLD_PART_S:
                    part.unlink()


def refuse_too_large(n_bytes: int) -> None:
    """Refuse a file that grows beyond what a song can be."""
    if n_bytes > LARGEST_SOUND_BYTES:
        raise RequestRefusalError("That file is larger than any song.", status=_TOO_LARGE)


_LEAVE_S = 5.0  # seconds that a vote gets to end


@dataclass(slots=True)
class PollHost:
    """A vote that is on.

    Parameters
    ----------
    on : str
        Name of the run folder that is voted on, or of the set file of an evening.
    code : str
        To type; empty where only this machine can vote, for want of a network.
    host_url : str
        For the one who closes the vote.
    """

    on: str
    join_url: str
    code: str
    host_url: str
    _server: LiveServer
    _thread: threading.Thread
    _held: ExitStack = field(default_factory=ExitStack)

    @property
    def is_on(self) -> bool:
        """Whether phones can still vote."""
        return self._thread.is_alive()

    def stop(self) -> None:
        """End the vote; every vote is kept."""
        self._server.handle_exit(2, None)
        self._thread.join(_LEAVE_S)
        self._held.close()


def host_vote(voted: ToVoteOn, on: str, on_chosen: Callable[[Path], None]) -> PollHost:
    """Open a vote to the phones in the room, or to this machine alone, in a thread of its own.

    Parameters
    ----------
    on : str
        What the desk calls it.
    on_chosen : callable
        Called with a run folder when its vote was closed and the choice is in it.

    Raises
    ------
    SegueError
        If a run folder cannot be read, or votes cannot be kept in it.
    """
    hall = Hall(port=None, on_lan=lan_address() is not None, on_chosen=on_chosen)
    with ExitStack() as stack:
        vote = stack.enter_context(open_vote(voted, hall))
        thread = threading.Thread(target=vote.serve, name="vote", daemon=True)
        thread.start()
        found = vote.addresses
        return PollHost(
            on=on,
            join_url=found.join_url or found.listen_url,
            code="" if found.join_code is None else code_to_read(found.join_code),
            host_url=found.host_url,
            _server=vote.server,
            _thread=thread,
            _held=stack.pop_all(),
        )
