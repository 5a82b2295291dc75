"""The plan of one segue: everything the renderer needs, in beats.

Beats count from 0, the first downbeat of the outgoing song that is kept; the
plan's `TempoCurve` and its lead-in turn them into seconds, in one place
(`Plan.seconds_at`). Sections: 'outgoing' up to the exit, 'interlude' up to the
entry, 'incoming' from there on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from segue.music.key import Key
from segue.music.tempo import TempoCurve
from segue.plan.grid import SAME_BEAT
from segue.plan.layer import ChordLayer, Curve, Layer, PadLayer, PlayedLayer, Voicing

if TYPE_CHECKING:
    from collections.abc import Iterable

Section = Literal["outgoing", "interlude", "incoming"]


StretchEngine = Literal["own", "rubberband"]
"""Ours, or the program of that name, which has to be installed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClickHit:
    """One click: 'bar' on beat one (accented), 'beat' on the others."""

    beat: float
    kind: Literal["bar", "beat"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CueNote:
    """A note on the cue bus, for the singer's ears only."""

    start_beat: float
    end_beat: float
    midi: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BarLine:
    """A bar line.

    Parameters
    ----------
    number : int
        Counted from 1 over the whole candidate.
    section : {'outgoing', 'interlude', 'incoming'}
        Section of the bar that starts here.
    metre : int
        Beats in that bar.
    """

    beat: float
    number: int
    section: Section
    metre: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """One segue, planned.

    Parameters
    ----------
    recipe, family : str
        Name and family of the recipe.
    why : str
        One sentence: why it suits this pair.
    tempo : TempoCurve
        Covers beat 0 to `end_beat`.
    lead_in_s : float
        Sound before beat 0, so that the first attack is whole.
    exit_beat, entry_beat, end_beat : float
        Where the interlude starts, where bar one of the incoming song is, and
        where the candidate ends.
    singer_beat : float or None
        Where the first sung or lead note of the incoming song falls.
    tempo_octave : float
        Beats of the incoming song to one beat of the interlude's ruler at the
        entry: 1, or 2 / 0.5 where one song is counted in half-time.
    layers : tuple of Layer
        What sounds on the music bus.
    target_lufs : float
        Loudness both songs are brought to.
    outgoing_gain_db, incoming_gain_db : float
        Level match of each song.
    key_from_tuning_cents, key_to_tuning_cents : float
        Tuning of each song; the pad follows the incoming one.
    seed : int
        Of everything random in the render.
    talk_s : float or None
        What the singer wants for talking inside the interlude.
    incoming_shift_semitones : int
        How far the incoming song is moved; its facts here are those after the move.
    stretch_engine : {'own', 'rubberband'}
        What stretches and transposes songs; the program where it is asked for.
    notes : tuple of str
        What this plan cannot do, as sentences.
    bridge_lu : Curve
        Loudness of the bridge, all that sounds in it together, against the quieter of the old
        song's last bars and the new song's first; empty leaves it as its layers make it.
    stop_beats : float
        Beats from the exit in which silence is part of the plan.
    exit_source_s, entry_source_s : float or None
        Second of each song's file at its exit or entry; None where no song was planned for.
    """

    recipe: str
    family: str
    why: str
    tempo: TempoCurve
    lead_in_s: float
    exit_beat: float
    entry_beat: float
    end_beat: float
    singer_beat: float | None
    key_from: Key
    key_to: Key
    tempo_octave: float
    bar_lines: tuple[BarLine, ...]
    layers: tuple[Layer, ...]
    click: tuple[ClickHit, ...]
    cue: tuple[CueNote, ...]
    target_lufs: float
    outgoing_gain_db: float
    incoming_gain_db: float
    key_from_tuning_cents: float
    key_to_tuning_cents: float
    seed: int
    talk_s: float | None = None
    incoming_shift_semitones: int = 0
    stretch_engine: StretchEngine = "own"
    notes: tuple[str, ...] = ()
    bridge_lu: Curve = ()
    stop_beats: float = 0.0
    exit_source_s: float | None = None
    entry_source_s: float | None = None

    def __post_init__(self) -> None:
        if not 0 <= self.exit_beat <= self.entry_beat < self.end_beat:
            raise ValueError(
                f"exit {self.exit_beat}, entry {self.entry_beat} and end {self.end_beat} "
                "are not in order"
            )

    def seconds_at(self, beat: float) -> float:
        """Time of a beat in the rendered candidate, in seconds from its first frame."""
        return self.lead_in_s + self.tempo.seconds_at(beat)

    def beat_at(self, seconds: float) -> float:
        """Beat at a time of the rendered candidate; inverse of `seconds_at`."""
        return self.beats_at((seconds,))[0]

    def beats_at(self, times_s: Iterable[float]) -> list[float]:
        """Beats at many times of the rendered candidate, in their order."""
        return self.tempo.beats_at(time_s - self.lead_in_s for time_s in times_s)

    @property
    def duration_s(self) -> float:
        """Length of the rendered candidate in seconds."""
        return self.seconds_at(self.end_beat)

    @property
    def enters_on_a_bar(self) -> bool:
        """Whether the new song comes in on one of its bar lines; one in free time does not."""
        return any(abs(line.beat - self.entry_beat) < SAME_BEAT for line in self.bar_lines)

    @property
    def voicings(self) -> tuple[Voicing, ...]:
        """All planned chords, in order: those of the pads, or else of the first that plays any."""
        pads = tuple(x for x in self.layers if isinstance(x, PadLayer))
        played = tuple(x for x in self.layers if isinstance(x, PlayedLayer))[:1]
        layers: tuple[ChordLayer, ...] = pads or played
        return tuple(v for layer in layers for v in layer.voicings)
