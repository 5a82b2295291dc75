"""One layer of a recipe: what sounds, from where to where, and how it changes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from itertools import pairwise
from typing import Final, Literal

from segue.audio.clip import Role
from segue.music.chord import CadenceChoice
from segue.music.chord_words import parse_numeral
from segue.music.key import Key
from segue.recipes.position import Breakpoint, Position, shown
from segue.recipes.rules import (
    CURVE_RANGES,
    FIELDS,
    LONGEST_PATTERN,
    LONGEST_TEXT,
    MOST_BREAKPOINTS,
    MOST_CHORDS,
    NEEDED,
    PATTERN_ROWS,
    Misfit,
    foreign_field,
    long_or_broken,
    out_of_range,
    refuse,
)

Side = Literal["outgoing", "incoming"]
Part = Literal["all", "harmonic", "percussive"]
PadSound = Literal["warm", "glass", "choir"]
LayerSource = Literal[
    "outgoing",
    "incoming",
    "pad",
    "comp",
    "bass",
    "drum bridge",
    "frozen tail",
    "reverse tail",
    "riser",
    "swell",
    "impact",
    "click",
    "cue",
]
PlayedOn = Literal["keys", "pluck", "organ"]
Rhythm = Literal[
    "by tempo", "held", "quarters", "eighths", "off-beats", "push", "arpeggio", "strum", "walking"
]
Harmony = Literal[
    "none", "path", "new key", "dominant", "drone", "common tone", "pivot vamp", "written"
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """A bar or more of drums as drummers write it: x a hit, o a soft one, - a rest.

    Parameters
    ----------
    kick, snare, hat : str
        One sign a step; repeated to the length that is played, or its last bars.
    steps_a_beat : int
        Signs to a beat: 4 are sixteenths in common time.
    """

    kick: str = ""
    snare: str = ""
    hat: str = ""
    steps_a_beat: int = 4

    def __post_init__(self) -> None:
        refuse(out_of_range(self), pattern_misfits(self))


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeLayer:
    """One sounding layer of a recipe.

    Parameters
    ----------
    source : LayerSource
        What sounds.
    start : Position
        Where it begins to sound.
    end : Position
        Where it has ended.
    name : str
        What it is called in drawings and messages; without one, after its source.
    only : {'always', 'stems', 'mix'}
        Whether the layer is for songs with stems, for mixes, or for both.
    roles : tuple of Role
        Stems that play, of a song that is given as stems; none named plays all.
    part : {'all', 'harmonic', 'percussive'}
        What plays, of a song that is given as a mix.
    fade_in_s : float
        Fade at the start of a song's own sound.
    fade_out_s : float
        Fade at the end of it.
    loop_bars : int
        Of the songs' own sound: the first bars (incoming) or the last (outgoing),
        played again and again; 0 plays on as the song does.
    of : {'outgoing', 'incoming'}
        Whose drums, moment or tail a bridge, frozen or reverse tail is made of.
    pattern : Pattern or None
        What a drum bridge plays.
    bends_to : {'nothing', 'common tone'}
        What a frozen tail turns into: it stays, or thins out to one tone of the
        old chord and bends to the nearest tone of the new one.
    harmony : Harmony
        What chords or a bass play: the path from the old key, a progression in the new
        key, its dominant, its root and fifth, a tone that both keys have with
        the new bass under it, chords that both keys have and then the cadence, or
        those that are written.
    chords : str
        Numerals of written chords in the new key, such as 'vi IV I V7': counted on the major
        scale, lower case for minor. They share the bridge evenly, the first of them longest.
    bars_a_chord : float
        About how long chords last: halved or doubled where that were under 1.8 or over
        3.6 seconds.
    cadence : CadenceChoice
        Last chord before the entry.
    sound : {'warm', 'glass', 'choir'}
        Character of a pad.
    played_on : {'keys', 'pluck', 'organ'}
        What comping is played on.
    rhythm : Rhythm
        How chords or a bass are played: as suits the tempo, or one way at any; 'push' is
        three, three and two eighths, and only a bass walks.
    pumps_db : float
        How far a pad makes way on every beat, as if for a kick.
    gain_db : tuple of Breakpoint
        Level, on top of the layer's own; at most -60 dB is silence.
    lowpass_hz : tuple of Breakpoint
        Cutoff of a filter that takes away what is above.
    highpass_hz : tuple of Breakpoint
        Cutoff of a filter that takes away what is below.
    pan : tuple of Breakpoint
        From -1, left, to 1, right.
    reverb_db : tuple of Breakpoint
        What is sent to the hall; at most -60 dB is nothing.
    echo_db : tuple of Breakpoint
        What is sent to the echo; at most -60 dB is nothing.
    echo_beats : float
        From one repeat of the echo to the next.
    pitch_semitones : tuple of Breakpoint
        Moves the pitch and keeps the time.
    trim_db : float
        Level by hand: how much louder or softer than it comes out, once the bridge as a whole
        has its level.
    """

    source: LayerSource
    start: Position
    end: Position
    name: str = ""
    roles: tuple[Role, ...] = ()
    part: Part = "all"
    only: Literal["always", "stems", "mix"] = "always"
    fade_in_s: float = 0.01
    fade_out_s: float = 0.02
    loop_bars: int = 0
    of: Side = "outgoing"
    pattern: Pattern | None = None
    bends_to: Literal["nothing", "common tone"] = "nothing"
    harmony: Harmony = "none"
    chords: str = ""
    bars_a_chord: float = 1.0
    cadence: CadenceChoice = "dominant"
    sound: PadSound = "warm"
    played_on: PlayedOn = "keys"
    rhythm: Rhythm = "by tempo"
    pumps_db: float = 0.0
    gain_db: tuple[Breakpoint, ...] = ()
    lowpass_hz: tuple[Breakpoint, ...] = ()
    highpass_hz: tuple[Breakpoint, ...] = ()
    pan: tuple[Breakpoint, ...] = ()
    reverb_db: tuple[Breakpoint, ...] = ()
    echo_db: tuple[Breakpoint, ...] = ()
    echo_beats: float = 0.75
    pitch_semitones: tuple[Breakpoint, ...] = ()
    trim_db: float = 0.0

    def __post_init__(self) -> None:
        refuse(out_of_range(self), layer_misfits(self))

    @property
    def called(self) -> str:
        """Its name; without one, its source."""
        return self.name or self.source


def layer_misfits(layer: RecipeLayer) -> Iterator[Misfit]:
    """What does not fit in a layer, beyond its numbers."""
    yield from long_or_broken("name", layer.name, LONGEST_TEXT["name"])
    yield from _foreign_fields(layer)
    needed = NEEDED.get(layer.source)
    if needed is not None and getattr(layer, needed) in (None, "none"):
        yield Misfit((needed,), f"a {layer.source} needs a {needed}; write one")
    if layer.end == layer.start or layer.end.is_surely_before(layer.start):
        yield Misfit(("end",), f"'{layer.end}' is not after the start, '{layer.start}'")
    yield from _chords_misfits(layer)
    for name in CURVE_RANGES:
        yield from _curve_misfits(name, getattr(layer, name))


def _chords_misfits(layer: RecipeLayer) -> Iterator[Misfit]:
    """Chords without the harmony that they are for, the reverse, and what is no numeral."""
    words = layer.chords.split()
    if layer.harmony == "written" and not words:
        yield Misfit(("chords",), "are missing; harmony 'written' needs some, such as 'vi IV V7'")
    elif words and layer.harmony != "written":
        yield Misfit(("chords",), "are for harmony = 'written'; write that, or leave them out")
    if len(words) > MOST_CHORDS:
        yield Misfit(("chords",), f"are {len(words)}, more than {MOST_CHORDS}")
    for word in words[:MOST_CHORDS]:
        try:
            parse_numeral(word, _ANY_KEY)
        except ValueError as error:
            yield Misfit(("chords",), str(error))


_ANY_KEY: Final = Key(tonic=0, mode="major")  # in which numerals are tried


def pattern_misfits(pattern: Pattern) -> Iterator[Misfit]:
    """Rows of drums with signs that nobody plays, and patterns without a row."""
    rows = {name: getattr(pattern, name) for name in PATTERN_ROWS}
    for name, row in rows.items():
        wrong = sorted(set(row) - set("xo-"))
        if wrong:
            sentence = f"{shown(row)} has {shown(wrong[0])} in it"
            yield Misfit((name,), f"{sentence}; write x for a hit, o for a soft one, - for a rest")
        elif len(row) > LONGEST_PATTERN:
            yield Misfit((name,), f"is {len(row)} steps long, more than {LONGEST_PATTERN}")
    if not any(rows.values()):
        yield Misfit((), "needs a kick, a snare or a hat; write one")


def _foreign_fields(layer: RecipeLayer) -> Iterator[Misfit]:
    allowed = FIELDS[layer.source]
    for field in fields(layer):
        if field.name not in allowed and getattr(layer, field.name) != field.default:
            yield foreign_field(field.name, layer.source)


def _curve_misfits(name: str, curve: tuple[Breakpoint, ...]) -> Iterator[Misfit]:
    allowed = CURVE_RANGES[name]
    if len(curve) > MOST_BREAKPOINTS:
        yield Misfit(
            (name,), f"has {len(curve)} breakpoints, more than {MOST_BREAKPOINTS}; take some out"
        )
    for n, point in enumerate(curve):
        if not allowed.least <= point.value <= allowed.most:
            yield Misfit((name, n), f"{shown(point.value)} is outside {allowed}; keep within")
    for n, (a, b) in enumerate(pairwise(curve), start=1):
        if a.at == b.at:
            yield Misfit((name, n), f"'{b.at}' is there twice; for a jump, leave 0.01 bars between")
        elif b.at.is_surely_before(a.at):
            yield Misfit((name, n), f"'{b.at}' comes before '{a.at}'; write them in playing order")
