"""What the stems of a run's songs say of its plan: the parts' power, the first note's partials.

References
----------
.. [ISO266] ISO 266:1997, "Acoustics: preferred frequencies" (one-third octaves).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, TypeAlias, get_args

import numpy as np

from segue.audio import read_song
from segue.audio.adapters import resampled
from segue.audio.clip import Clip, SongEdge
from segue.errors import InputError
from segue.plan.layer import SongLayer
from segue.review.partials import FINE_S, note_levels

if TYPE_CHECKING:
    from segue.arrays import Floats
    from segue.plan.plan import Plan
    from segue.runfolder import RunDocument


Side: TypeAlias = Literal["outgoing", "incoming"]
PARTS_RATE_HZ: Final = 16_000  # at which parts are read: up to 8 kHz; by judgement
_SMOOTH_HOPS: Final = 5  # a level is that of 0.1 s, so that a stroke may be off; by judgement
_WINDOW_FRAMES: Final = 1024  # 64 ms: the lowest bands are told apart; by judgement
BANDS_HZ: Final = 1000.0 * 2.0 ** (np.arange(-12, 10) / 3)
"""Middles of one-third octaves from 63 Hz to 8 kHz [ISO266]_."""
TEMPLATE_S: Final = 0.8
"""Known on either side of the planned attack: as far as an entry is looked for, and its
sound (by judgement)."""
_SCOPE_CENTS: Final = 50.0  # above a note that are read as its own; by judgement
_MARGIN_S: Final = 0.2  # read on both sides of what is wanted; by judgement


def edge_at_hand(document: RunDocument, side: Side, rate_hz: int) -> SongEdge | None:
    """A song as the run read it; None where its stems are not there any more, or never were."""
    facts = document.outgoing if side == "outgoing" else document.incoming
    try:
        edge = read_song(
            facts.file,
            edge="end" if side == "outgoing" else "start",
            edge_s=facts.edge_end_s - facts.edge_start_s,
            rate_hz=rate_hz,
        )
    except InputError:
        return None
    return edge if edge.has_stems else None


def part_powers(document: RunDocument, plan: Plan, plan_s: Floats) -> dict[str, Floats]:
    """Power of each part at times of the plan, as its song's layers have it.

    Parameters
    ----------
    plan_s : ndarray, shape (n_times,)

    Returns
    -------
    dict of str to ndarray, shape (n_times, n_bands)
        By role, in the bands of `BANDS_HZ`; empty where no song has stems that are at hand.
    """
    beats = np.array([plan.beat_at(float(s)) for s in plan_s])
    powers: dict[str, Floats] = {}
    for side in get_args(Side):
        edge = edge_at_hand(document, side, PARTS_RATE_HZ)
        if edge is None:
            continue
        layers = [x for x in plan.layers if isinstance(x, SongLayer) and x.song == side]
        for role in dict.fromkeys(stem.role for stem in edge.stems):
            clip = edge.sum_of(role)
            if clip is None:
                continue
            total = np.zeros((len(plan_s), len(BANDS_HZ)))
            for layer in layers:
                if not layer.roles or role in layer.roles:
                    total += _of_layer(layer, clip, beats)
            powers[role] = powers.get(role, 0.0) + total
    return powers


def _of_layer(layer: SongLayer, clip: Clip, beats: Floats) -> Floats:
    mapped = np.array([(point.beat, point.source_s) for point in layer.time_map])
    source_s = np.interp(beats, mapped[:, 0], mapped[:, 1]) - clip.start_s
    gain_db = np.zeros(len(beats))
    if layer.gain_db:
        known = np.array([(point.beat, point.value) for point in layer.gain_db])
        gain_db = np.interp(beats, known[:, 0], known[:, 1])
    sounds = (beats >= layer.start_beat) & (beats < layer.end_beat)
    power = np.zeros((len(beats), len(BANDS_HZ)))
    if sounds.any():
        power[sounds] = band_powers(clip, source_s[sounds]) * 10 ** (gain_db[sounds, None] / 10)
    return power


def band_powers(clip: Clip, at_s: Floats) -> Floats:
    """Power in one-third octaves around times of a clip, shape (n_times, n_bands)."""
    from scipy.ndimage import uniform_filter1d

    mono = resampled(clip, PARTS_RATE_HZ).samples.mean(axis=1, dtype=np.float64)
    mono = np.pad(mono, _WINDOW_FRAMES)
    first = np.rint(at_s * PARTS_RATE_HZ).astype(int) + _WINDOW_FRAMES // 2
    first = np.clip(first, 0, len(mono) - _WINDOW_FRAMES)
    windows = np.lib.stride_tricks.sliding_window_view(mono, _WINDOW_FRAMES)
    shape = np.hanning(_WINDOW_FRAMES)
    hz = np.fft.rfftfreq(_WINDOW_FRAMES, 1 / PARTS_RATE_HZ)
    edges = np.searchsorted(hz, np.append(BANDS_HZ, 2 * BANDS_HZ[-3]) / 2 ** (1 / 6))
    bands = []
    for block in np.array_split(first, max(len(first) // 1_000, 1)):
        power = np.square(np.abs(np.fft.rfft(windows[block] * shape, axis=1)))
        sums = np.concatenate([np.zeros((len(block), 1)), np.cumsum(power, axis=1)], axis=1)
        low, high = edges[:-1], np.maximum(edges[1:], edges[:-1] + 1)
        bands.append(sums[:, high] - sums[:, low])
    smooth: Floats = uniform_filter1d(np.concatenate(bands), _SMOOTH_HOPS, axis=0)
    return smooth


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
