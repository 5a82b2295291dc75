"""``segue path``: the chords that lead from one key to another."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from segue.cli.options import Json
from segue.errors import OptionError, did_you_mean
from segue.music.key import parse_key

if TYPE_CHECKING:
    from segue.cli.path_tables import PathSheet
    from segue.music.chord import CadenceChoice

FEWEST_CHORDS, MOST_CHORDS = 1, 16  # that a way may have on the way
SLOWEST_BPM, FASTEST_BPM = 30.0, 300.0  # at which a way is played


def path(
    old: Annotated[str, typer.Argument(help="Key of the old song: 'E minor'.")],
    new: Annotated[str, typer.Argument(help="Key of the new song.")],
    chords: Annotated[int, typer.Option(help="How many chords before bar one, 1 to 16.")] = 4,
    cadence: Annotated[
        str,
        typer.Option(help="Last chord: 'dominant', 'subdominant', 'flat seventh' or 'any'."),
    ] = "dominant",
    out: Annotated[Path | None, typer.Option(help="Write the pad's sound to this WAV.")] = None,
    play: Annotated[bool, typer.Option("--play", help="Play it.")] = False,
    tempo: Annotated[float, typer.Option(help="Tempo in BPM; a chord lasts four beats.")] = 96.0,
    json: Json = False,
) -> None:
    """Lead from OLD to NEW in a few chords, with numerals, notes and sound."""
    _check(chords, tempo, out)
    from segue.cli.path_sound import found_player, play_file
    from segue.cli.path_tables import path_report, path_sheet, print_path
    from segue.cli.tables import print_json
    from segue.music.chord_path import chord_path
    from segue.pages import TURN_DOWN

    old_key, new_key = parse_key(old), parse_key(new)
    steps = chord_path(old_key, new_key, n_chords=chords, cadence=_cadence(cadence))
    sheet = path_sheet(old_key, new_key, steps)
    player = found_player() if play else None
    if player is not None:  # before the sound is made, so that there is time to
        print(TURN_DOWN, file=sys.stderr, flush=True)
    with tempfile.TemporaryDirectory() as folder:
        file = out or Path(folder) / "path.wav"
        if out is not None or player is not None:
            _write(sheet, tempo, file)
        if json:
            print_json(path_report(sheet, out))
        else:
            print_path(sheet)
        if player is not None:
            play_file(player, file)


def _write(sheet: PathSheet, tempo_bpm: float, file: Path) -> None:
    from segue.audio.write import write_wav24
    from segue.cli.path_sound import path_sound

    clip = path_sound(
        sheet.steps, sheet.voicings, old=sheet.old, new=sheet.new, tempo_bpm=tempo_bpm
    )
    write_wav24(file, clip)


def _check(n_chords: int, tempo_bpm: float, out: Path | None) -> None:
    if not FEWEST_CHORDS <= n_chords <= MOST_CHORDS:
        raise OptionError(
            f"--chords {n_chords} is outside {FEWEST_CHORDS} to {MOST_CHORDS} chords: keep within."
        )
    if not SLOWEST_BPM <= tempo_bpm <= FASTEST_BPM:
        raise OptionError(
            f"--tempo {tempo_bpm:g} is outside {SLOWEST_BPM:g} to {FASTEST_BPM:g} BPM: keep within."
        )
    if out is not None and out.suffix.lower() != ".wav":
        raise OptionError(f"--out {out} is not a WAV: give it a name that ends in .wav.")


def _cadence(word: str) -> CadenceChoice:
    from segue.music.chord import CADENCE_CHOICES

    for choice in CADENCE_CHOICES:
        if word == choice:
            return choice
    raise OptionError(
        f"--cadence '{word}' is none of {', '.join(CADENCE_CHOICES)}: take one of these."
        f"{did_you_mean(word, CADENCE_CHOICES)}"
    )
