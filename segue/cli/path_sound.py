"""A chord path as sound: the pad plays it, a bar a chord, and arrives."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from segue.music.tempo import TempoCurve, TempoSpan
from segue.plan.layer import PadLayer, Voicing
from segue.plan.plan import Plan

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.audio.clip import Clip
    from segue.music.key import Key
    from segue.music.path import PathStep

BEATS_A_CHORD: Final = 4
RATE_HZ: Final = 48_000
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
    old, new : Key
    tempo_bpm : float

    Returns
    -------
    Clip
        True peak at most -1 dBTP.
    """
    from segue.render.curves import ruler_of
    from segue.render.master import master
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
