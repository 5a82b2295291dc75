"""The edge of a song from disk: a file, or a folder of stems.

All stems are laid on one grid of frames at the project rate whose frame 0 is
the start of their files, so that they stay aligned whatever their rates.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.adapters import resampled_frames, scaled_frames
from segue.audio.clip import Clip, Edge, Role, SongEdge, Stem
from segue.audio.decode import SoundInfo, read_stereo, sound_info
from segue.audio.died_away import died_away
from segue.audio.stems_folder import StemFile, read_folder
from segue.errors import AudioFileError, InputError, printable

if TYPE_CHECKING:
    from segue.arrays import Floats32

DEFAULT_EDGE_S: Final = 45.0  # seconds of a song's end or start that are read; by judgement
DEFAULT_RATE_HZ: Final = 48_000  # the rate of stage rigs and video, common practice, no source
MIN_SONG_S: Final = 2.0
"""Shorter is a sound, not a song: no bar fits at most tempi. Set by judgement."""
AROUND_RATE_HZ: Final = 12_000  # enough for notes; the rate that keys are heard at
_LEAST_AROUND_S: Final = 12.0  # a shorter rest of a song tells little of its key; by judgement
_CONTEXT_S: Final = 0.25
"""Real audio decoded on both sides of the cut; the resampler's filter reaches under 0.05 s."""


def read_song(
    path: str | Path,
    *,
    edge: Edge,
    edge_s: float = DEFAULT_EDGE_S,
    rate_hz: int = DEFAULT_RATE_HZ,
) -> SongEdge:
    """The end or the start of a song; the rest is not decoded.

    Where the song has died away long before its file ends, its end begins earlier: else there
    would be little but a murmur, by which no key, no beat and no level is told.

    Parameters
    ----------
    path : str or Path
        An audio file or a folder of stems, either with an optional ``song.toml``.
    edge_s : float, optional
        How much of it, in seconds, but for what has died away; a shorter song is read whole.

    Returns
    -------
    SongEdge
        Stereo stems that line up.

    Raises
    ------
    AudioFileError
        If a file is not whole, plain, readable audio.
    InputError
        If the folder or its ``song.toml`` cannot be used.
    ValueError
        If `edge_s` or `rate_hz` is not positive.
    """
    if not (0 < edge_s < math.inf and rate_hz > 0):
        raise ValueError(f"edge_s and rate_hz must be positive, got {edge_s} and {rate_hz}")
    path = Path(path)
    folder = read_folder(path)
    infos = _all_infos(path, folder.stems)
    duration_s = max(info.n_frames / info.rate_hz for info in infos)
    _refuse_short(path, duration_s)
    notes = folder.said.notes_at(edge)
    _refuse_late_downbeat(path, notes.first_downbeat_s, duration_s)
    total = max(scaled_frames(i.n_frames, from_hz=i.rate_hz, to_hz=rate_hz) for i in infos)
    length = min(round(edge_s * rate_hz), total)

    def read(length: int) -> SongEdge:
        first = total - length if edge == "end" else 0
        return SongEdge(
            path=path,
            title=folder.title,
            edge=edge,
            stems=tuple(
                _stem(stem, info, first_frame=first, n_frames=length, rate_hz=rate_hz)
                for stem, info in zip(folder.stems, infos, strict=True)
            ),
            duration_s=duration_s,
            notes=notes,
            remarks=_remarks(infos, edge),
            n_file_channels=max(info.n_channels for info in infos),
        )

    song = read(length)
    further = min(round(_further_back_s(song) * rate_hz), total - length)
    return read(length + further) if further else song


def check_song(path: Path) -> None:
    """Make sure that there is a song to be read, as far as the heads of its files tell.

    Raises
    ------
    SegueError
        If there is none.
    """
    _all_infos(path, read_folder(path).stems)


def _further_back_s(song: SongEdge) -> float:
    """How much more of a song is read where it has died away long before its file ends."""
    if song.edge == "start":
        return 0.0
    found = died_away(song.mix)
    length_s = song.end_s - song.start_s
    if found is None or length_s - found.away_s < _LONG_AWAY_S:
        return 0.0
    # in whole steps, so that what is read at another rate is the same
    return min(math.ceil((length_s - found.sinks_s) / _FURTHER_S) * _FURTHER_S, _MOST_FURTHER_S)


_LONG_AWAY_S: Final = 12.0
"""What has died away for so long takes the place of music; no chord rings longer. By judgement."""
_FURTHER_S: Final = 15.0  # more is read in steps of this; by judgement
_MOST_FURTHER_S: Final = 60.0  # and no more than this; by judgement


