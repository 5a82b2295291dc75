"""The pad played by a recorded note instead of the built-in voices.

The nearest recorded note is made as long as needed by repeating its middle with
cross-fades, and read at the speed that gives its pitch, without aliasing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.render.stretch import crossfaded
from segue.render.varispeed import read_at

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.audio.clip import Clip
    from segue.audio.instrument import Instrument

_LOOP_FROM, _LOOP_TO = 0.3, 0.85
"""Share of a note between which it is repeated; set by judgement."""
# The held part is crossed with its own repeat over this share; by judgement
_JOIN_SHARE: Final = 0.4
_TABLE_BEYOND: Final = 64  # frames read beyond the end, for the kernel that reads between frames


def sampled_note(
    instrument: Instrument, midi: float, bend: npt.NDArray[np.float64], rate_hz: int
) -> npt.NDArray[np.float32]:
    """A note held for a time.

    Parameters
    ----------
    midi : float
        Pitch at a bend of 1.
    bend : ndarray, shape (n_frames,)
        Factor on the pitch, frame by frame.
    rate_hz : int
        Of the sound that is made.

    Returns
    -------
    ndarray, shape (n_frames, 2), float32
    """
    recorded = instrument.nearest(midi)
    speed = 2 ** ((midi - recorded.midi) / 12) * recorded.clip.rate_hz / rate_hz
    places = np.concatenate(([0.0], np.cumsum(speed * bend[:-1])))
    return read_at(sustained(recorded.clip, int(places[-1]) + _TABLE_BEYOND), places)


def sustained(clip: Clip, n_frames: int) -> npt.NDArray[np.float32]:
    """A note at least so long: as recorded, then its middle again and again.

    Returns
    -------
    ndarray, shape (at least n_frames, n_channels), float32
    """
    if n_frames <= clip.n_frames * _LOOP_TO:
        return clip.samples
    begin, end = (round(share * clip.n_frames) for share in (_LOOP_FROM, _LOOP_TO))
    middle = _level(clip.samples[begin:end])
    join = round(_JOIN_SHARE * len(middle))
    first = np.array(clip.samples[:end])
    first[begin:] = middle
    parts = [first[: end - join]]
    length = end - join
    while length < n_frames:
        parts.append(crossfaded(middle[-join:], middle[:join]))
        parts.append(middle[join:-join])
        length += len(middle) - join
    return np.concatenate(parts)


def _level(middle: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """The middle without its slow decay, so that no repeat starts louder than the last ended."""
    halves = np.array_split(middle, 2)
    powers = [float(np.mean(np.square(half, dtype=np.float64))) for half in halves]
    if min(powers) <= 0:
        return middle
    fall_db = 20 * np.log10(powers[1] / powers[0])  # over the whole, twice that between halves
    share = np.arange(len(middle)) / len(middle)
    levelled: npt.NDArray[np.float32] = middle * 10 ** (-fall_db * share / 20)[:, None]
    return levelled.astype(np.float32)
