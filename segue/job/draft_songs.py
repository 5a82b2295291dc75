"""Songs at the rate of drafts, kept in the user's cache folder: a draft need not decode them again.

One file an edge, named by the digest of its sound, with 16 bits a sample. The few latest stay.
"""

from __future__ import annotations

import contextlib
import io
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, cast
from zipfile import BadZipFile

import numpy as np

from segue.audio.clip import Clip, SongEdge, Stem
from segue.errors import text_of
from segue.files.file_times import age_s
from segue.files.whole_file import write_whole

if TYPE_CHECKING:
    import numpy.typing as npt

DRAFTS_NAME: Final = "drafts"
"""Subfolder of the cache folder that is ours to clear."""
MOST_KEPT: Final = 8
"""Edges, of 4 MB a stem; by judgement."""
_FULL_SCALE: Final = 32_000.0  # of 16 bits, a little below their end


def kept_song(folder: Path, name: str) -> SongEdge | None:
    """A song that was kept; None if there is none, or nothing sound.

    Parameters
    ----------
    folder : Path
        The cache folder.
    name : str
        As it was kept under.
    """
    try:
        path = folder / DRAFTS_NAME / f"{name}.npz"
        with path.open("rb") as file, np.load(file, allow_pickle=False) as kept:
            told: dict[str, Any] = json.loads(str(kept["told"]))
            sounds = kept["sounds"]
        return _song(told, sounds)
    except (OSError, EOFError, ValueError, KeyError, TypeError, AttributeError, BadZipFile):
        return None


def _song(told: dict[str, Any], sounds: npt.NDArray[np.int16]) -> SongEdge:
    stems = tuple(
        Stem(
            role=role,
            file="",
            clip=Clip(
                samples=sound.astype(np.float32) * np.float32(told["peak"] / _FULL_SCALE),
                rate_hz=int(told["rate_hz"]),
                start_s=float(told["start_s"]),
            ),
        )
        for role, sound in zip(told["roles"], sounds, strict=True)
    )
    return SongEdge(
        path=Path(told["path"]),
        title=told["title"],
        edge=told["edge"],
        stems=stems,
        duration_s=float(told["duration_s"]),
    )


def keep_song(folder: Path, name: str, song: SongEdge) -> None:
    """Keep a song; never a reason to fail."""
    peak = max(float(np.abs(stem.clip.samples).max(initial=0.0)) for stem in song.stems) or 1.0
    told = {
        "path": text_of(song.path),
        "title": song.title,
        "edge": song.edge,
        "roles": [stem.role for stem in song.stems],
        "rate_hz": song.rate_hz,
        "start_s": song.start_s,
        "duration_s": song.duration_s,
        "peak": peak,
    }
    scale = np.float32(_FULL_SCALE / peak)
    sounds = [np.rint(stem.clip.samples * scale).astype(np.int16) for stem in song.stems]
    buffer = io.BytesIO()
    np.savez(buffer, told=np.array(json.dumps(told)), sounds=np.stack(sounds))
    place = folder / DRAFTS_NAME
    with contextlib.suppress(OSError):
        place.mkdir(parents=True, exist_ok=True)
        path = place / f"{name}.npz"
        write_whole(path, cast("bytes", buffer.getbuffer()))
        others = [other for other in place.glob("*.npz") if other != path]
        latest = sorted(others, key=lambda other: age_s(other.stat().st_mtime))
        for old in latest[MOST_KEPT - 1 :]:
            old.unlink(missing_ok=True)


def clear_songs(folder: Path) -> None:
    """Remove all that is kept for drafts."""
    for path in (folder / DRAFTS_NAME).glob("*.npz"):
        with contextlib.suppress(OSError):
            path.unlink()
