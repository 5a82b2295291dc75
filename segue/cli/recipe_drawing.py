"""A recipe as a timeline of plain signs: bars across, one row a layer."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from segue.errors import counted
from segue.recipes.position import SOUNDLESS, Axis
from segue.recipes.rules import CURVE_RANGES, PATTERN_ROWS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.recipes.recipe import Level, Recipe, RecipeLayer, Tempo

OUTER_BARS: Final = 4
"""Bars of either song that are drawn; the songs go on, but nothing new happens there."""

_MOST_COLUMNS_A_BAR: Final = 8  # of the drawing, eighths in 4/4
_NARROWEST_LABEL: Final = 8  # columns for a layer's name
_FEWEST_COLUMNS: Final = 12  # of the drawing, however narrow the terminal
_QUIETEST_DB: Final = -48.0  # what is drawn as nothing
_KILO: Final = 1000.0  # from which hertz are written as kilohertz


@dataclass(frozen=True, slots=True, kw_only=True)
class Signs:
    """What a timeline is drawn with.

    Parameters
    ----------
    old, ramp, new, half, free, heard : str
        Tempos, and what only the players hear.
    """

    levels: str
    old: str
    ramp: str
    new: str
    half: str
    free: str
    heard: str


BLOCKS: Final = Signs(levels=" ▁▂▃▄▅▆▇█", old="─", ramp="╱", new="═", half="╌", free="~", heard="·")
ASCII: Final = Signs(levels=" .:-=+*%#", old="-", ramp="/", new="=", half="_", free="~", heard=".")


def recipe_drawing(recipe: Recipe, *, width: int, signs: Signs = BLOCKS) -> list[str]:
    """Lines of a recipe's timeline, drawn at its default length.

    Parameters
    ----------
    width : int
        Signs to a line.

    Returns
    -------
    list of str
        None longer than `width`, down to a width of 30.
    """
    axis = Axis(n_bars=recipe.length.default, outer_bars=OUTER_BARS)
    longest = max(len(layer.called) for layer in recipe.layers)
    label_width = min(max(longest, len("tempo")), max(width // 4, _NARROWEST_LABEL))
    n_bars = round(axis.last_bar - axis.first_bar)
    n_columns = min(n_bars * _MOST_COLUMNS_A_BAR, max(width - label_width - 1, _FEWEST_COLUMNS))
    if n_columns >= n_bars:
        n_columns -= n_columns % n_bars  # whole columns a bar
    sheet = _Sheet(axis=axis, n_columns=n_columns, label_width=label_width, width=width)
    return [
        *sheet.folded(f"{recipe.name}: {recipe.summary}"),
        *sheet.folded(_facts(recipe)),
        "",
        sheet.row("", sheet.anchors()),
        sheet.row("bars", sheet.bars()),
        *(line for layer in recipe.layers for line in _layer_lines(layer, sheet, signs)),
        sheet.row("tempo", _tempo(recipe.tempo, sheet, signs)),
        *sheet.folded(_tempo_words(recipe.tempo, signs), indent=2),
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    axis: Axis
    n_columns: int
    label_width: int
    width: int

    def bar_at(self, column: float) -> float:
        span = self.axis.last_bar - self.axis.first_bar
        return self.axis.first_bar + column * span / self.n_columns

    def column_of(self, bar: float) -> int:
        span = self.axis.last_bar - self.axis.first_bar
        return round((bar - self.axis.first_bar) / span * self.n_columns)

    def middles(self) -> Iterator[float]:
        return (self.bar_at(column + 0.5) for column in range(self.n_columns))

    def row(self, label: str, signs: str) -> str:
        cut = label[: self.label_width]
        return f"{cut:<{self.label_width}} {signs}".rstrip()

    def folded(self, words: str, *, indent: int = 0) -> list[str]:
        space = " " * indent
        return textwrap.wrap(words, self.width, initial_indent=space, subsequent_indent=space)

    def anchors(self) -> str:
        exit_at, entry_at = self.column_of(0.0), self.column_of(self.axis.n_bars)
        if entry_at - exit_at <= len("exit"):
            exit_at = max(exit_at + 1 - len("exit"), 0)
        return f"{' ' * exit_at}exit".ljust(entry_at) + "entry"

    def bars(self) -> str:
        """Strokes at the exit and the entry; other bars are numbered where there is room."""
        signs = [" "] * self.n_columns
        every = 1 if self.n_columns / (self.axis.last_bar - self.axis.first_bar) >= 3 else 4  # noqa: PLR2004 - a number and a space
        for bar in range(round(self.axis.first_bar), round(self.axis.last_bar)):
            at = self.column_of(bar)
            from_anchor = bar if bar < self.axis.n_bars else bar - self.axis.n_bars
            mark = "|" if from_anchor == 0 else f"{from_anchor + (bar > 0)}"
            if (from_anchor == 0 or bar % every == 0) and signs[at - 1 : at] in ([], [" "]):
                signs[at : at + len(mark)] = mark
        return "".join(signs)[: self.n_columns]


def _layer_lines(layer: RecipeLayer, sheet: _Sheet, signs: Signs) -> list[str]:
    label = layer.called
    row = "".join(_level_sign(layer, bar, sheet.axis, signs) for bar in sheet.middles())
    details = "; ".join(_details(layer))
    return [sheet.row(label, row), *sheet.folded(details, indent=2)]


def _level_sign(layer: RecipeLayer, bar: float, axis: Axis, signs: Signs) -> str:
    if not axis.bar_of(layer.start) <= bar < axis.bar_of(layer.end):
        return " "
    if layer.source in SOUNDLESS:
        return signs.heard
    gain_db = axis.value_at(layer.gain_db, bar, empty=0.0)
    loudest = len(signs.levels) - 1
    share = 1.0 - gain_db / _QUIETEST_DB
    return signs.levels[min(max(round(share * loudest), 1), loudest)]


def _details(layer: RecipeLayer) -> Iterator[str]:
    """What a row of levels cannot show, in words."""
    yield f"{layer.source}, {layer.start} to {layer.end}"
    if layer.only != "always":
        yield "only for stems" if layer.only == "stems" else "only for a mix"
    yield from _own_words(layer)
    for name in CURVE_RANGES:
        values = [point.value for point in getattr(layer, name)]
        if values and name != "gain_db":
            yield _curve_words(name, values)


def _own_words(layer: RecipeLayer) -> Iterator[str]:
    """What only some sources have."""
    if layer.roles:
        yield ", ".join(layer.roles)
    if layer.part != "all":
        yield f"{layer.part} part"
    if layer.loop_bars:
        yield f"loop of {counted(layer.loop_bars, 'bar')}"
    if layer.harmony != "none":
        yield ", ".join(_played_words(layer))
    if layer.pattern is not None:
        rows = {row: getattr(layer.pattern, row) for row in PATTERN_ROWS}
        yield ", ".join(f"{row} {signs}" for row, signs in rows.items() if signs)
    if layer.bends_to != "nothing":
        yield f"bends to a {layer.bends_to}"


def _played_words(layer: RecipeLayer) -> Iterator[str]:
    """What plays chords, how, and which."""
    if layer.source == "pad":
        yield layer.sound
    else:
        if layer.source == "comp":
            yield layer.played_on
        yield _rhythm_words(layer)
    yield _harmony_words(layer)
    if layer.pumps_db:
        yield f"pumps by {layer.pumps_db:g} dB"


def _rhythm_words(layer: RecipeLayer) -> str:
    return "as suits the tempo" if layer.rhythm == "by tempo" else layer.rhythm


def _harmony_words(layer: RecipeLayer) -> str:
    if layer.harmony == "drone":
        return layer.harmony
    if layer.harmony == "written":
        return f"written: {layer.chords}"
    return f"{layer.harmony}, a chord about every {counted(layer.bars_a_chord, 'bar')}"


def _curve_words(name: str, values: list[float]) -> str:
    what, _, unit = name.rpartition("_") if "_" in name else (name, "", "")
    sign = "+" if values[-1] > values[0] else "-" if values[-1] < values[0] else ""
    shown = " ".join(_number(value, unit) for value in dict.fromkeys((values[0], values[-1])))
    return f"{what} {sign} {shown} {_UNITS.get(unit, unit)}".replace("  ", " ").rstrip()


_UNITS: Final = {"db": "dB", "hz": "Hz"}


def _number(value: float, unit: str) -> str:
    if unit == "hz" and value >= _KILO:
        return f"{value / _KILO:g}k"
    return f"{value:g}"


def _facts(recipe: Recipe) -> str:
    length = recipe.length
    bars = (
        f"{length.least} to {length.most} bars"
        if length.least < length.most
        else counted(length.most, "bar")
    )
    facts = [f"family '{recipe.family}'", f"{bars}, drawn with {length.default}"]
    if length.aim_s is not None:
        facts.append(f"near {length.aim_s:g} s")
    if length.fills_talk:
        facts.append("as long as the singer talks")
    facts.append(_level_words(recipe.level))
    return "; ".join(facts) + "."


def _level_words(level: Level) -> str:
    """How loud the bridge is, from its start to its end."""
    if level.exit_lu == level.entry_lu:
        return f"bridge at {level.exit_lu:+g} LU to the quieter song"
    when = "" if level.rise_bars < 0 else f" in its last {counted(level.rise_bars, 'bar')}"
    return f"bridge from {level.exit_lu:+g} to {level.entry_lu:+g} LU to the quieter song{when}"


def _tempo(tempo: Tempo, sheet: _Sheet, signs: Signs) -> str:
    return "".join(_tempo_sign(tempo, bar, sheet.axis, signs) for bar in sheet.middles())


def _tempo_sign(tempo: Tempo, bar: float, axis: Axis, signs: Signs) -> str:
    steady_from = axis.n_bars - min(tempo.steady_bars, axis.n_bars - 1)
    if bar < 0:
        return signs.old
    if bar >= axis.n_bars:
        return signs.new
    match tempo.move:
        case "hold":
            return signs.old
        case "step":
            return signs.old if tempo.step_at == "entry" else signs.new
        case "linear" | "geometric":
            is_held = bar < min(tempo.held_bars, steady_from - 1)
            return signs.old if is_held else signs.ramp if bar < steady_from else signs.new
        case "half-time":
            return signs.half if bar < steady_from else signs.new
        case "free":
            return signs.free


def _tempo_words(tempo: Tempo, signs: Signs) -> str:
    between = {
        "hold": "",
        "step": "",
        "linear": f", {signs.ramp} evenly from one to the other",
        "geometric": f", {signs.ramp} by about {tempo.percent_a_beat:g} % a beat",
        "half-time": f", {signs.half} half the new",
        "free": f", {signs.free} free time",
    }
    return f"{signs.old} old tempo{between[tempo.move]}, {signs.new} new tempo"
