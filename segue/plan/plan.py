"""The plan of one way across: everything the renderer needs, in beats.

Beats count from 0, the first downbeat of the outgoing song that is kept; the
plan's `TempoCurve` and its lead-in turn them into seconds, in one place
(`Plan.seconds_at`). Sections: 'outgoing' up to the exit, 'interlude' up to the
entry, 'incoming' from there on.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from segue.audio.clip import Role
from segue.music.key import Key
from segue.music.tempo import TempoCurve

Side = Literal["outgoing", "incoming"]
Section = Literal["outgoing", "interlude", "incoming"]
Part = Literal["all", "harmonic", "percussive"]
PadSound = Literal["warm", "glass", "choir"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePoint:
    """A value at a beat; between points the value moves linearly in beats."""

    beat: float
    value: float


Curve = tuple[CurvePoint, ...]
"""Breakpoints in ascending beats; held flat outside; empty means neutral."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MapPoint:
    """A key frame of a time map: at this beat of the plan, this second of the song's file.

    Between key frames the song's time runs evenly in the plan's seconds. Where
    both advance by the same number of seconds the audio is copied, not stretched.
    """

    beat: float
    source_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SongLayer:
    """Audio of one of the two songs.

    Parameters
    ----------
    name : str
        Shown to people.
    song : {'outgoing', 'incoming'}
    start_beat, end_beat : float
        Where it sounds; before and after, silence (effect tails may ring on).
    time_map : tuple of MapPoint
        At least two, ascending in both; covers start_beat to end_beat.
    roles : tuple of Role
        Stems to use; empty means all. Ignored where only a mix is given.
    part : {'all', 'harmonic', 'percussive'}
        Which part of the sound, separated where not 'all'.
    gain_db : Curve
        On top of the song's own level match. At most -60 dB is silence.
    lowpass_hz, highpass_hz : Curve
        Cutoff of a 24 dB an octave filter, moved evenly in log frequency.
    reverb_db : Curve
        Send to the reverb; empty or at most -60 dB is none.
    fade_in_s, fade_out_s : float
        Short fades at the two ends.
    """

    name: str
    song: Side
    start_beat: float
    end_beat: float
    time_map: tuple[MapPoint, ...]
    roles: tuple[Role, ...] = ()
    part: Part = "all"
    gain_db: Curve = ()
    lowpass_hz: Curve = ()
    highpass_hz: Curve = ()
    reverb_db: Curve = ()
    fade_in_s: float = 0.01
    fade_out_s: float = 0.01

    def __post_init__(self) -> None:
        if len(self.time_map) < 2 or not self.start_beat < self.end_beat:  # noqa: PLR2004 - two ends
            raise ValueError(f"layer '{self.name}' needs a length and two key frames")
        for a, b in pairwise(self.time_map):
            if not (b.beat > a.beat and b.source_s > a.source_s):
                raise ValueError(f"layer '{self.name}' runs backwards between {a} and {b}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Voicing:
    """A chord as the pad plays it.

    Parameters
    ----------
    start_beat, end_beat : float
    notes_midi : tuple of int
        Ascending, the bass first.
    symbol : str
        Chord symbol, such as 'C7'.
    roman_from, roman_to : str
        Roman numeral in the old and in the new key; empty where foreign.
    """

    start_beat: float
    end_beat: float
    notes_midi: tuple[int, ...]
    symbol: str
    roman_from: str = ""
    roman_to: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PadLayer:
    """Sustained synthetic chords.

    Parameters
    ----------
    name : str
    voicings : tuple of Voicing
        One after the other, without gaps.
    sound : {'warm', 'glass', 'choir'}
    gain_db : Curve
        Relative to the plan's target loudness.
    lowpass_hz : Curve
    """

    name: str
    voicings: tuple[Voicing, ...]
    sound: PadSound = "warm"
    gain_db: Curve = ()
    lowpass_hz: Curve = ()

    @property
    def start_beat(self) -> float:
        """First beat of the first chord."""
        return self.voicings[0].start_beat

    @property
    def end_beat(self) -> float:
        """Last beat of the last chord."""
        return self.voicings[-1].end_beat


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


Layer = SongLayer | PadLayer


@dataclass(frozen=True, slots=True, kw_only=True)
class BarLine:
    """A bar line.

    Parameters
    ----------
    beat : float
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
    """One way across, planned.

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
    key_from, key_to : Key
    tempo_octave : float
        Beats of the incoming song to one beat of the interlude's ruler at the
        entry: 1, or 2 / 0.5 where one song is counted in half-time.
    bar_lines : tuple of BarLine
    layers : tuple of Layer
        What sounds on the music bus.
    click : tuple of ClickHit
    cue : tuple of CueNote
    target_lufs : float
        Loudness both songs are brought to.
    outgoing_gain_db, incoming_gain_db : float
        Level match of each song.
    key_from_tuning_cents, key_to_tuning_cents : float
        Tuning of each song; the pad follows the incoming one.
    seed : int
        Of everything random in the render.
    notes : tuple of str
        What this plan cannot do, as sentences.
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
    notes: tuple[str, ...] = ()

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
        return self.tempo.beat_at(seconds - self.lead_in_s)

    @property
    def duration_s(self) -> float:
        """Length of the rendered candidate in seconds."""
        return self.seconds_at(self.end_beat)

    @property
    def voicings(self) -> tuple[Voicing, ...]:
        """All planned chords, in order."""
        return tuple(
            v for layer in self.layers if isinstance(layer, PadLayer) for v in layer.voicings
        )
