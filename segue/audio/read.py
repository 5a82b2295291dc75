"""The edge of a song from disk: a file, or a folder of stems.

All stems are laid on one grid of frames at the project rate whose frame 0 is
the start of their files, so that they stay aligned whatever their rates.

The edge of a song that has died away though its file goes on begins earlier. A room hears nothing
of what stays 20 dB and more under the song: a murmur of its own lies over it. Told by mean square
alone, so that a few seconds that stand out of it do not count.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.adapters import resampled_frames, scaled_frames
from segue.audio.clip import Clip, Edge, Role, SongEdge, Stem
from segue.audio.decode import SoundInfo, read_stereo, sound_info
from segue.audio.stems_folder import StemFile, read_folder
from segue.errors import AudioFileError, InputError, printable

if TYPE_CHECKING:
    from segue.arrays import Floats, Floats32


DEFAULT_EDGE_S: Final = 45.0  # seconds of a song's end or start that are read; by judgement
DEFAULT_RATE_HZ: Final = 48_000  # the rate of stage rigs and video, common practice, no source
MIN_SONG_S: Final = 2.0
"""Shorter is a sound, not a song: no bar fits at most tempi. Set by judgement."""
AROUND_RATE_HZ: Final = 12_000  # enough for notes; the rate that keys are heard at
_LEAST_AROUND_S: Final = 12.0  # a shorter rest of a song tells little of its key; by judgement
_CONTEXT_S: Final = 0.25
"""Real audio decoded on both sides of the cut; the resampler's filter reaches under 0.05 s."""


def read_song(
    path: str | Path, *, edge: Edge, edge_s: float = DEFAULT_EDGE_S, rate_hz: int = DEFAULT_RATE_HZ
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
    name = printable(stem.path.name)
    return Stem(role=stem.role, file=name, clip=clip, is_backing=stem.is_backing)


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


_AWAY_DB: Final = 20.0
"""What lies so far below the song is a quarter as loud (twice as loud every 9 to 10 dB: S. S.
Stevens, "Perceived level of noise by Mark VII", J. Acoust. Soc. Am. 51, 1972, from memory)."""
_BACK_DB: Final = 15.0  # what comes up to this has not died away, however short; by judgement
_MOST_BACK_SHARE: Final = 0.1  # of what follows may stand out a little; by judgement
_FALLS_DB: Final = 6.0  # a song that has sunk by this for good is dying away; by judgement
_SOUND_DB: Final = 60.0  # what is further below is silence, as in reverberation time
_TOP_PERCENT: Final = 95.0  # percentile of its levels that is the song's; by judgement
_HOP_S: Final = 0.1  # from level to level; by judgement
_SLOW_HOPS: Final = 20  # that a level is the mean of, 2 s; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class DiedAway:
    """How a clip dies away before its last sound; seconds from its start.

    Parameters
    ----------
    sinks_s, away_s : float
        From when on it sinks, and from when on it stays `_AWAY_DB` below itself, but for moments.
    last_sound_s : float
        Where even that is over.
    """

    sinks_s: float
    away_s: float
    last_sound_s: float


def died_away(clip: Clip) -> DiedAway | None:
    """How a clip dies away, if only with its last sound; None where there is hardly any sound."""
    hop = round(_HOP_S * clip.rate_hz)
    whole = clip.samples[: clip.n_frames // hop * hop]
    hops = whole.reshape(-1, hop * whole.shape[1])
    power = np.einsum("ij,ij->i", hops, hops).astype(np.float64) / hops.shape[1]
    if len(power) <= _SLOW_HOPS:
        return None
    slow = np.convolve(power, np.full(_SLOW_HOPS, 1 / _SLOW_HOPS), mode="same")
    top = float(np.percentile(slow, _TOP_PERCENT))
    sounds = np.flatnonzero(power > top * _ratio(_SOUND_DB))
    if top <= 0.0 or not len(sounds):
        return None
    sound_end = int(sounds[-1]) + 1
    first = _last_above(slow, top * _ratio(_BACK_DB)) + 1
    is_low = slow[first:sound_end] < top * _ratio(_AWAY_DB)
    left = np.arange(len(is_low), 0, -1)
    share = np.cumsum(is_low[::-1])[::-1] / left
    away = np.flatnonzero(is_low & (share >= 1 - _MOST_BACK_SHARE))
    away_hop = first + int(away[0]) if len(away) else sound_end
    sinks = min(_last_above(slow, top * _ratio(_FALLS_DB)) + 1, away_hop)
    return DiedAway(
        sinks_s=sinks * _HOP_S, away_s=away_hop * _HOP_S, last_sound_s=sound_end * _HOP_S
    )


def _ratio(below_db: float) -> float:
    return float(10.0 ** (-below_db / 10.0))


def _last_above(values: Floats, least: float) -> int:
    above = np.flatnonzero(values > least)
    return int(above[-1]) if len(above) else -1
