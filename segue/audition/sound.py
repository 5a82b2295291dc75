"""Sound for the page, small, playable in every browser and in step; and what the server gives out.

How it is kept in step stands in `segue.audio.marked_mp3`. Files are named beforehand, one by one: a
request is looked up by name in a fixed table and never joined to a path, so there is nothing to
climb out of. What the document names is checked once more, as it may come from somebody else.
"""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from hashlib import blake2b
from typing import TYPE_CHECKING, Final

import soundfile

from segue.audio.clip import outline_bytes
from segue.audio.marked_mp3 import marked_mp3, music_rate_kbps
from segue.audio.write import read_wav, readable
from segue.errors import RunFolderError
from segue.files.source_digest import source_digest

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

    from segue.audition.page import PageView
    from segue.runfolder import CandidateRecord


N_COLUMNS: Final = 1200
"""Columns of the waveform outline: a phone's width in its own dots."""

_N_THREADS: Final = 2  # that encode side by side
_ROOM_S: Final = 0.1  # behind the longest: a WAV may have a few frames more than its plan
_ALIKE_SIDE_KBPS: Final = "64"  # enough for clicks and single notes; by judgement
_SIDE_QUALITY: Final = "V5"
"""Variable bit rate, as they are silent for most of the time; middling of LAME's V0 to V9."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bus:
    """A sound of the page: of which file it is made, and how.

    Parameters
    ----------
    name : str
        By which the page knows it: 'music-0', 'click-0', 'cue-0'.
    quality, rate_divided_by, least_s
        As `marked_mp3` takes them.
    """

    name: str
    file: str
    quality: str
    rate_divided_by: int
    least_s: float


def buses_of(records: Sequence[CandidateRecord], *, alike: bool = False) -> tuple[Bus, ...]:
    """Every bus of every record, in order.

    Parameters
    ----------
    alike : bool
        Whether all sounds of a bus shall be of one size, so that it tells nothing: silence is put
        behind the shorter ones, and every second takes as many bytes.
    """
    longest_s = max((record.plan.duration_s for record in records), default=0.0)
    least_s = longest_s + _ROOM_S if alike else 0.0
    music = str(music_rate_kbps([max(record.plan.duration_s, least_s) for record in records]))
    side = _ALIKE_SIDE_KBPS if alike else _SIDE_QUALITY
    return tuple(
        Bus(name=f"{bus}-{n}", file=file, quality=quality, rate_divided_by=by, least_s=least_s)
        for n, record in enumerate(records)
        for bus, file, quality, by in (
            ("music", record.music_file, music, 1),
            # Half the rate is plenty for clicks and single notes.
            ("click", record.click_file, side, 2),
            ("cue", record.cue_file, side, 2),
        )
    )


def bus_mp3s(
    buses: Sequence[Bus],
    sound_of: Callable[[str], Path],
    *,
    known: Mapping[str, bytes] | None = None,
) -> list[tuple[str, bytes]]:
    """Sounds of the page as MP3, each under its name.

    Parameters
    ----------
    sound_of : callable
        The WAV of a name that a record has; asked once for each.
    known : mapping of str to bytes, optional
        Those that are encoded already, by name.
    """

    def encoded(bus: Bus) -> tuple[str, bytes]:
        if known is not None and bus.name in known:
            return bus.name, known[bus.name]
        source = sound_of(bus.file)
        with readable(source):
            return bus.name, marked_mp3(
                source, bus.quality, rate_divided_by=bus.rate_divided_by, least_s=bus.least_s
            )

    with ThreadPoolExecutor(_N_THREADS) as pool:  # the encoder is C and lets others run
        return list(pool.map(encoded, buses))


def bus_marks(buses: Sequence[Bus], folder: Path) -> dict[str, str]:
    """What each sound depends on, as a digest by its name: the file's content, and how it is made.

    Raises
    ------
    RunFolderError
        If a file cannot be read.
    """
    maker = source_digest(("audio",), ("pedalboard", "soxr"))
    marks = {}
    for bus in buses:
        digest = blake2b(f"{maker} {replace(bus, name='', file='')}".encode(), digest_size=16)
        with readable(folder / bus.file):
            digest.update((folder / bus.file).read_bytes())
        marks[bus.name] = digest.hexdigest()
    return marks


def duration_of(path: Path) -> float:
    """Length of a WAV in seconds."""
    with readable(path):
        facts = soundfile.info(path)
    return float(facts.frames) / float(facts.samplerate)


def outline_of(path: Path) -> list[int]:
    """Waveform outline of a WAV of a run, as `segue.audio.clip.outline_bytes` has it.

    Raises
    ------
    RunFolderError
        If there is no such file, or it is no sound.
    """
    outlined: list[int] = outline_bytes(read_wav(path).samples, N_COLUMNS).tolist()
    return outlined


_DEVICE: Final = re.compile(r"(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³]|conin\$|conout\$)", re.I)
"""File names that Windows takes for devices, with any ending (Microsoft, "Naming Files, Paths, and
Namespaces", from memory)."""
_NOT_IN_NAMES: Final = frozenset('/\\:*?"<>|')


def served_files(folder: Path, view: PageView, sounds: Path) -> dict[str, Path]:
    """Every file that may be asked for, by the name it is asked for.

    Parameters
    ----------
    sounds : Path
        An empty folder for the encoded sounds.

    Returns
    -------
    dict of str to Path
        Sounds for the page; on an open page the WAVs too.

    Raises
    ------
    RunFolderError
        If the document names something that is not a plain file of the folder.
    """
    for record in view.records:
        for name in record.sound_files:
            plain_file(folder, name)
    files = {f"{name}.mp3": sounds / f"{name}.mp3" for name, _ in _encoded(folder, view, sounds)}
    if not view.is_blind:
        for n, record in enumerate(view.records):
            files[f"full-{n}.wav"] = plain_file(folder, record.music_file)
    return files


def plain_file(folder: Path, name: str) -> Path:
    """A file that lies in a folder itself, under an ordinary name.

    Parameters
    ----------
    name : str
        As a document has it.

    Raises
    ------
    RunFolderError
        If the name leads elsewhere, or is no regular file.
    """
    if not plain_file_name(name):
        raise RunFolderError(folder, f"names '{name}', which is no file of its own: run it again.")
    path = folder / name
    if not is_regular(path):
        raise RunFolderError(folder, f"has no regular file '{name}': run it again.")
    return path


def plain_file_name(name: str) -> bool:
    """Whether a name is an ordinary one of a file or folder, on any system."""
    is_odd = not name.isprintable() or name.startswith(".") or name.rstrip(". ") != name
    stem = name.partition(".")[0].rstrip(" ")
    return bool(name) and not (is_odd or _NOT_IN_NAMES & set(name) or _DEVICE.fullmatch(stem))


def is_regular(path: Path) -> bool:
    """Whether a path is a file itself, and no link to one."""
    return path.is_file() and not path.is_symlink()


def named_file(files: Mapping[str, Path], name: str) -> Path | None:
    """The file of a name, if there is one and it is still a file itself."""
    path = files.get(name)
    return path if path is not None and is_regular(path) else None


def _encoded(folder: Path, view: PageView, sounds: Path) -> list[tuple[str, bytes]]:
    encoded = bus_mp3s(buses_of(view.records, alike=view.is_blind), folder.joinpath)
    for name, sound in encoded:
        (sounds / f"{name}.mp3").write_bytes(sound)
    return encoded