def read_around(
    song: SongEdge, *, roles: tuple[Role, ...], rate_hz: int = AROUND_RATE_HZ
) -> tuple[Clip, ...]:
    """What else of a song there is: the stretch beside its edge, and its other end.

    Parameters
    ----------
    song : SongEdge
        As `read_song` gives it.

    Returns
    -------
    tuple of Clip
        In mono, each up to as long as the edge; fewer than two, or none, where the song is
        short or no stem plays such a role. The edge itself is in none of them.

    Raises
    ------
    SegueError
        If the files are no longer as they were.
    """
    spans_s = _spans_around(song)
    stems = [stem for stem in read_folder(song.path).stems if stem.role in roles] if spans_s else []
    infos = _all_infos(song.path, tuple(stems))
    clips = []
    for from_s, to_s in spans_s if infos else ():
        first, n_frames = round(from_s * rate_hz), round((to_s - from_s) * rate_hz)
        mono = sum(
            _on_grid(info, first_frame=first, n_frames=n_frames, rate_hz=rate_hz).mean(axis=1)
            for info in infos
        )
        samples = np.asarray(mono, dtype=np.float32)[:, None]
        clips.append(Clip(samples=samples, rate_hz=rate_hz, start_s=first / rate_hz))
    return tuple(clips)


def _spans_around(song: SongEdge) -> list[tuple[float, float]]:
    """From when to when, in seconds of the file: beside the edge, then the other end."""
    length_s = song.end_s - song.start_s
    if song.edge == "end":
        beside = (max(song.start_s - length_s, 0.0), song.start_s)
        far = (0.0, min(length_s, beside[0]))
    else:
        beside = (song.end_s, min(song.end_s + length_s, song.duration_s))
        far = (max(song.duration_s - length_s, beside[1]), song.duration_s)
    return [span for span in (beside, far) if span[1] - span[0] >= _LEAST_AROUND_S]


def _remarks(infos: list[SoundInfo], edge: Edge) -> tuple[str, ...]:
    """What is odd, where it matters: a missing end says nothing about the start."""
    return tuple(
        f"'{info.path.name}' has no end mark: if its sound was cut off, export it again."
        for info in infos
        if edge == "end" and not info.has_end
    )


def _all_infos(path: Path, stems: tuple[StemFile, ...]) -> list[SoundInfo]:
    infos, faults = [], []
    for stem in stems:
        try:
            infos.append(sound_info(stem.path))
        except AudioFileError as fault:
            faults.append(fault)
    if len(faults) == 1:
        raise faults[0]
    if faults:
        listed = " ".join(f"{fault.path.name} {fault.problem}" for fault in faults)
        raise AudioFileError(path, f"has {len(faults)} files that cannot be read: {listed}")
    return infos


def _stem(
    stem: StemFile, info: SoundInfo, *, first_frame: int, n_frames: int, rate_hz: int
) -> Stem:
    samples = _on_grid(info, first_frame=first_frame, n_frames=n_frames, rate_hz=rate_hz)
    clip = Clip(samples=samples, rate_hz=rate_hz, start_s=first_frame / rate_hz)
    return Stem(role=stem.role, file=printable(stem.path.name), clip=clip)


def _on_grid(info: SoundInfo, *, first_frame: int, n_frames: int, rate_hz: int) -> Floats32:
    """Frames of the project's grid, silent where the file is over.

    Resampling starts where a frame of the file falls exactly on the grid, at
    most a second early, so that no fraction of a frame is lost.
    """
    common = math.gcd(info.rate_hz, rate_hz)
    file_step, grid_step = info.rate_hz // common, rate_hz // common
    context = 0.0 if info.rate_hz == rate_hz else _CONTEXT_S
    wanted_from = first_frame * info.rate_hz // rate_hz - round(context * info.rate_hz)
    steps = max(0, wanted_from // file_step)
    read_from = steps * file_step
    wanted_to = (first_frame + n_frames) * info.rate_hz / rate_hz + context * info.rate_hz
    read_to = min(info.n_frames, math.ceil(wanted_to))
    out = np.zeros((n_frames, 2), dtype=np.float32)
    if read_to > read_from:
        heard = read_stereo(info, start_frame=read_from, n_frames=read_to - read_from)
        grid = resampled_frames(heard, from_hz=info.rate_hz, to_hz=rate_hz)
        kept = grid[first_frame - steps * grid_step :][:n_frames]
        out[: len(kept)] = kept
    return out


def _refuse_short(path: Path, duration_s: float) -> None:
    if duration_s < MIN_SONG_S:
        raise AudioFileError(
            path,
            f"lasts {duration_s:.2f} s; a song needs at least {MIN_SONG_S:g} s: "
            "check that this is the right file.",
        )


def _refuse_late_downbeat(path: Path, first_downbeat_s: float | None, duration_s: float) -> None:
    if first_downbeat_s is not None and first_downbeat_s >= duration_s:
        raise InputError(
            path,
            f"song.toml puts the first downbeat at {first_downbeat_s:g} s, after the end "
            f"of the song at {duration_s:.2f} s; write it in seconds.",
        )
