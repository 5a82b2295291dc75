"""What a recipe's fields may hold: which fit which source, and how much of each is sense.

The dataclasses of recipes check themselves by these tables; the
published schema and the reference are made from them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, Final

from segue.errors import did_you_mean, listed
from segue.recipes.position import shown

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence


Place = tuple[str | int, ...]
"""Way to a value from the table that holds it: names of fields and numbers of items from 0."""


@dataclass(frozen=True, slots=True)
class Misfit:
    """What is wrong with one value: where it is, and a sentence without its place."""

    place: Place
    sentence: str


class MisfitError(ValueError):
    """A table of a recipe with values that do not fit."""

    def __init__(self, misfits: Sequence[Misfit]) -> None:
        self.misfits = tuple(misfits)
        super().__init__(
            "; ".join(f"{', '.join(map(str, m.place))}: {m.sentence}" for m in misfits)
        )


@dataclass(frozen=True, slots=True)
class Range:
    """Least and most of a number, with its unit."""

    least: float
    most: float
    unit: str

    def __str__(self) -> str:
        return f"{self.least:g} to {self.most:g} {self.unit}".rstrip()


MOST_PERCENT_A_BEAT: Final = 6.0
"""A larger change a beat is a stumble: the just-noticeable change of a single beat is 6 %
(C. Drake and M.-C. Botte, Perception & Psychophysics 54(3), 1993, 277-286)."""

_BARS: Final = Range(1, 256, "bars")
_CUTOFF: Final = Range(10, 22_000, "Hz")
_SEND: Final = Range(-120, 24, "dB")

RANGES: Final = {
    "least": _BARS,
    "default": _BARS,
    "most": _BARS,
    "aim_s": Range(0.1, 600, "s"),
    "carry_bars": Range(-1, 256, "bars"),
    "overlap_bars": Range(0, 64, "bars"),
    "held_bars": Range(0, 64, "bars"),
    "steady_bars": Range(0, 64, "bars"),
    "exit_lu": Range(-60, 12, "LU"),
    "entry_lu": Range(-60, 12, "LU"),
    "rise_bars": Range(-1, 64, "bars"),
    "stop_bars": Range(0, 8, "bars"),
    "percent_a_beat": Range(0.01, MOST_PERCENT_A_BEAT, "%"),
    "key_distance": Range(0, 1, ""),
    "tempo_change": Range(1, 8, ""),
    "fade_in_s": Range(0, 60, "s"),
    "fade_out_s": Range(0, 60, "s"),
    "loop_bars": Range(0, 64, "bars"),
    "bars_a_chord": Range(0.125, 64, "bars"),
    "pumps_db": Range(0, 12, "dB"),
    "echo_beats": Range(0.05, 16, "beats"),
    "trim_db": Range(-40, 12, "dB"),
    "steps_a_beat": Range(1, 24, "steps"),
}
"""Numbers and pairs of numbers by field. Wide enough for any music, chosen to catch slips."""

CURVE_RANGES: Final = {
    "gain_db": Range(-120, 24, "dB"),
    "lowpass_hz": _CUTOFF,
    "highpass_hz": _CUTOFF,
    "pan": Range(-1, 1, ""),
    "reverb_db": _SEND,
    "echo_db": _SEND,
    "pitch_semitones": Range(-24, 24, "semitones"),
}
"""Values of breakpoints by curve."""

LONGEST_TEXT: Final = {"name": 80, "family": 40, "summary": 400, "why": 400}
"""Signs of a text on one line, by field; none but a layer's name may be empty."""

MOST_LAYERS: Final = 64  # of a recipe; far beyond use, a bound on work
MOST_BREAKPOINTS: Final = 64  # of a curve; far beyond use, a bound on work
MOST_CHORDS: Final = 64  # that are written; far beyond use, a bound on work
LONGEST_PATTERN: Final = 256  # steps of a drum pattern; far beyond use, a bound on work
PATTERN_ROWS: Final = ("kick", "snare", "hat")

_ANY_LAYER: Final = ("source", "start", "end", "name", "only")
_SHAPING: Final = (
    "gain_db",
    "lowpass_hz",
    "highpass_hz",
    "pan",
    "reverb_db",
    "echo_db",
    "echo_beats",
    "trim_db",
)
_SONG: Final = (
    *_ANY_LAYER,
    *_SHAPING,
    "roles",
    "part",
    "loop_bars",
    "fade_in_s",
    "fade_out_s",
    "pitch_semitones",
)

_CHORDS: Final = ("harmony", "chords", "bars_a_chord", "cadence")

