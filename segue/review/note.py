"""Levels at the partials of one note every few milliseconds, and between them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.review.partials import partial_hz, read_at, spectra

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.audio.clip import Clip

    Floats = npt.NDArray[np.float64]

FINE_S: Final = 0.004
"""From one reading to the next."""
_SHORT_FRAMES: Final = 800
"""Chosen on takes of odd seeds of `benchmarks/review.py`, as what is taken out between is."""
_SCOOP_CENTS: Final = 150.0
"""A note may come up from so far below: a scoop belongs to it, and differs from take to take."""
_N_ACROSS: Final = 9
_BETWEEN: Final = np.array([-0.6, -0.5, -0.4, 0.4, 0.5, 0.6])
"""Places between partials, in distances of partials."""


def note_levels(
    clip: Clip, at_s: Floats, midi: float, *, near_cents: float
) -> tuple[Floats, Floats]:
    """Magnitudes at the partials of a note, and between them.

    Parameters
    ----------
    clip : Clip
    at_s : ndarray, shape (n_times,)
        Ascending, in seconds of the clip.
    midi : float
    near_cents : float
        How far above the note its pitch may be.

    Returns
    -------
    levels : ndarray, shape (n_times, N_PARTIALS)
        The strongest from a scoop below each partial up to `near_cents` above it.
    between : ndarray, shape (n_times, N_PARTIALS)
        The strongest between each partial and its neighbours: strokes are at all frequencies.
    """
    magnitudes = spectra(clip, at_s, window_frames=_SHORT_FRAMES)
    around = np.linspace(-_SCOOP_CENTS, near_cents, _N_ACROSS) / 100
    places_hz = partial_hz(midi + around)
    note_hz = partial_hz(np.array(midi))
    between_hz = note_hz + _BETWEEN[:, None] * note_hz[0]
    levels, between = (
        read_at(magnitudes, np.broadcast_to(hz, (len(at_s), *hz.shape))).max(axis=1)
        for hz in (places_hz, between_hz)
    )
    return levels, between
