"""Playing a file through whatever player the system has."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from typing import Final

from segue.errors import OptionError

PLAYERS: Final[dict[str, tuple[str, ...]]] = {
    "paplay": (),
    "aplay": ("-q",),
    "afplay": (),
    "ffplay": ("-nodisp", "-autoexit", "-loglevel", "error"),
}
"""Players by name with the options that keep them quiet, first choice first."""

_NO_DEVICE: Final = "audio open failed"
"""What ffplay says without a sound card, and ends as if all were well."""


def found_player() -> str:
    """Path of the first player on this machine.

    Raises
    ------
    OptionError
        If there is none, with what to do.
    """
    for name in PLAYERS:
        found = shutil.which(name)
        if found is not None:
            return found
    raise OptionError(
        f"--play finds no player here (looked for {', '.join(PLAYERS)}): "
        "write the sound with --out FILE.wav and open that."
    )


def play_file(player: str, path: Path) -> None:
    """Play a file to its end.

    Parameters
    ----------
    player : str
        As `found_player` returns it.
    path : Path

    Raises
    ------
    OptionError
        If the player cannot, with what it said.
    """
    name = Path(player).stem
    done = subprocess.run(  # noqa: S603 - a known player, a file of our own
        [player, *PLAYERS[name], str(path)], capture_output=True, text=True, check=False
    )
    if done.returncode != 0 or _NO_DEVICE in done.stderr:
        said = (done.stderr.strip().splitlines() or ["it gave no reason"])[-1]
        raise OptionError(
            f"{name} could not play the sound ({said}): "
            "write it with --out FILE.wav and open that on a machine with loudspeakers."
        )
