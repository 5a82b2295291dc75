"""The curves that ways to count are judged by."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage

from segue.analysis.onsets import HOP_S, N_BANDS

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.analysis.beat_net import Opinion

CURVES: Final = (
    "low", "body", "melody", "high", "harmony", "bass", "chord", "accent", "long", "held"
)  # fmt: skip
"""Onset strength by band; change of harmony, of the bass, and of harmony over a longer time;
rise of loudness; time until the next onset, in all bands and in the two lower ones."""
_REACH_S: Final = 0.02  # seconds within which a curve is raised to its strongest; by judgement
# seconds: a longer time until the next onset counts as this; by judgement
_LONGEST_NOTE_S: Final = 1.2
_NOTE_SHARE: Final = 0.25  # of a loud onset: what is stronger starts a note; by judgement
# of the strongest band's mean: weaker bands are divided by this; by judgement
_WEAK_SHARE: Final = 0.1
_SILENT_SHARE: Final = 0.02
"""Onset strength below this share of a loud onset is silence. Set by judgement."""
_LOUD_QUANTILE: Final = 0.98
"""Quantile of onset strength that stands for a loud onset."""
_MUSIC, _BARE = 0.76, 0.8
"""Share of hops without onset strength: of ten click tracks and drum loops without music 0.81 at
least, of 1500 made songs above 0.76 in one of forty. From 0.65 on the net had less of a
say in one song with drums in ten, and one tempo octave in two hundred more was wrong."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Evidence:
    """What readings are judged by.

    Parameters
    ----------
    bands : ndarray, shape (n_hops, 4)
        Onset strength at hops of `HOP_S`.
    changes : ndarray, shape (n_hops, 3)
        Change of harmony, of the bass, and of harmony over a longer time.
    accent : ndarray, shape (n_hops,)
        Rise of loudness.
    first_s, last_s : float or None
        First sound and last attack, in seconds from the first hop; None where the edge
        is cut there.
    opinion : Opinion
        What the net holds of beats, downbeats, tempo and metre.
    """

    bands: npt.NDArray[np.float64]
    changes: npt.NDArray[np.float64]
    accent: npt.NDArray[np.float64]
    first_s: float | None
    last_s: float | None
    opinion: Opinion

    @cached_property
    def curves(self) -> npt.NDArray[np.float64]:
        """All `CURVES` side by side, each raised to its strongest nearby, of mean 1."""
        near = 2 * round(_REACH_S / HOP_S) + 1
        lengths = [self._note_lengths, _note_lengths(self.bands[:, : N_BANDS // 2].mean(axis=1))]
        rest = np.stack([self.accent, *lengths], axis=1)
        together = np.concatenate([self.bands, self.changes, rest], axis=1)
        raised = ndimage.maximum_filter1d(together, near, axis=0)
        mean = raised.mean(axis=0)
        least = np.zeros(len(mean))
        least[:N_BANDS] = _WEAK_SHARE * mean[:N_BANDS].max()
        scaled: npt.NDArray[np.float64] = raised / np.maximum(mean, least + 1e-12)
        return scaled

    @cached_property
    def _note_lengths(self) -> npt.NDArray[np.float64]:
        return _note_lengths(self.bands.mean(axis=1))

    @cached_property
    def onset_rate_hz(self) -> float:
        """Onsets in a second."""
        n_onsets = max(int(np.count_nonzero(self._note_lengths)), 1)
        return n_onsets / (len(self.bands) * HOP_S)

    @cached_property
    def bareness(self) -> float:
        """1 where next to nothing sounds between the onsets, as with a click; 0 in music."""
        total = self.bands.mean(axis=1)
        silent = float(np.mean(total < _SILENT_SHARE * np.quantile(total, _LOUD_QUANTILE)))
        return float(np.clip((silent - _MUSIC) / (_BARE - _MUSIC), 0.0, 1.0))

    @cached_property
    def peakiness(self) -> npt.NDArray[np.float64]:
        """Deviation of onset strength over its mean, by band: great where drums sound."""
        mean = np.maximum(self.bands.mean(axis=0), 1e-12)
        peakiness: npt.NDArray[np.float64] = self.bands.std(axis=0) / mean
        return peakiness


def _note_lengths(strength: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """At each onset the time until the next, in seconds; 0 elsewhere."""
    smooth = ndimage.gaussian_filter1d(strength, _REACH_S / HOP_S)
    least = _NOTE_SHARE * np.quantile(smooth, 0.98)
    inner = smooth[1:-1]
    peaks = np.flatnonzero((inner > smooth[:-2]) & (inner >= smooth[2:]) & (inner > least)) + 1
    lengths = np.zeros(len(strength))
    if len(peaks):
        until_s = np.diff(peaks, append=len(strength)) * HOP_S
        lengths[peaks] = np.minimum(until_s, _LONGEST_NOTE_S)
    return lengths
