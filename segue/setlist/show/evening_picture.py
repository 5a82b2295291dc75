"""The evening as a picture: keys, tempo and energy over time."""

from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING, Any, Final

from segue.files.whole_file import write_whole
from segue.runfolder.pictures import plain_words
from segue.setlist.lengths import clock

if TYPE_CHECKING:
    from pathlib import Path

    from segue.analysis.facts import KeyFact
    from segue.music.key import Key
    from segue.setlist.evening import Evening, EveningSong

PICTURE_NAME: Final = "evening.png"
SONG_COLOUR: Final = "#0072B2"
JOIN_COLOUR: Final = "#E69F00"
STOP_COLOUR: Final = "#999999"
"""Blue and orange that colour-blind readers tell apart (Okabe and Ito, 2008), and grey."""

_SIZE_INCHES: Final = (12.0, 7.5)
_DOTS_AN_INCH: Final = 110
_LETTERS_ACROSS: Final = 120
"""Letters of a title's size that the picture is wide."""
_N_TICKS: Final = 10
_STEPS_S: Final = (30, 60, 120, 300, 600, 900, 1800, 3600)
_MOST_ENERGY: Final = 5


@plain_words()
def write_evening_picture(path: Path, evening: Evening) -> None:
    """Draw an evening into a PNG file.

    Parameters
    ----------
    evening : Evening
        With its times.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=_SIZE_INCHES, dpi=_DOTS_AN_INCH, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots(4, 1, sharex=True, height_ratios=[0.8, 2.4, 1.4, 0.9])
    figure.suptitle(evening.title, fontsize=13, fontweight="bold")
    _draw_songs(axes[0], evening)
    _draw_keys(axes[1], evening)
    _draw_tempo(axes[2], evening)
    _draw_energy(axes[3], evening)
    _mark_time(axes, evening)
    content = io.BytesIO()
    figure.savefig(content, format="png", metadata={"Software": None})
    write_whole(path, content.getvalue())


def _draw_songs(axis: Any, evening: Evening) -> None:  # noqa: ANN401 - matplotlib's axes
    total_s = max(evening.running_s, evening.slot_s or 0.0)
    for song in evening.songs:
        length_s = song.end_s - song.start_s
        axis.broken_barh([(song.start_s, length_s)], (0, 1), color=SONG_COLOUR, alpha=0.85)
        room = int(_LETTERS_ACROSS * length_s / max(total_s, 1.0))
        words = f"{song.number} {song.title}"
        if len(words) > room:
            words = f"{words[: room - 1].rstrip()}…" if room > len("12 Abc") else f"{song.number}"
        middle_s = song.start_s + length_s / 2
        axis.text(middle_s, 0.5, words, ha="center", va="center", color="white", fontsize=9)
    for join in evening.joins:
        colour = JOIN_COLOUR if join.interlude_s else STOP_COLOUR
        axis.broken_barh([(join.start_s, join.end_s - join.start_s)], (0.15, 0.7), color=colour)
    _explain_colours(axis, evening)
    axis.set_ylim(0, 1)
    axis.set_yticks([])
    axis.set_ylabel("songs")


def _explain_colours(axis: Any, evening: Evening) -> None:  # noqa: ANN401
    """What is drawn in which colour, above the songs; nothing where they play without a break."""
    from matplotlib.patches import Patch

    kinds = [("segue", JOIN_COLOUR, True), ("stop, talk, changeover", STOP_COLOUR, False)]
    patches = [
        Patch(color=colour, label=name)
        for name, colour, is_music in kinds
        if any(bool(j.interlude_s) == is_music and j.end_s > j.start_s for j in evening.joins)
    ]
    if patches:
        place: dict[str, Any] = {"loc": "lower right", "bbox_to_anchor": (1.0, 1.0)}
        axis.legend(handles=patches, ncols=2, frameon=False, fontsize=8, **place)


def _fifths(key: Key) -> int:
    """Row of a key: keys a fifth apart are neighbours, a minor key is beside its relative major."""
    return (key.relative_major_tonic * 7 + 5) % 12 * 2 + (key.mode == "minor")


def _row(fact: KeyFact) -> float:
    """Row of a key; NaN, where nothing is drawn, for none."""
    return _fifths(fact.key) if fact.is_known else math.nan


def _draw_keys(axis: Any, evening: Evening) -> None:  # noqa: ANN401 - matplotlib's axes
    names: dict[int, str] = {}
    last: tuple[float, float] | None = None
    for song in evening.songs:
        if song.start is None or song.end is None:
            last = None
            continue
        known = [facts.key for facts in (song.start, song.end) if facts.key.is_known]
        names |= {_fifths(fact.key): str(fact.key) for fact in known}
        rows = [_row(facts.key) for facts in (song.start, song.end)]
        if last is not None:
            axis.plot([last[0], song.start_s], [last[1], rows[0]], ":", color=JOIN_COLOUR)
        middle_s = (song.start_s + song.end_s) / 2
        times = [song.start_s, middle_s, middle_s, song.end_s]
        axis.plot(times, [rows[0], rows[0], rows[1], rows[1]], color=SONG_COLOUR, linewidth=4)
        last = (song.end_s, rows[1])
    shown = sorted(names)
    axis.set_yticks(shown, [names[row] for row in shown])
    axis.margins(y=0.15)
    axis.set_ylabel("key, by fifths")
    axis.grid(axis="y", alpha=0.3)


def _draw_tempo(axis: Any, evening: Evening) -> None:  # noqa: ANN401 - matplotlib's axes
    last: tuple[float, float] | None = None
    for song in evening.songs:
        bpm = _tempos(song)
        if bpm is None:
            last = None
            continue
        if last is not None:
            axis.plot([last[0], song.start_s], [last[1], bpm[0]], ":", color=JOIN_COLOUR)
        middle_s = (song.start_s + song.end_s) / 2
        known = [b for b in bpm if not math.isnan(b)]
        times = [song.start_s, *([middle_s] * (len(known) == 1)), song.end_s]
        # where only one edge has a pulse, the line ends half way
        tempos = bpm if len(known) != 1 else (bpm[0], known[0], bpm[1])
        axis.plot(times, tempos, color=SONG_COLOUR, linewidth=3)
        axis.annotate(
            f"{known[0]:.0f}",
            (times[tempos.index(known[0])], known[0]),
            xytext=(2, 4),
            textcoords="offset points",
            fontsize=8,
        )
        last = (song.end_s, bpm[1])
    axis.margins(y=0.25)
    axis.set_ylabel("tempo, BPM")
    axis.grid(axis="y", alpha=0.3)


def _draw_energy(axis: Any, evening: Evening) -> None:  # noqa: ANN401 - matplotlib's axes
    for song in evening.songs:
        if song.energy is not None:
            span = [(song.start_s, song.end_s - song.start_s)]
            axis.broken_barh(span, (0, song.energy), color=SONG_COLOUR, alpha=0.6)
    if all(song.energy is None for song in evening.songs):
        axis.text(0.5, 0.5, "no energy given", transform=axis.transAxes, ha="center", va="center")
    axis.set_ylim(0, _MOST_ENERGY + 0.3)
    axis.set_yticks(range(1, _MOST_ENERGY + 1))
    axis.set_ylabel("energy")


def _mark_time(axes: Any, evening: Evening) -> None:  # noqa: ANN401 - matplotlib's axes
    total_s = max(evening.running_s, evening.slot_s or 0.0, 1.0)
    step = next((s for s in _STEPS_S if total_s / s <= _N_TICKS), _STEPS_S[-1])
    ticks = range(0, int(total_s) + 1, step)
    for axis in axes:
        for join in evening.joins:
            axis.axvspan(join.start_s, join.end_s, color=JOIN_COLOUR, alpha=0.15, linewidth=0)
        if evening.slot_s is not None:
            axis.axvline(evening.slot_s, color="black", linestyle="--", linewidth=1)
    if evening.slot_s is not None:
        axes[-1].annotate(
            "end of the slot",
            (evening.slot_s, _MOST_ENERGY),
            xytext=(-4, 0),
            textcoords="offset points",
            ha="right",
            va="top",
            fontsize=8,
            bbox={"facecolor": "white", "alpha": 0.8, "linewidth": 0, "pad": 1.5},
        )
    axes[-1].set_xlim(0, total_s * 1.01)
    axes[-1].set_xticks(ticks, [clock(tick) for tick in ticks])
    axes[-1].set_xlabel("time from the first note")


def _tempos(song: EveningSong) -> tuple[float, float] | None:
    """At its start and its end, NaN where there is no pulse; None where there is none at all."""
    if song.start is None or song.end is None:
        return None
    pulses = (song.start.pulse, song.end.pulse)
    if not any(pulse.is_known for pulse in pulses):
        return None
    start, end = (pulse.tempo_bpm if pulse.is_known else math.nan for pulse in pulses)
    return start, end