FIELDS: Final[dict[str, tuple[str, ...]]] = {
    "outgoing": _SONG,
    "incoming": _SONG,
    "pad": (*_ANY_LAYER, *_SHAPING, *_CHORDS, "sound", "pumps_db"),
    "comp": (*_ANY_LAYER, *_SHAPING, *_CHORDS, "played_on", "rhythm"),
    "bass": (*_ANY_LAYER, *_SHAPING, *_CHORDS, "rhythm"),
    "drum bridge": (*_ANY_LAYER, *_SHAPING, "of", "pattern"),
    "frozen tail": (*_ANY_LAYER, *_SHAPING, "of", "bends_to", "pitch_semitones"),
    "reverse tail": (*_ANY_LAYER, *_SHAPING, "of", "roles"),
    "riser": (*_ANY_LAYER, *_SHAPING),
    "swell": (*_ANY_LAYER, *_SHAPING),
    "impact": (*_ANY_LAYER, *_SHAPING),
    "click": _ANY_LAYER,
    "cue": _ANY_LAYER,
}
"""Fields that fit a layer, by its source."""

NEEDED: Final = {"pad": "harmony", "comp": "harmony", "bass": "harmony", "drum bridge": "pattern"}
"""A field that a source cannot do without."""

PLACEHOLDERS: Final = (
    "key_from",
    "key_to",
    "interval",
    "relation",
    "tempo_from",
    "tempo_to",
    "bars",
    "seconds",
    "percent_a_beat",
    "chords",
    "at_home",
    "ending",
    "opening",
)
"""What a recipe's `why` may mention in braces."""

_PLACEHOLDER = re.compile(r"\{([^{}]*)\}")


def refuse(*groups: Iterable[Misfit]) -> None:
    """Raise a `MisfitError` with all misfits, if there are any."""
    found = [misfit for group in groups for misfit in group]
    if found:
        raise MisfitError(found)


def out_of_range(table: Any) -> Iterator[Misfit]:  # noqa: ANN401 - any dataclass of a recipe
    """Numbers of a dataclass that lie outside their `RANGES`, and pairs that do not ascend."""
    for name in (field.name for field in fields(table) if field.name in RANGES):
        value, allowed = getattr(table, name), RANGES[name]
        numbers = value if isinstance(value, tuple) else (value,)
        if not all(n is None or allowed.least <= n <= allowed.most for n in numbers):
            seen = list(value) if isinstance(value, tuple) else value
            yield Misfit((name,), f"{shown(seen)} is outside {allowed}; keep within")
        elif isinstance(value, tuple) and value[0] > value[1]:
            yield Misfit((name,), f"{shown(list(value))} descends; write the least, then the most")


def unreadable_texts(table: Any) -> Iterator[Misfit]:  # noqa: ANN401 - any dataclass of a recipe
    """Texts of a recipe that are empty, too long, or would break a line."""
    for name, longest in LONGEST_TEXT.items():
        text = getattr(table, name)
        if not text.strip():
            yield Misfit((name,), "is empty; write a few words")
        else:
            yield from long_or_broken(name, text, longest)


def layers_misfits(layers: Sequence[object]) -> Iterator[Misfit]:
    """Too few or too many layers."""
    if not layers:
        yield Misfit(("layers",), "is empty; write at least one layer")
    elif len(layers) > MOST_LAYERS:
        yield Misfit(("layers",), f"are {len(layers)}, more than {MOST_LAYERS}")


def why_misfits(why: str) -> Iterator[Misfit]:
    """Placeholders that nobody fills in, and stray braces."""
    for word in _PLACEHOLDER.findall(why):
        if word not in PLACEHOLDERS:
            hint = meant(word, PLACEHOLDERS)
            known = ", ".join(PLACEHOLDERS)
            told = f"{shown('{' + word + '}')} is none of {known}{hint or '; take one of these'}"
            yield Misfit(("why",), told)
    if set("{}") & set(_PLACEHOLDER.sub("", why)):
        yield Misfit(("why",), "has a single brace; braces go in pairs around a word")


def meant(word: str, known: Iterable[str]) -> str:
    """``"; did you mean 'x'?"``, or nothing."""
    hint = did_you_mean(word, known).strip()
    return f"; d{hint[1:]}" if hint else ""


def foreign_field(field: str, source: str) -> Misfit:
    """A field that does not fit a source.

    Told with the sources that it fits or the fields of this one, whichever are fewer.
    """
    sources = [f"'{name}'" for name, names in FIELDS.items() if field in names]
    fitting = f"only {listed(sources)}"
    if len(sources) > len(FIELDS[source]):
        fitting = f"which takes {listed(FIELDS[source])}"
    return Misfit((field,), f"does not fit the source '{source}', {fitting}")


def long_or_broken(name: str, text: str, longest: int) -> Iterator[Misfit]:
    """A text that would break a line, or is longer than allowed."""
    if not text.isprintable():
        yield Misfit((name,), "has a line break or an unprintable sign; write one plain line")
    elif len(text) > longest:
        yield Misfit((name,), f"is {len(text)} signs long; cut it to {longest}")
