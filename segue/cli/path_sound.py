"""A chord path as sound: the pad plays it, a bar a chord, and arrives.

Playing a file through whatever player the system has.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING, Final

from segue.errors import OptionError
from segue.music.tempo import TempoCurve, TempoSpan
from segue.plan.layer import PadLayer, Voicing
from segue.plan.plan import Plan

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.audio.clip import Clip
    from segue.music.chord_path import PathStep
    from segue.music.key import Key

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


def path_sound(
    steps: Sequence[PathStep],
    voicings: Sequence[tuple[int, ...]],
    *,
    old: Key,
    new: Key,
    tempo_bpm: float,
) -> Clip:
    """The pad playing chords, one a bar of four beats.

    Parameters
    ----------
    steps : sequence of PathStep
        With the arrival as the last.
    voicings : sequence of tuple of int
        MIDI notes of each step.

    Returns
    -------
    Clip
        True peak at most -1 dBTP.
    """
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
                roman_from=step.chord.roman(old),
                roman_to=step.chord.roman(new),
            )
            for n, (step, notes) in enumerate(zip(steps, voicings, strict=True))
        ),
    )
    plan = _plan(layer, old, new, tempo_bpm)
    ruler = ruler_of(plan, RATE_HZ)
    sound = pad_sound(layer, plan, ruler).laid_out(ruler.n_frames)
    return master(sound, RATE_HZ).music


def _plan(layer: PadLayer, old: Key, new: Key, tempo_bpm: float) -> Plan:
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
