"""Sound in memory, and the edge of a song that carries it.

Audio is ``(n_frames, n_channels)`` float32 with full scale ±1; a frame is one
instant across channels. Arrays are kept as read-only views.
The outline of a sound is what pictures show of it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, Final, Literal, get_args

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    import numpy.typing as npt

    from segue.arrays import Floats32
    from segue.music.key import Key

Edge = Literal["start", "end"]
Role = Literal["mix", "drums", "bass", "keys", "guitar", "synth", "voice", "lead", "other"]
VOICES: Final[frozenset[Role]] = frozenset({"voice", "lead"})
"""Roles of stems in which somebody sings."""
ROLES: tuple[Role, ...] = get_args(Role)
EndingKind = Literal["keeps going", "cold stop", "ring-out", "fade"]
OpeningKind = Literal["on the beat", "pick-up", "free intro"]

_AUDIO_DIMENSIONS = 2  # frames and channels


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Clip:
    """A stretch of sound.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, n_channels), float32
        Full scale ±1; values above are kept. Stored as a read-only view.
    start_s : float
        Where the clip starts, in seconds from the start of the file it is from.

    Raises
    ------
    ValueError
        If the array is not two-dimensional float32 or the rate not positive.
    """

    samples: Floats32
    rate_hz: int
    start_s: float = 0.0

    def __post_init__(self) -> None:
        if self.samples.ndim != _AUDIO_DIMENSIONS or self.samples.dtype != np.float32:
            raise ValueError(
                f"expected (n_frames, n_channels) float32, got {self.samples.shape} "
                f"{self.samples.dtype}"
            )
        if self.rate_hz <= 0:
            raise ValueError(f"rate_hz must be positive, got {self.rate_hz}")
        view = self.samples.view()
        view.flags.writeable = False
        object.__setattr__(self, "samples", view)

    @property
    def n_frames(self) -> int:
        """Number of frames."""
        return len(self.samples)

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.n_frames / self.rate_hz

    @property
    def end_s(self) -> float:
        """Where the clip ends, in seconds from the start of its file."""
        return self.start_s + self.duration_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Overrides:
    """What the musician says of one end of a song, over what is heard; None where nothing is said.

    Parameters
    ----------
    tuning_cents : float or None
        Above A4 = 440 Hz.
    tempo_bpm : float or None
        The grid is fitted near it.
    first_downbeat_s : float or None
        A time in the file, in seconds, where a bar starts.
    ending : EndingKind or None
        How the song ends; only for the end of a song.
    opening : OpeningKind or None
        How the song starts; only for the start of a song.
    first_note_midi : float or None
        The first sung note, only for the start; its time is still heard where a voice is given.
    """

    key: Key | None = None
    tuning_cents: float | None = None
    tempo_bpm: float | None = None
    metre: int | None = None
    first_downbeat_s: float | None = None
    ending: EndingKind | None = None
    opening: OpeningKind | None = None
    first_note_midi: float | None = None

    def over(self, others: Overrides) -> Overrides:
        """These words first, and where they say nothing, others, such as those in a file."""
        said = {one.name: getattr(self, one.name) for one in fields(self)}
        return replace(others, **{name: value for name, value in said.items() if value is not None})


@dataclass(frozen=True, slots=True, kw_only=True)
class Stem:
    """One part of a song, or the whole mix.

    Parameters
    ----------
    role : Role
        What plays: 'mix' when the song is a single file.
    file : str
        Name of the file it was read from.
    clip : Clip
        Stereo sound of the edge at the project rate.
    is_backing : bool
        Whether no name says what plays in it, as in a backing track: there may be drums in it.
    """

    role: Role
    file: str
    clip: Clip
    is_backing: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SongEdge:
    """The end or the start of a song, decoded.

    All stems are stereo, of equal length, rate and start.

    Parameters
    ----------
    path : Path
        The audio file or the folder of stems.
    stems : tuple of Stem
        At least one; exactly one with role 'mix' when the song is one file.
    duration_s : float
        Length of the whole song.
    notes : Overrides
        Facts given in the song's own ``song.toml``.
    remarks : tuple of str
        Sentences about what is odd in the files.
    n_file_channels : int
        Channels of the file before it was made stereo; the most that any stem has.

    Raises
    ------
    ValueError
        If there is no stem or the stems do not line up.
    """

    path: Path
    title: str
    edge: Edge
    stems: tuple[Stem, ...]
    duration_s: float
    notes: Overrides = field(default_factory=Overrides)
    remarks: tuple[str, ...] = ()
    n_file_channels: int = 2

    def __post_init__(self) -> None:
        if not self.stems:
            raise ValueError("a song edge needs at least one stem")
        shapes = {(s.clip.samples.shape, s.clip.rate_hz, s.clip.start_s) for s in self.stems}
        if len(shapes) > 1:
            raise ValueError(f"stems do not line up: {sorted(shapes)}")

    @property
    def rate_hz(self) -> int:
        """Frames per second of every stem."""
        return self.stems[0].clip.rate_hz

    @property
    def start_s(self) -> float:
        """Where the edge starts in the file."""
        return self.stems[0].clip.start_s

    @property
    def end_s(self) -> float:
        """Where the edge ends in the file."""
        return self.stems[0].clip.end_s

    @property
    def has_stems(self) -> bool:
        """Whether parts are given rather than one mix."""
        return any(stem.role != "mix" for stem in self.stems)

    def sum_of(self, *roles: Role) -> Clip | None:
        """Sum of the stems with these roles (all, when none is named); None if there are none.

        Returns
        -------
        Clip or None
            A new clip, or the stem's own when only one matches.
        """
        return _sum([stem.clip for stem in self.stems if not roles or stem.role in roles])

    @property
    def has_backing(self) -> bool:
        """Whether there may be drums in a stem, and none is said to have them.

        A singer with tracks has two files, her voice and the rest.
        """
        has_drums = any(stem.role == "drums" for stem in self.stems)
        return not has_drums and any(stem.is_backing for stem in self.stems)

    @property
    def backing(self) -> Clip | None:
        """What there may be drums in; None where there is none, or a stem of them."""
        if not self.has_backing:
            return None
        return _sum([stem.clip for stem in self.stems if stem.is_backing])

    @property
    def mix(self) -> Clip:
        """Sum of all stems."""
        total = self.sum_of()
        if total is None:  # __post_init__ guarantees a stem
            raise ValueError("a song edge needs at least one stem")
        return total


def _sum(clips: Sequence[Clip]) -> Clip | None:
    if len(clips) <= 1:
        return clips[0] if clips else None
    total = np.zeros(clips[0].samples.shape, dtype=np.float64)
    for clip in clips:
        total += clip.samples
    return replace(clips[0], samples=total.astype(np.float32))


def outline(samples: Floats32, n_columns: int) -> tuple[npt.NDArray[np.intp], Floats32, Floats32]:
    """Lowest and highest value of sound over all channels, column by column.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, n_channels), float32
        At least as many frames as columns.

    Returns
    -------
    first_frames, low, high : ndarray, shape (n_columns,)
        Where each column starts, and its extremes at full scale ±1.

    Examples
    --------
    >>> first, low, high = outline(np.array([[0.25], [-0.5], [0.5], [0.0]], np.float32), 2)
    >>> first.tolist(), low.tolist(), high.tolist()
    ([0, 2], [-0.5, 0.0], [0.25, 0.5])
    """
    first_frames = np.linspace(0, len(samples), n_columns + 1).astype(np.intp)[:-1]
    # channel by channel: many times quicker than across the few channels of every frame
    channels = [np.ascontiguousarray(channel) for channel in samples.T]
    low = np.min([np.minimum.reduceat(channel, first_frames) for channel in channels], axis=0)
    high = np.max([np.maximum.reduceat(channel, first_frames) for channel in channels], axis=0)
    return first_frames, low, high


def outline_bytes(samples: Floats32, n_columns: int) -> npt.NDArray[np.int8]:
    """The outline as pages draw it: low and high of each column in turn, -127 to 127."""
    _, low, high = outline(samples, n_columns)
    both = np.clip(np.stack([low, high], axis=1), -1.0, 1.0) * np.iinfo(np.int8).max
    return np.rint(both).astype(np.int8).ravel()


def excerpt(samples: Floats32, first_frame: int, n_frames: int) -> Floats32:
    """A part of an array of frames; silence where it reaches beyond the ends."""
    last_frame = first_frame + n_frames
    if first_frame >= 0 and last_frame <= len(samples):
        return samples[first_frame:last_frame]
    part = np.zeros((n_frames, samples.shape[1]), dtype=np.float32)
    low, high = max(first_frame, 0), min(last_frame, len(samples))
    if low < high:
        part[low - first_frame : high - first_frame] = samples[low:high]
    return part


def sounding_blocks(samples: Floats32, n_frames: int = 1 << 15) -> Iterator[tuple[int, Floats32]]:
    """The parts of some sound that are not silent, some frames at a time, with their first frames.

    New silence takes no memory where nobody writes to it: whoever changes sound in place need not.
    """
    for begin in range(0, len(samples), n_frames):
        block = samples[begin : begin + n_frames]
        if block.any():
            yield begin, block


def add_at(
    onto: npt.NDArray[np.floating], sound: npt.NDArray[np.floating], first_frame: int
) -> None:
    """Add sound from a frame on, as far as it lies inside; in place."""
    low, high = max(first_frame, 0), min(first_frame + len(sound), len(onto))
    if low < high:
        onto[low:high] += sound[low - first_frame : high - first_frame]
