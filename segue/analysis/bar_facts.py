"""What sounds in each bar: level, onsets, voice, bass and drums; and which bars loop best.

From the stems where there are, else estimated from the mix. Drums in a mix are what stands out
across the bands for a moment rather than in a band for long; the bass is what sounds below 150 Hz
against the rest; a voice is what glides in the middle of the stereo image where speech has its
formants, which strings and leads do as well.

A loop is heard as one where its end meets its start as the song itself goes on, where the band
repeats it anyway, where it neither swells nor sinks, and where nobody sings in it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.bar_features import HOP_S, BarFeatures
from segue.analysis.envelope import peaks_of
from segue.analysis.structure_facts import BarFact, LoopFact
from segue.audio.loudness import OFFSET_LUFS, k_weighting_sos

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.arrays import Floats
    from segue.audio.clip import Clip, Role, SongEdge


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
    """What sounds in every bar of an edge."""
    lines_s = features.lines_s
    lufs = _bar_lufs(edge.mix, lines_s)
    onsets = _onsets_a_beat(features)
    if edge.has_stems:
        present = {
            part: _stem_presence(edge, roles, lines_s, lufs) for part, roles in _STEM_ROLES.items()
        }
        if edge.has_backing:
            present["drums"] = _drums(features)
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
    peaks = peaks_of(rises, reach=_ONSET_HOPS, least=_ONSET_DB)
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


LENGTHS_BARS: Final = (4, 2, 1)  # lengths of loops that are offered, in bars; by judgement
_SEAM_S: Final = 0.25  # seconds after both ends of a loop that are compared; by judgement
_PARTS_A_BEAT: Final = 4  # parts of a beat whose levels are compared; by judgement
_QUIET_LU: Final = 8.0  # bars this far below the median are not looped; by judgement

# Weights of the measures and the middle of the scale: set by judgement on what 58 edges had.
_SEAM_WEIGHT, _REPEAT_WEIGHT, _STEADY_WEIGHT, _VOICE_WEIGHT = 0.5, 4.0, 0.5, 3.0
_MIDDLE: Final = -1.5  # score of a loop whose quality is one half


def best_loops(features: BarFeatures, bars: Sequence[BarFact]) -> tuple[LoopFact, ...]:
    """The most loopable four, two and one bars, best first.

    Parameters
    ----------
    bars : sequence of BarFact
        Of the same bar lines as the features.

    Returns
    -------
    tuple of LoopFact
        At most one of each length. Bars far below the level of the edge are no loop.
    """
    parts = features.by_parts(features.bands_db, _PARTS_A_BEAT * features.metre)
    levels = np.array([bar.level_lufs for bar in bars])
    is_loud = levels > np.median(levels) - _QUIET_LU
    found = []
    for n_bars in LENGTHS_BARS:
        places = [
            first
            for first in range(features.n_bars - n_bars)
            if is_loud[first : first + n_bars].all()
        ]
        loops = [_loop(features, parts, bars, first, n_bars) for first in places]
        if loops:
            found.append(max(loops, key=lambda loop: loop.quality))
    return tuple(sorted(found, key=lambda loop: -loop.quality))


def _loop(
    features: BarFeatures, parts: Floats, bars: Sequence[BarFact], first: int, n_bars: int
) -> LoopFact:
    inside = bars[first : first + n_bars]
    start_s, end_s = float(features.lines_s[first]), float(features.lines_s[first + n_bars])
    seam_db = _seam_db(features, start_s, end_s)
    repeats = _repeats(parts, first, n_bars)
    beats_db = 10.0 * np.log10(
        np.mean(
            10.0
            ** (parts[first : first + n_bars].reshape(-1, _PARTS_A_BEAT, parts.shape[2]) / 10.0),
            axis=(1, 2),
        )
    )
    steady_db = float(beats_db.std())
    voice = float(np.mean([bar.voice for bar in inside]))
    score = (
        _REPEAT_WEIGHT * repeats
        - _SEAM_WEIGHT * seam_db
        - _STEADY_WEIGHT * steady_db
        - _VOICE_WEIGHT * voice
    )
    return LoopFact(
        start_s=start_s,
        end_s=end_s,
        n_bars=n_bars,
        quality=float(1.0 / (1.0 + np.exp(_MIDDLE - score))),
        seam_db=seam_db,
        repeats=repeats,
        steady_db=steady_db,
        voice=voice,
        drums=float(np.mean([bar.drums for bar in inside])),
    )


def _seam_db(features: BarFeatures, start_s: float, end_s: float) -> float:
    """How the sound after a place differs from that after another, in decibels over the bands."""
    n_hops = max(round(_SEAM_S / HOP_S), 1)
    first, last = int(features.hop_at(start_s)), int(features.hop_at(end_s))
    after_start = features.bands_db[first : first + n_hops]
    after_end = features.bands_db[last : last + n_hops]
    n_both = min(len(after_start), len(after_end))
    if n_both == 0:
        return float(-features.bands_db.min())
    apart_db = after_start[:n_both].mean(axis=0) - after_end[:n_both].mean(axis=0)
    return float(np.sqrt(np.mean(apart_db**2)))


def _repeats(parts: Floats, first: int, n_bars: int) -> float:
    """The best correlation of levels, about each band's mean, with the bars around."""
    own = parts[first : first + n_bars]
    others = (parts[first + n_bars :][:n_bars], parts[max(first - n_bars, 0) : first])
    found = [_correlation(own, other) for other in others if len(other) == n_bars]
    return max(found, default=0.0)


def _correlation(one: Floats, other: Floats) -> float:
    a, b = (x.reshape(-1, x.shape[-1]) for x in (one, other))
    a, b = a - a.mean(axis=0), b - b.mean(axis=0)
    norm = float(np.linalg.norm(a) * np.linalg.norm(b))
    return float(np.clip((a * b).sum() / norm, -1.0, 1.0)) if norm > 0.0 else 0.0
