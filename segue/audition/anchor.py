"""The anchor: a plain cut, put in as a check.

A listener who prefers it has misread the screen, or the candidates are poor.
An anchor below all candidates keeps the scale honest, as ITU-R BS.1534 uses
low-pass filtered ones for codecs (from memory). Ours is cut out of the
candidate with the shortest interlude: A up to where the interlude starts, B
from its bar one on, nothing in between.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.clip import Clip
from segue.audio.write import write_wav24
from segue.audition.sound import read_wav

if TYPE_CHECKING:
    from pathlib import Path

    from segue.runfolder import BarReport, CandidateRecord, RunDocument
    from segue.score.scorecard import CurveSample

ANCHOR_RANK: Final = 0
"""Stands for the anchor in votes; candidates start at 1."""
ANCHOR_NAME: Final = "plain cut"

_FADE_S: Final = 0.003
"""Of both sides of the cut: the cut shall lose by its music, not by a click. Set by judgement."""
_SHORTEST_S: Final = 0.5
"""An interlude below it is nearly a cut itself, and no anchor can be told from it."""


def write_anchor(folder: Path, document: RunDocument) -> CandidateRecord | None:
    """Cut the anchor and leave its buses in the run folder.

    Parameters
    ----------
    folder : Path
        The run folder, with the WAVs that the document names.

    Returns
    -------
    CandidateRecord or None
        The anchor, with `ANCHOR_RANK`; None if a candidate is nearly a cut itself.

    Raises
    ------
    InputError
        If a WAV cannot be read or written.
    """
    by_length = sorted(document.candidates, key=lambda r: r.entry_s - r.exit_s)
    if not by_length or by_length[0].entry_s - by_length[0].exit_s < _SHORTEST_S:
        return None
    source = by_length[0]
    anchor = _cut_record(source)
    for old, new in (
        (source.music_file, anchor.music_file),
        (source.click_file, anchor.click_file),
        (source.cue_file, anchor.cue_file),
    ):
        _write_cut(folder / old, folder / new, source)
    return anchor


def _write_cut(source: Path, target: Path, record: CandidateRecord) -> None:
    samples, rate_hz = read_wav(source)
    n_fade = round(_FADE_S * rate_hz)
    old = samples[: round(record.exit_s * rate_hz)].copy()
    new = samples[round(record.entry_s * rate_hz) :].copy()
    rise = np.linspace(0.0, 1.0, n_fade, dtype=np.float32)[:, np.newaxis]
    old[-n_fade:] *= rise[::-1][-len(old) :]
    new[:n_fade] *= rise[: len(new)]
    write_wav24(target, Clip(samples=np.concatenate([old, new]), rate_hz=rate_hz))


def _cut_record(source: CandidateRecord) -> CandidateRecord:
    removed_s = source.entry_s - source.exit_s
    singer_s = source.singer_s
    return replace(
        source,
        rank=ANCHOR_RANK,
        plan=replace(source.plan, recipe=ANCHOR_NAME, why="The plain cut, put in as a check."),
        scorecard=replace(
            source.scorecard, loudness_lufs=_cut_curve(source, source.scorecard.loudness_lufs)
        ),
        bars=_cut_bars(source),
        entry_s=source.exit_s,
        singer_s=None if singer_s is None else max(singer_s - removed_s, source.exit_s),
        music_file=f"{ANCHOR_NAME}.wav",
        click_file=f"{ANCHOR_NAME} click.wav",
        cue_file=f"{ANCHOR_NAME} cue.wav",
        picture_file="",
        notes=(),
    )


def _cut_bars(source: CandidateRecord) -> tuple[BarReport, ...]:
    removed_s = source.entry_s - source.exit_s
    kept = [
        bar if bar.section == "outgoing" else replace(bar, time_s=bar.time_s - removed_s)
        for bar in source.bars
        if bar.section != "interlude"
    ]
    first = kept[0].number if kept else 1
    return tuple(replace(bar, number=n) for n, bar in enumerate(kept, start=first))


def _cut_curve(source: CandidateRecord, curve: tuple[CurveSample, ...]) -> tuple[CurveSample, ...]:
    before = [s for s in curve if s.time_s < source.exit_s]
    removed_s = source.entry_s - source.exit_s
    after = [replace(s, time_s=s.time_s - removed_s) for s in curve if s.time_s >= source.entry_s]
    return (*before, *after)
