"""Pictures of the ends or starts of real songs, to label them by eye.

Run ``python -m benchmarks.edge_sheets --songs FOLDER --edge end --out SHEETS``: PNG files with
twelve edges each. A panel shows the level over 0.4 s (grey), over 2 s (black), in four bands
(30 to 150 Hz red, to 600 orange, to 2400 green, to 8000 blue), the hits (ticks below, taller
for stronger ones), and lines at the body and 3, 15 and 30 dB below it. No verdict is shown, so that
whoever labels is not led by one. What was seen goes into `edge_labels.tsv`.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from segue.analysis.envelope import HOP_S, hits, level_db, mono_of, smoothed_db
from segue.audio import read_song

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.audio.clip import Edge, SongEdge

SUFFIXES: Final = (".ogg", ".opus", ".mp3", ".flac", ".wav", ".aiff")
LEAST_SONG_S: Final = 25.0
"""Shorter files are jingles and effects."""
BANDS_HZ: Final = ((30.0, 150.0), (150.0, 600.0), (600.0, 2400.0), (2400.0, 8000.0))
_COLOURS: Final = ("tab:red", "tab:orange", "tab:green", "tab:blue")
_COLUMNS, _ROWS = 3, 4
_RATE_HZ: Final = 22_050


def songs_in(folder: Path) -> list[Path]:
    """Sound files of a folder and its folders that are long enough for a song, by name."""
    import soundfile

    found = [p for p in sorted(folder.rglob("*")) if p.suffix.lower() in SUFFIXES]
    return [p for p in found if soundfile.info(p).duration >= LEAST_SONG_S]


def name_of(path: Path, folder: Path) -> str:
    """What a song is called in the labels: its package's folder and its file."""
    inner = path.relative_to(folder)
    return f"{inner.parts[0]}/{inner.name}"


def band_levels_db(song: SongEdge) -> list[np.ndarray[Any, np.dtype[np.float64]]]:
    """Level in each of `BANDS_HZ`, hop by hop."""
    from scipy import signal

    mono = mono_of(song.mix.samples)
    levels = []
    for band in BANDS_HZ:
        filtered = signal.sosfilt(
            signal.butter(3, band, "bandpass", fs=song.rate_hz, output="sos"), mono
        )
        levels.append(level_db(filtered.astype(np.float32)[:, None], song.rate_hz))
    return levels


def draw(axes: Any, song: SongEdge, title: str) -> None:  # noqa: ANN401 - matplotlib's own
    """One panel."""
    raw_db = level_db(song.mix.samples, song.rate_hz)
    slow_db = smoothed_db(raw_db, round(2.0 / HOP_S))
    body_db = float(np.percentile(slow_db[slow_db > slow_db.max() - 30.0], 75))
    at_s = song.start_s + HOP_S * np.arange(len(raw_db))
    for levels, colour in zip(band_levels_db(song), _COLOURS, strict=True):
        axes.plot(
            at_s[: len(levels)], smoothed_db(levels, round(1.0 / HOP_S)) - body_db, colour, lw=0.6
        )
    axes.plot(at_s, smoothed_db(raw_db, round(0.4 / HOP_S)) - body_db, "0.6", lw=0.8)
    axes.plot(at_s, slow_db - body_db, "k", lw=1.4)
    heard = hits(mono_of(song.mix.samples), song.rate_hz)
    axes.vlines(
        song.start_s + heard.times_s, -62.0, -62.0 + 1.2 * heard.rises_db, "tab:purple", lw=0.6
    )
    for line_db in (0.0, -3.0, -15.0, -30.0):
        axes.axhline(line_db, color="0.8", lw=0.5)
    axes.set_ylim(-62.0, 12.0)
    axes.set_xlim(at_s[0], song.end_s)
    axes.set_title(title, fontsize=9, loc="left")
    axes.tick_params(labelsize=7)
    axes.xaxis.set_major_locator(__import__("matplotlib").ticker.MultipleLocator(5))
    axes.xaxis.set_minor_locator(__import__("matplotlib").ticker.MultipleLocator(1))


def write_sheets(folder: Path, edge: Edge, out: Path, edge_s: float) -> list[Path]:
    """Draw every song of a folder."""
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot as plt

    out.mkdir(parents=True, exist_ok=True)
    songs, n_panels = songs_in(folder), _COLUMNS * _ROWS
    sheets = []
    for number, first in enumerate(range(0, len(songs), n_panels), start=1):
        figure, grid = plt.subplots(_ROWS, _COLUMNS, figsize=(24, 17), layout="constrained")
        for offset, path in enumerate(songs[first : first + n_panels]):
            song = read_song(path, edge=edge, edge_s=edge_s, rate_hz=_RATE_HZ)
            name = f"{first + offset}: {name_of(path, folder)}"
            draw(grid.flat[offset], song, f"{name}  ({song.duration_s:.1f} s)")
        sheets.append(out / f"{edge} {number:02d}.png")
        figure.savefig(sheets[-1], dpi=75)
        plt.close(figure)
    return sheets


def main(arguments: Sequence[str] | None = None) -> None:
    """Write the sheets."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--songs", type=Path, required=True)
    parser.add_argument("--edge", choices=("end", "start"), default="end")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--edge-seconds", type=float, default=45.0)
    given = parser.parse_args(arguments)
    for path in write_sheets(given.songs, given.edge, given.out, given.edge_seconds):
        print(path)


if __name__ == "__main__":
    main()
