"""Pictures of a candidate: waveform, the key as it moves, tempo and loudness over time."""

from __future__ import annotations

import io
import warnings
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final, Literal, NamedTuple

import numpy as np

from segue.audio.clip import Clip, outline
from segue.pages import page_colours
from segue.plan.bridge_words import SECTION_WORDS

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from matplotlib.figure import Figure

    from segue.arrays import Floats, Floats32
    from segue.plan.plan import Plan
    from segue.score.scorecard import CurveSample, Scorecard

_SIZE_INCHES: Final = (11.0, 8.0)  # width and height of the picture
_DOTS_AN_INCH: Final = 110  # 1210 by 880 dots in all
_MARGINS: Final = {"left": 0.075, "right": 0.985, "bottom": 0.065, "top": 0.925, "hspace": 0.1}
_N_COLUMNS: Final = 1600  # of the wave's outline, more than the picture has dots
_LOUDNESS_RANGE_LUFS: Final = (-45.0, -5.0)  # what the axis of loudness shows, as on the page


def section_colours() -> dict[str, str]:
    """The colour of the old song, the bridge and the new song, as on the pages."""
    colours = page_colours()
    return {
        "outgoing": colours["out"],
        "interlude": colours["between"],
        "incoming": colours["in"],
    }


class Waveform(NamedTuple):
    """Where each column of a waveform starts, in seconds, and its extremes at full scale ±1."""

    columns_s: Floats
    low: Floats32
    high: Floats32


def waveform_of(music: Clip) -> Waveform:
    """All that a picture needs of a sound."""
    first_frames, low, high = outline(music.samples, _N_COLUMNS)
    return Waveform(first_frames / music.rate_hz, low, high)


@contextmanager
def plain_words() -> Iterator[None]:
    """Draw names as they are: no formula between two dollars, no warning of a rare script.

    What the drawing library has no letter for becomes a box.
    """
    import matplotlib as mpl

    with mpl.rc_context({"text.parse_math": False}), warnings.catch_warnings():
        for start in ("Glyph ", "Matplotlib currently does not support "):
            warnings.filterwarnings("ignore", message=start, category=UserWarning)
        yield


def load_drawing() -> None:
    """Import the drawing library, which takes half a second, before it is wanted."""
    import matplotlib.backends.backend_agg
    import matplotlib.figure  # noqa: F401 - for `write_picture`


@plain_words()
def write_picture(
    path: Path, *, title: str, waveform: Waveform, plan: Plan, scorecard: Scorecard
) -> None:
    """Draw one candidate into a PNG file.

    Parameters
    ----------
    plan : Plan
        Gives bar lines, chords and the three sections.
    """
    figure = new_figure(_SIZE_INCHES, _DOTS_AN_INCH)
    # known margins: a layout that measures every label costs as much as drawing it all again
    figure.subplots_adjust(**_MARGINS)
    axes = figure.subplots(4, 1, sharex=True, height_ratios=[2.2, 1.4, 1.0, 1.2])
    figure.suptitle(title, fontsize=13, fontweight="bold")
    _draw_waveform(axes[0], waveform, plan)
    _draw_keys(axes[1], plan, scorecard)
    _draw_tempo(axes[2], plan, scorecard)
    _draw_loudness(axes[3], plan, scorecard)
    for axis in axes:
        _mark_sections(axis, plan)
    axes[0].set_xlim(0, plan.duration_s)
    axes[-1].set_xlabel("seconds")
    path.write_bytes(png_of(figure))


