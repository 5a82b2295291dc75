"""What sounds in each bar: level, onsets, and whether voice, bass and drums are there.

From the stems where there are, else estimated from the mix. Drums in a mix are what stands out
across the bands for a moment rather than in a band for long; the bass is what sounds below 150 Hz
against the rest; a voice is what glides in the middle of the stereo image where speech has its
formants, which strings and leads do as well.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.structure_facts import BarFact
from segue.audio.loudness import OFFSET_LUFS, k_weighting_sos

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.analysis.bar_features import BarFeatures
    from segue.audio.clip import Clip, Role, SongEdge

    Floats = npt.NDArray[np.float64]

SILENT_LUFS: Final = -120.0  # level that stands for a silent bar, below any floor; by judgement
# stem against mix: surely there, and surely not; by judgement
_STEM_PLAIN_DB, _STEM_ABSENT_DB = -14.0, -34.0
_HELD_HOPS, _WIDE_BANDS = 17, 9  # reach of the medians over time and over bands; by judgement
# share of what is struck: none, and surely there; by judgement
_DRUMS_ABSENT, _DRUMS_PLAIN = 0.06, 0.12
_GLIDE_HOPS, _GLIDE_BINS = 5, 9  # reach of the medians over time and frequency; by judgement
# share of what glides: none, and surely there; by judgement
_VOICE_ABSENT, _VOICE_PLAIN = 0.012, 0.035
_BASS_BANDS: Final = 3  # the lowest mel bands, about 40 to 200 Hz; by judgement
# bass bands against all: none, and surely there; by judgement
_BASS_ABSENT_DB, _BASS_PLAIN_DB = -24.0, -10.0
_ONSET_DB: Final = 3.0  # least mean rise over the bands of an onset; by judgement
# hops a rise is taken over, and an onset's reach to either side; by judgement
_ONSET_HOPS: Final = 2
_MOST_RISE_DB: Final = 24.0  # a band counts with no more, so that none decides alone; by judgement
_STEM_ROLES: Final[dict[str, tuple[Role, ...]]] = {
    "voice": ("voice", "lead"),
    "bass": ("bass",),
    "drums": ("drums",),
}


def bar_facts(edge: SongEdge, features: BarFeatures) -> tuple[BarFact, ...]:
    """What sounds in every bar of an edge.

    Parameters
    ----------
    features : BarFeatures
        Of the same edge.
    """
    lines_s = features.lines_s
    lufs = _bar_lufs(edge.mix, lines_s)
    onsets = _onsets_a_beat(features)
    if edge.has_stems:
        present = {
            part: _stem_presence(edge, roles, lines_s, lufs) for part, roles in _STEM_ROLES.items()
        }
    else:
        drums, bass = _drums(features), _bass(features)
        present = {"voice": _voice(features), "bass": bass, "drums": drums}
    return tuple(
        BarFact(
            start_s=float(lines_s[bar]),
            end_s=float(lines_s[bar + 1]),
            level_lufs=float(lufs[bar]),
            onsets_a_beat=float(onsets[bar]),
            voice=float(present["voice"][bar]),
            bass=float(present["bass"][bar]),
            drums=float(present["drums"][bar]),
            source="stems" if edge.has_stems else "mix",
        )
        for bar in range(features.n_bars)
    )


def _bar_lufs(clip: Clip, lines_s: Floats) -> Floats:
    """K-weighted level between bar lines, without gates."""
    from scipy.signal import sosfilt

    step = max(clip.rate_hz // 100, 1)
    n_steps = clip.n_frames // step
    sections = k_weighting_sos(clip.rate_hz)
    energy = np.zeros(n_steps)
    for channel in clip.samples.T:
        weighted = sosfilt(sections, channel[: n_steps * step]).reshape(n_steps, step)
        energy += np.einsum("ij,ij->i", weighted, weighted)
    sums = np.concatenate([[0.0], np.cumsum(energy)])
    at = np.clip(np.rint((lines_s - clip.start_s) * clip.rate_hz / step).astype(int), 0, n_steps)
    power = np.diff(sums[at]) / np.maximum(np.diff(at) * step, 1)
    lufs = OFFSET_LUFS + 10.0 * np.log10(np.maximum(power, 1e-30))
    return np.asarray(np.maximum(lufs, SILENT_LUFS))


def _stem_presence(
    edge: SongEdge, roles: tuple[Role, ...], lines_s: Floats, mix_lufs: Floats
) -> Floats:
    part = edge.sum_of(*roles)
    if part is None:
        return np.zeros(len(mix_lufs))
    below = _bar_lufs(part, lines_s) - mix_lufs
    return np.where(mix_lufs > SILENT_LUFS, _share(below, _STEM_ABSENT_DB, _STEM_PLAIN_DB), 0.0)


def _share(values: Floats, none: float, plain: float) -> Floats:
    return np.clip((values - none) / (plain - none), 0.0, 1.0)


def _onsets_a_beat(features: BarFeatures) -> Floats:
    """Moments at which the bands rise by 3 dB or more in the mean, per beat of each bar."""
    bands = features.bands_db
    rises = np.zeros(len(bands))
    moved = np.clip(bands[_ONSET_HOPS:] - bands[:-_ONSET_HOPS], 0.0, _MOST_RISE_DB)
    rises[_ONSET_HOPS:] = moved.mean(axis=1)
    padded = np.pad(rises, _ONSET_HOPS)
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * _ONSET_HOPS + 1).max(axis=1)
    peaks = np.flatnonzero((rises >= around) & (rises >= _ONSET_DB))
    borders = features.hop_at(features.lines_s) - 1
    return np.diff(np.searchsorted(peaks, borders)) / features.metre


def _drums(features: BarFeatures) -> Floats:
    """Share of the power that stands out across bands, where drums have it."""
    from scipy import ndimage

    power = 10.0 ** (features.bands_db / 20.0)
    held = ndimage.median_filter(power, (_HELD_HOPS, 1), mode="nearest")
    struck = ndimage.median_filter(power, (1, _WIDE_BANDS), mode="nearest")
    share = struck**2 / np.maximum(struck**2 + held**2, 1e-12)
    above = power - held > 0.0
    rising = np.where(above, share * (power - held), 0.0)
    by_bar = features.by_parts(np.stack([rising.sum(axis=1), power.sum(axis=1)], axis=1), 1)[:, 0]
    return _share(by_bar[:, 0] / np.maximum(by_bar[:, 1], 1e-12), _DRUMS_ABSENT, _DRUMS_PLAIN)


def _bass(features: BarFeatures) -> Floats:
    """Level of what is held in the lowest bands against the whole."""
    power = features.by_parts(10.0 ** (features.bands_db / 10.0), 1)[:, 0]
    low_db = 10.0 * np.log10(
        np.maximum(power[:, :_BASS_BANDS].sum(axis=1), 1e-12) / np.maximum(power.sum(axis=1), 1e-12)
    )
    return _share(low_db, _BASS_ABSENT_DB, _BASS_PLAIN_DB)


def _voice(features: BarFeatures) -> Floats:
    """Share of the middle that neither is held nor stands out across: what glides."""
    from scipy import ndimage

    middle = features.middle
    held = ndimage.median_filter(middle, (_GLIDE_HOPS, 1), mode="nearest")
    struck = ndimage.median_filter(middle, (1, _GLIDE_BINS), mode="nearest")
    glides = np.maximum(middle - held - struck, 0.0)
    sums = np.stack([glides.sum(axis=1), middle.sum(axis=1)], axis=1).astype(np.float64)
    by_bar = features.by_parts(np.repeat(sums, 2, axis=0), 1)[:, 0]
    return _share(by_bar[:, 0] / np.maximum(by_bar[:, 1], 1e-12), _VOICE_ABSENT, _VOICE_PLAIN)
