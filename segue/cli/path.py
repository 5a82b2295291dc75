"""``segue path``: the chords that lead from one key to another, and their sound.

The pad plays them, a bar a chord, and arrives; any player that the system has plays the file.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final, cast

import typer

from segue.cli.options import Json, check_within, one_of
from segue.errors import OptionError
from segue.music.key import Key, parse_key

if TYPE_CHECKING:
    from segue.audio.clip import Clip
    from segue.cli.path_tables import PathSheet
    from segue.music.chord import CadenceChoice
    from segue.plan.layer import PadLayer
    from segue.plan.plan import Plan

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
    from segue.cli.path_tables import path_report, path_sheet, print_path
    from segue.cli.tables import print_json
    from segue.music.chord import CADENCE_CHOICES
    from segue.music.chord_path import chord_path
    from segue.pages import TURN_DOWN

    old_key, new_key = parse_key(old), parse_key(new)
    ending = cast("CadenceChoice", one_of("--cadence", cadence, CADENCE_CHOICES))
    steps = chord_path(old_key, new_key, n_chords=chords, cadence=ending)
    sheet = path_sheet(old_key, new_key, steps)
    player = found_player() if play else None
    if player is not None:  # before the sound is made, so that there is time to
        print(TURN_DOWN, file=sys.stderr, flush=True)
    with tempfile.TemporaryDirectory() as folder:
        file = out or Path(folder) / "path.wav"
        if out is not None or player is not None:
            from segue.audio.write import write_wav24

            write_wav24(file, path_sound(sheet, tempo))
        if json:
            print_json(path_report(sheet, out))
        else:
            print_path(sheet)
        if player is not None:
            play_file(player, file)


def _check(n_chords: int, tempo_bpm: float, out: Path | None) -> None:
    check_within("--chords", n_chords, FEWEST_CHORDS, MOST_CHORDS, "chords")
    check_within("--tempo", tempo_bpm, SLOWEST_BPM, FASTEST_BPM, "BPM")
    if out is not None and out.suffix.lower() != ".wav":
        raise OptionError(f"--out {out} is not a WAV: give it a name that ends in .wav.")


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

    Raises
    ------
    OptionError
        If the player cannot, with what it said.
    """
    import subprocess

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


BEATS_A_CHORD: Final = 4  # each chord lasts a bar of four
RATE_HZ: Final = 48_000  # of the WAV that is written
_LEVEL_LUFS: Final = -18.0
"""Loud enough for a small loudspeaker, with room for the pad's peaks."""
_RING_BEATS: Final = 2.0
"""Kept after the last chord for the hall."""


def path_sound(sheet: PathSheet, tempo_bpm: float) -> Clip:
    """The pad playing the chords of a path, one a bar of four beats.

    Its true peak is at most -1 dBTP.
    """
    from segue.plan.layer import PadLayer, Voicing
    from segue.render.candidate import master
    from segue.render.layer_sound import ruler_of
    from segue.render.pad import pad_sound

    layer = PadLayer(
        name="pad",
        voicings=tuple(
            Voicing(
                start_beat=BEATS_A_CHORD * n,
                end_beat=BEATS_A_CHORD * (n + 1),
                notes_midi=notes,
                symbol=step.symbol,
                roman_from=step.chord.roman(sheet.old),
                roman_to=step.chord.roman(sheet.new),
            )
            for n, (step, notes) in enumerate(zip(sheet.steps, sheet.voicings, strict=True))
        ),
    )
    plan = _plan(layer, sheet.old, sheet.new, tempo_bpm)
    ruler = ruler_of(plan, RATE_HZ)
    sound = pad_sound(layer, plan, ruler).laid_out(ruler.n_frames)
    return master(sound, RATE_HZ).music


def _plan(layer: PadLayer, old: Key, new: Key, tempo_bpm: float) -> Plan:
    from segue.music.tempo import TempoCurve, TempoSpan
    from segue.plan.plan import Plan

    end_beat = layer.end_beat + _RING_BEATS
    span = TempoSpan(n_beats=end_beat, start_bpm=tempo_bpm, end_bpm=tempo_bpm)
    return Plan(
        recipe="chord path",
        family="path",
        why="It lets the chords be heard.",
        tempo=TempoCurve(spans=(span,)),
        lead_in_s=0.0,
        exit_beat=0.0,
        entry_beat=layer.voicings[-1].start_beat,
        end_beat=end_beat,
        singer_beat=None,
        key_from=old,
        key_to=new,
        tempo_octave=1.0,
        bar_lines=(),
        layers=(layer,),
        click=(),
        cue=(),
        target_lufs=_LEVEL_LUFS,
        outgoing_gain_db=0.0,
        incoming_gain_db=0.0,
        key_from_tuning_cents=0.0,
        key_to_tuning_cents=0.0,
        seed=0,
    )
