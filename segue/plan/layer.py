"""What sounds on the music bus, layer by layer, in beats of the plan.

All kinds share `Shaping`. Each is data only: what is played, where, and how it
changes; how it is made to sound is the renderer's business.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from segue.audio.clip import Role
from segue.recipes.recipe_layer import PadSound as PadSound
from segue.recipes.recipe_layer import Part as Part
from segue.recipes.recipe_layer import PlayedOn as PlayedOn
from segue.recipes.recipe_layer import Side as Side

Drum = Literal["kick", "snare", "hat"]


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
class Shaping:
    """How the sound of a layer changes: what every kind of layer has in common.

    Parameters
    ----------
    name : str
        Shown to people.
    gain_db : Curve
        On top of the layer's own level. At most -60 dB is silence.
    lowpass_hz, highpass_hz : Curve
        Cutoff of a 24 dB an octave filter, moved evenly in log frequency.
    pan : Curve
        -1 left to 1 right.
    reverb_db, echo_db : Curve
        Sends to the hall and to the echo; empty or at most -60 dB is none.
    echo_beats : float
        From one repeat of the echo to the next.
    trim_db : float
        Level by hand, once the bridge as a whole has its level.
    """

    name: str
    gain_db: Curve = ()
    lowpass_hz: Curve = ()
    highpass_hz: Curve = ()
    pan: Curve = ()
    reverb_db: Curve = ()
    echo_db: Curve = ()
    echo_beats: float = 0.75
    trim_db: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SongLayer(Shaping):
    """Audio of one of the two songs.

    Parameters
    ----------
    start_beat, end_beat : float
        Where it sounds; before and after, silence (effect tails may ring on).
    time_map : tuple of MapPoint
        At least two, ascending in both; covers start_beat to end_beat.
    roles : tuple of Role
        Stems to use; empty means all. Ignored where only a mix is given.
    part : {'all', 'harmonic', 'percussive'}
        Which part of the sound, separated where not 'all'.
    pitch_semitones : Curve
        Moves the pitch and keeps the time.
    fade_in_s, fade_out_s : float
        Short fades at the two ends.
    compared_s : tuple of float
        Where no singer is wanted, but only a mix is given: seconds of the file at which a loop
        starts, and at which bars as long may be alike but for the voice.
    compared_length_s : float
        How long the loop is in the file.
    """

    kind: Literal["song"] = "song"
    song: Side
    start_beat: float
    end_beat: float
    time_map: tuple[MapPoint, ...]
    roles: tuple[Role, ...] = ()
    part: Part = "all"
    pitch_semitones: Curve = ()
    fade_in_s: float = 0.01
    fade_out_s: float = 0.01
    compared_s: tuple[float, ...] = ()
    compared_length_s: float = 0.0

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
class PadLayer(Shaping):
    """Sustained synthetic chords; `gain_db` is relative to the plan's target loudness.

    Parameters
    ----------
    voicings : tuple of Voicing
        One after the other, without gaps.
    instrument : str
        File of a sound of the user's own that plays instead; empty is none.
    """

    kind: Literal["pad"] = "pad"
    voicings: tuple[Voicing, ...]
    sound: PadSound = "warm"
    instrument: str = ""

    @property
    def start_beat(self) -> float:
        """First beat of the first chord."""
        return self.voicings[0].start_beat

    @property
    def end_beat(self) -> float:
        """Last beat of the last chord."""
        return self.voicings[-1].end_beat


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedNote:
    """One note of comping or of a bass, `gain_db` below the loudest."""

    start_beat: float
    end_beat: float
    midi: int
    gain_db: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedLayer(Shaping):
    """Chords or a bass in rhythm; `gain_db` is relative to the plan's target loudness.

    Parameters
    ----------
    voicings : tuple of Voicing
        The chords that the notes are of.
    notes : tuple of PlayedNote
        Ascending in their start.
    """

    kind: Literal["played"] = "played"
    voicings: tuple[Voicing, ...]
    notes: tuple[PlayedNote, ...]
    sound: PlayedOn | Literal["bass"] = "keys"

    @property
    def start_beat(self) -> float:
        """First beat of the first chord."""
        return self.voicings[0].start_beat

    @property
    def end_beat(self) -> float:
        """Last beat of the last chord."""
        return self.voicings[-1].end_beat


@dataclass(frozen=True, slots=True, kw_only=True)
class DrumHit:
    """One hit of a drum bridge, `gain_db` below the loudest."""

    beat: float
    drum: Drum
    gain_db: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DrumLayer(Shaping):
    """A drum bridge: the act's own hits, cut out of a song and played as planned.

    Parameters
    ----------
    song : {'outgoing', 'incoming'}
        Whose kick, snare and hat.
    start_beat, end_beat : float
        What rings at the end is faded out.
    hits : tuple of DrumHit
        Ascending in beats.
    """

    kind: Literal["drums"] = "drums"
    song: Side
    start_beat: float
    end_beat: float
    hits: tuple[DrumHit, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FrozenLayer(Shaping):
    """A moment of a song held as long as it is wanted.

    Parameters
    ----------
    source_s : float
        The moment, in seconds of the song's file.
    pitch_semitones : Curve
        Bends the whole of it.
    tone_midi : float or None
        A tone of the moment, before the bend, that it may be thinned out to.
    thinning : Curve
        0 leaves the moment as it is, 1 leaves only the partials of the tone.
    """

    kind: Literal["frozen"] = "frozen"
    song: Side
    source_s: float
    start_beat: float
    end_beat: float
    pitch_semitones: Curve = ()
    tone_midi: float | None = None
    thinning: Curve = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepLayer(Shaping):
    """Noise that leads to its end, or bursts; `gain_db` is relative to the target loudness.

    Parameters
    ----------
    sweep : {'riser', 'swell', 'impact'}
        A riser climbs in pitch and stops short; a swell grows like a rolled
        cymbal and rings on; an impact bursts on its first beat and dies away.
    tone_midi : float or None
        Tone that a riser arrives at, or an impact falls to; None is noise alone.
    """

    kind: Literal["sweep"] = "sweep"
    sweep: Literal["riser", "swell", "impact"]
    start_beat: float
    end_beat: float
    tone_midi: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReversedLayer(Shaping):
    """A song's own sound in the hall, backwards, growing into `end_beat`.

    Parameters
    ----------
    source_s, length_s : float
        What goes into the hall, in seconds of the song's file.
    roles : tuple of Role
        Stems to use; empty means all.
    """

    kind: Literal["reversed"] = "reversed"
    song: Side
    source_s: float
    length_s: float
    start_beat: float
    end_beat: float
    roles: tuple[Role, ...] = ()


ChordLayer = PadLayer | PlayedLayer
"""What plays planned chords."""

Layer = SongLayer | PadLayer | PlayedLayer | DrumLayer | FrozenLayer | SweepLayer | ReversedLayer
"""Anything that sounds on the music bus."""
