"""Tempo, beats and bar lines of real bands against charts that somebody made by hand.

A chart is a ``notes.mid`` beside the stems of a song, whose ticks are laid on the recording: where
a song keeps one tempo its beats are known to the end. Such are the songs of the packages
``fretsonfire-songs-sectoid`` and ``fretsonfire-songs-muldjord`` of Debian, two guitar bands, eight
songs (unpack them; nothing here was fitted on them, but of three beat nets the one in place was
chosen with them in sight). Beats count as right within 70 ms (M. E. P. Davies et al., "Evaluation
methods for musical audio beat tracking algorithms", technical report C4DM-TR-09-06, Queen Mary
University of London, 2009), at the chart's tempo, its half or its double. Run
``python -m benchmarks.charts FOLDER``; it leaves with 1 where a reach is
missed.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Final

import mido
import numpy as np

from segue.audio.read import read_song
from segue.heard.hearing import heard_edge

if TYPE_CHECKING:
    from segue.analysis.facts import PulseFact
    from segue.arrays import Floats

BAR_BEATS: Final = 4
"""All charts of these packages count bars of four."""
WITHIN_S: Final = 0.07
OCTAVES: Final = (0.5, 1.0, 2.0)
SAME_TEMPO: Final = 0.01  # share by which a tempo may be off; by judgement
REACHES: Final = {"tempo": 0.97, "beats": 0.97, "bar lines": 0.90}
"""Asked of us: tempo as of recordings with a sure pulse, bar lines as of songs' first bars."""


def main() -> int:
    """Print a line for each edge and the share of each thing that is right."""
    charts = sorted(Path(sys.argv[1]).rglob("notes.mid"))
    right: dict[str, list[float]] = {name: [] for name in REACHES}
    for chart in charts:
        bpm = _chart_bpm(chart)
        for edge in ("start", "end") if bpm is not None else ():
            pulse = heard_edge(read_song(chart.parent, edge=edge), cached=False).facts.pulse
            found = _found(pulse, bpm)
            print(f"{chart.parent.name:24}{edge:7}{bpm:6.0f} BPM, heard {pulse.tempo_bpm:6.1f}",
                  "".join(f"   {name} {value:.2f}" for name, value in found.items()))  # fmt: skip
            for name, value in found.items():
                right[name].append(value)
    shares = {name: float(np.mean(values)) if values else 0.0 for name, values in right.items()}
    for name, share in shares.items():
        print(f"{name:12}{share:.3f} of {len(right[name])} edges, reach {REACHES[name]:g}")
    return int(any(share < REACHES[name] for name, share in shares.items()))


def _chart_bpm(chart: Path) -> float | None:
    """The one tempo of a chart; None where it has several, or none."""
    tracks = mido.MidiFile(chart, clip=True).tracks
    tempos = {event.tempo for track in tracks for event in track if event.type == "set_tempo"}
    return mido.tempo2bpm(tempos.pop()) if len(tempos) == 1 else None


def _found(pulse: PulseFact, bpm: float) -> dict[str, float]:
    """How much of each thing is right, 0..1."""
    ratios = [pulse.tempo_bpm / (bpm * octave) for octave in OCTAVES]
    tempo = min(abs(ratio - 1.0) for ratio in ratios) <= SAME_TEMPO
    return {
        "tempo": float(tempo),
        "beats": tempo * _on_grid(np.array(pulse.beats_s), 60.0 / bpm / max(1, round(ratios[1]))),
        "bar lines": tempo * _on_grid(np.array(pulse.downbeats_s), BAR_BEATS * 60.0 / bpm),
    }


def _on_grid(times_s: Floats, step_s: float) -> float:
    """The share of times that lie on whole steps since the chart's start."""
    off_s = np.abs(times_s - np.round(times_s / step_s) * step_s)
    return float(np.mean(off_s <= WITHIN_S)) if len(times_s) else 0.0


if __name__ == "__main__":
    sys.exit(main())
