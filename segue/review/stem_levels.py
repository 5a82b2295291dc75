"""The first note's partials in the plan's stems: what the voice brings, and what the band has."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.clip import Clip
from segue.review.partial_levels import FINE_S, note_levels

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

TEMPLATE_S: Final = 0.8
"""Known on either side of the planned attack: as far as an entry is looked for, and its
sound (by judgement)."""
_SCOPE_CENTS: Final = 50.0  # above a note that are read as its own; by judgement
_MARGIN_S: Final = 0.2  # read on both sides of what is wanted; by judgement


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StemLevels:
    """Powers at the partials of the first note, every `FINE_S` up to `TEMPLATE_S` around it.

    Parameters
    ----------
    voice, band : ndarray, shape (2 * n + 1, N_PARTIALS)
        Of the voice alone and of all else in the song; the planned attack is in the middle.
    """

    voice: Floats
    band: Floats


def template_times(attack_s: float) -> Floats:
    """Times every `FINE_S` up to `TEMPLATE_S` around an attack, shape (2 * n + 1,)."""
    n_around = round(TEMPLATE_S / FINE_S)
    at_s: Floats = attack_s + np.arange(-n_around, n_around + 1.0) * FINE_S
    return at_s


def stem_levels(lead: Clip, mix: Clip, source_s: Floats, midi: float) -> StemLevels:
    """Read the first note's partials in the voice's stem and in the rest of the song.

    Parameters
    ----------
    lead, mix : Clip
        The voice's stem, and the sum of all.
    source_s : ndarray, shape (2 * n + 1,)
        Seconds of the song at `template_times`; where they stand still, the song is not played.
    midi : float
        The note as it is in the song.
    """
    rate_hz = lead.rate_hz
    first = max(round((source_s[0] - _MARGIN_S) * rate_hz), 0)
    last = round((source_s[-1] + _MARGIN_S) * rate_hz)
    sung, whole = (clip.samples[first:last] for clip in (lead, mix))
    n_frames = min(len(sung), len(whole))
    parts = (sung[:n_frames], whole[:n_frames] - sung[:n_frames])
    is_played = np.gradient(source_s)[:, None] > 0
    voice, band = (
        np.where(is_played, np.square(levels), 0.0)
        for levels, _ in (
            note_levels(
                Clip(samples=part, rate_hz=rate_hz),
                source_s - first / rate_hz,
                midi,
                near_cents=_SCOPE_CENTS,
            )
            for part in parts
        )
    )
    return StemLevels(voice=voice, band=band)
