"""Where the demo songs are, in a checkout or in an installed package."""

from __future__ import annotations

from pathlib import Path

from segue.errors import InputError

DEMO_PAIR = (1, 2)
"""Numbers of the two demo songs that are a semitone and 28 BPM apart."""


def demo_folder() -> Path:
    """Folder of the demo songs.

    Raises
    ------
    InputError
        If the demo songs were not installed.
    """
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "_shipped" / "demo_audio", package.parent / "demo_audio"):
        if folder.is_dir():
            return folder
    raise InputError(package, "the demo songs are missing: install Segue again.")


def demo_pair() -> tuple[Path, Path]:
    """The two demo songs of the main job.

    Raises
    ------
    InputError
        If the demo songs are not there.
    """
    folder = demo_folder()
    songs = {
        int(path.name.split(" ")[0]): path
        for path in folder.iterdir()
        if path.is_dir() and path.name[:2].isdigit()
    }
    if not set(DEMO_PAIR) <= set(songs):
        raise InputError(folder, "the demo songs are incomplete: install Segue again.")
    return songs[DEMO_PAIR[0]], songs[DEMO_PAIR[1]]