def new_figure(
    size_inches: tuple[float, float],
    dots_an_inch: int,
    *,
    layout: Literal["constrained"] | None = None,
) -> Figure:
    """A picture to draw on, without a window."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=size_inches, dpi=dots_an_inch, layout=layout)
    FigureCanvasAgg(figure)
    return figure


def png_of(figure: Figure) -> bytes:
    """A picture as a PNG file, the same for the same picture."""
    content = io.BytesIO()
    figure.savefig(content, format="png", metadata={"Software": None})
    return content.getvalue()


def _draw_waveform(axis: Any, waveform: Waveform, plan: Plan) -> None:  # noqa: ANN401 - axes
    columns_s, low, high = waveform
    starts = {
        "outgoing": 0.0,
        "interlude": plan.seconds_at(plan.exit_beat),
        "incoming": plan.seconds_at(plan.entry_beat),
    }
    colours = section_colours()
    bounds = [*starts.values(), plan.duration_s]
    for (section, start_s), end_s in zip(starts.items(), bounds[1:], strict=True):
        inside = (columns_s >= start_s) & (columns_s <= end_s)
        axis.fill_between(
            columns_s[inside], low[inside], high[inside], color=colours[section], linewidth=0
        )
        if end_s > start_s:
            middle_s, name = (start_s + end_s) / 2, SECTION_WORDS[section]
            axis.text(middle_s, 1.08, name, ha="center", color=colours[section])
    axis.set_ylim(-1.05, 1.35)
    axis.set_yticks([])
    axis.set_ylabel("sound")
    for line in plan.bar_lines:
        axis.text(plan.seconds_at(line.beat), -1.0, f" {line.number}", fontsize=7, color="#555555")


def _draw_keys(axis: Any, plan: Plan, scorecard: Scorecard) -> None:  # noqa: ANN401
    colours = section_colours()
    for curve, key, section, dashes in (
        (scorecard.key_distance_from, plan.key_from, "outgoing", "--"),
        (scorecard.key_distance_to, plan.key_to, "incoming", "-"),
    ):
        times_s, far = _arrays(curve)
        axis.plot(times_s, 1.0 - far, dashes, color=colours[section], label=str(key))
    for voicing in plan.voicings:
        middle = plan.seconds_at((voicing.start_beat + voicing.end_beat) / 2)
        axis.text(middle, 0.04, voicing.symbol, ha="center", fontsize=9, fontweight="bold")
    axis.set_ylim(0, 1)
    axis.set_yticks([0.05, 0.95], ["far", "near"])
    axis.set_ylabel("near to")
    axis.legend(loc="lower right", fontsize=8, ncols=2)


def _draw_tempo(axis: Any, plan: Plan, scorecard: Scorecard) -> None:  # noqa: ANN401
    beats = np.linspace(0.0, plan.end_beat, 400)
    planned = [plan.tempo.bpm_at(float(beat)) for beat in beats]
    axis.plot([plan.seconds_at(float(b)) for b in beats], planned, color="#777777", label="plan")
    times_s, heard = _arrays(scorecard.tempo_bpm)
    axis.plot(times_s, heard, ".", markersize=4, color="black", label="beats heard")
    low, high = min(planned), max(planned)
    axis.set_ylim(low * 0.9, high * 1.1)
    axis.set_ylabel("BPM")
    axis.legend(loc="upper right", fontsize=8, ncols=2)


def _draw_loudness(axis: Any, plan: Plan, scorecard: Scorecard) -> None:  # noqa: ANN401
    times_s, lufs = _arrays(scorecard.loudness_lufs)
    axis.plot(times_s, np.maximum(lufs, _LOUDNESS_RANGE_LUFS[0]), color="#333333")
    axis.axhline(plan.target_lufs, color="#999999", linestyle=":", linewidth=1)
    axis.set_ylim(*_LOUDNESS_RANGE_LUFS)
    axis.set_ylabel("momentary LUFS")


def _mark_sections(axis: Any, plan: Plan) -> None:  # noqa: ANN401 - matplotlib axes
    colours = section_colours()
    bars_s = [plan.seconds_at(line.beat) for line in plan.bar_lines]
    over_all = axis.get_xaxis_transform()  # one artist: a line of its own for each is slow
    axis.vlines(bars_s, 0, 1, transform=over_all, color="#cccccc", linewidth=0.5, zorder=0)
    axis.axvline(plan.seconds_at(plan.exit_beat), color=colours["interlude"], linewidth=1.5)
    axis.axvline(plan.seconds_at(plan.entry_beat), color=colours["incoming"], linewidth=1.5)
    if plan.singer_beat is not None:
        first_note = page_colours()["first"]
        axis.axvline(plan.seconds_at(plan.singer_beat), color=first_note, linestyle=":")


def _arrays(
    curve: tuple[CurveSample, ...],
) -> tuple[Floats, Floats]:
    times_s = np.array([sample.time_s for sample in curve])
    return times_s, np.array([sample.value for sample in curve])
