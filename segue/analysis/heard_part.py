"""What the pulse is heard from: the part of an edge between its first sound and its last."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import soxr

from segue.analysis.envelope import mono_of
from segue.analysis.harmonic_change import harmonic_change
from segue.analysis.metre_evidence import Evidence
from segue.analysis.onsets import HOP_S, RATE_HZ, onset_curves

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.audio.clip import Clip, SongEdge

_SILENCE_SHARE: Final = 10 ** (-60 / 20)
_LEAST_HEARD_S: Final = 1.5
_OTHERS_SHARE: Final = 0.3
_STRONG_SHARE: Final = 0.4
_STRONG_QUANTILE: Final = 0.98
_STOPPED_S: Final = 0.7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeardPart:
    """The part of an edge that sounds, at `RATE_HZ`.

    Parameters
    ----------
    beating : ndarray, shape (n_frames,)
        What the beats are heard from: the drums, or the mix where there are none.
    evidence : Evidence
        Onset strength and change of harmony.
    start_s : float
        First frame, in seconds from the start of the file.
    """

    beating: npt.NDArray[np.float32]
    evidence: Evidence
    start_s: float

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.beating) / RATE_HZ


def heard_part(edge: SongEdge) -> HeardPart | None:
    """What the pulse is heard from; None where there is next to no sound.

    Parameters
    ----------
    edge : SongEdge
        The end or the start of a song.
    """
    whole = _mono(edge.mix)
    loud = np.abs(whole)
    audible = np.flatnonzero(loud > _SILENCE_SHARE * max(float(loud.max(initial=0.0)), 1e-9))
    if len(audible) == 0 or (audible[-1] - audible[0]) / RATE_HZ < _LEAST_HEARD_S:
        return None
    first, last = int(audible[0]), int(audible[-1]) + 1
    starts_cut = first == 0 and edge.start_s > 0
    whole = whole[first:last]
    beating = _drums(edge, first, last)
    if beating is None:
        beating = others = whole
        curves = onset_curves(whole, starts_cut=starts_cut)
        bands, accent = curves.bands, curves.accent
    else:
        others = whole - beating
        curves = onset_curves(beating, starts_cut=starts_cut)
        rest = onset_curves(others, starts_cut=starts_cut)
        bands = curves.bands + _OTHERS_SHARE * rest.bands
        accent = curves.accent + _OTHERS_SHARE * rest.accent
    evidence = Evidence(
        bands=bands,
        changes=harmonic_change(others, len(bands)),
        accent=accent,
        first_s=None if starts_cut else 0.0,
        last_s=_last_attack_s(bands),
    )
    return HeardPart(beating=beating, evidence=evidence, start_s=edge.start_s + first / RATE_HZ)


def _drums(edge: SongEdge, first: int, last: int) -> npt.NDArray[np.float32] | None:
    """The drums, where they are a stem of their own and sound."""
    drums = edge.sum_of("drums") if edge.has_stems else None
    if drums is None:
        return None
    heard = _mono(drums)[first:last]
    return heard if float(np.abs(heard).max()) > _SILENCE_SHARE else None


def _last_attack_s(bands: npt.NDArray[np.float64]) -> float | None:
    """The last strong onset; None where the music goes on until the end."""
    total = bands.mean(axis=1)
    strong = np.flatnonzero(total > _STRONG_SHARE * np.quantile(total, _STRONG_QUANTILE))
    last_s = float(strong[-1] * HOP_S) if len(strong) else 0.0
    return last_s if len(total) * HOP_S - last_s > _STOPPED_S else None


def _mono(clip: Clip) -> npt.NDArray[np.float32]:
    mixed = mono_of(clip.samples)
    return np.asarray(soxr.resample(mixed, clip.rate_hz, RATE_HZ), dtype=np.float32)
