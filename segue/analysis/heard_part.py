"""What the pulse is heard from: the sounding part of an edge, and the curves that judge countings.

One of them is where the harmony and the bass change, evidence of bar lines: the spectrum of a
long window is folded into semitones; the change at a hop is the distance of what sounds just
after from what sounded just before.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import fft, ndimage

from segue.analysis.beat_net import Opinion, net_input, opinion_on
from segue.analysis.envelope import mono_of
from segue.analysis.onsets import (
    HOP_FRAMES,
    HOP_S,
    N_BANDS,
    RATE_HZ,
    curves_of_levels,
    onset_curves,
    onset_levels,
)
from segue.audio.adapters import mono_at_rate

if TYPE_CHECKING:
    from segue.arrays import Floats, Floats32
    from segue.audio.clip import Clip, SongEdge


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
_NO_NOTES, _NOTES = 0.11, 0.14
"""How far the fourth clearest pitch class stands out: of 40 loops of drums or clicks and 30 of one
beep or two 0.11 at most, of 39 made songs as silent between their onsets above 0.14 in 36."""
_N_NOTES: Final = 4  # pitch classes that music has and a click has not; by judgement
_NEIGHBOURS: Final = 5  # semitones around a note that it stands out of; by judgement


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
    notes : float
        How far the fourth clearest pitch class stands out of its neighbours, over their mean.
    opinion : Opinion
        What the net holds of beats, downbeats, tempo and metre.
    """

    bands: Floats
    changes: Floats
    accent: Floats
    first_s: float | None
    last_s: float | None
    notes: float
    opinion: Opinion

    @cached_property
    def curves(self) -> Floats:
        """All `CURVES` side by side, each raised to its strongest nearby, of mean 1."""
        near = 2 * round(_REACH_S / HOP_S) + 1
        lengths = [self._note_lengths, _note_lengths(self.bands[:, : N_BANDS // 2].mean(axis=1))]
        rest = np.stack([self.accent, *lengths], axis=1)
        together = np.concatenate([self.bands, self.changes, rest], axis=1)
        raised = ndimage.maximum_filter1d(together, near, axis=0)
        mean = raised.mean(axis=0)
        least = np.zeros(len(mean))
        least[:N_BANDS] = _WEAK_SHARE * mean[:N_BANDS].max()
        scaled: Floats = raised / np.maximum(mean, least + 1e-12)
        return scaled

    @cached_property
    def _note_lengths(self) -> Floats:
        return _note_lengths(self.bands.mean(axis=1))

    @cached_property
    def onset_rate_hz(self) -> float:
        """Onsets in a second."""
        n_onsets = max(int(np.count_nonzero(self._note_lengths)), 1)
        return n_onsets / (len(self.bands) * HOP_S)

    @cached_property
    def bareness(self) -> float:
        """1 for a click: no notes, and next to nothing between the onsets; 0 in music."""
        total = self.bands.mean(axis=1)
        silent = float(np.mean(total < _SILENT_SHARE * np.quantile(total, _LOUD_QUANTILE)))
        by_silence = np.clip((silent - _MUSIC) / (_BARE - _MUSIC), 0.0, 1.0)
        return float(by_silence * np.clip((_NOTES - self.notes) / (_NOTES - _NO_NOTES), 0.0, 1.0))

    @cached_property
    def peakiness(self) -> Floats:
        """Deviation of onset strength over its mean, by band: great where drums sound."""
        mean = np.maximum(self.bands.mean(axis=0), 1e-12)
        peakiness: Floats = self.bands.std(axis=0) / mean
        return peakiness


def _note_lengths(strength: Floats) -> Floats:
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


_WINDOW_FRAMES: Final = 4096  # frames of a spectrum at the onsets' rate, 0.19 s; by judgement
_STEP_HOPS: Final = 4  # hops of onset strength from spectrum to spectrum, 40 ms; by judgement
_LOWEST_MIDI: Final = 33  # A1, the lowest semitone; by judgement
_BASS_TOP_MIDI: Final = 52  # E3: semitones below it are bass; by judgement
_TOP_MIDI: Final = 88  # E6: semitones below it are harmony; by judgement
_LOOK_S: Final = 0.3  # seconds before and after that a change is heard between; by judgement
_LONG_LOOK_S: Final = 0.9  # the same in seconds for long harmony; by judgement
_SLOW_S: Final = 8.0  # seconds of the average that changes are divided by; by judgement


def harmonic_change(semitones: Floats, n_hops: int) -> Floats:
    """Change of harmony, bass and long harmony at every hop, about 1 on average.

    Parameters
    ----------
    semitones : ndarray, shape (n_steps, n_semitones)
        What `semitone_levels` returns.
    n_hops : int
        Number of hops of `HOP_S` to describe.

    Returns
    -------
    ndarray, shape (n_hops, 3)
        Change of harmony within 0.3 s, of the bass, and of harmony within 0.9 s.
    """
    n_bass = _BASS_TOP_MIDI - _LOWEST_MIDI
    folded = np.zeros((len(semitones), 12))
    for midi in range(_LOWEST_MIDI + n_bass, _TOP_MIDI):
        folded[:, midi % 12] += semitones[:, midi - _LOWEST_MIDI]
    step_s = _STEP_HOPS * HOP_S
    looks = ((folded, _LOOK_S), (semitones[:, :n_bass], _LOOK_S), (folded, _LONG_LOOK_S))
    changes = np.stack([_change(levels, look_s / step_s) for levels, look_s in looks], axis=1)
    slow = ndimage.uniform_filter1d(changes, round(_SLOW_S / step_s), axis=0, mode="nearest")
    evened = changes / np.maximum(slow, 0.2 * slow.max(axis=0) + 1e-12)
    at = np.arange(n_hops) / _STEP_HOPS
    return np.stack([np.interp(at, np.arange(len(evened)), c) for c in evened.T], axis=1)


def _change(levels: Floats, look_steps: float) -> Floats:
    """Distance of the mean after from the mean before, at every step."""
    unit = levels / np.maximum(np.linalg.norm(levels, axis=1, keepdims=True), 1e-9)
    look = max(round(look_steps), 1)
    total = np.concatenate([np.zeros((1, unit.shape[1])), np.cumsum(unit, axis=0)])
    steps = np.arange(len(unit))
    after = total[np.minimum(steps + look, len(unit))] - total[steps]
    before = total[steps] - total[np.maximum(steps - look, 0)]
    after /= np.maximum(np.linalg.norm(after, axis=1, keepdims=True), 1e-9)
    before /= np.maximum(np.linalg.norm(before, axis=1, keepdims=True), 1e-9)
    change: Floats = np.linalg.norm(after - before, axis=1)
    change[:1] = 0.0
    return change


def semitone_levels(mono: Floats32) -> Floats:
    """Compressed levels, shape (n_steps, n_semitones), step k centred on frame k * step."""
    step_frames = _STEP_HOPS * HOP_FRAMES
    half = _WINDOW_FRAMES // 2
    padded = np.pad(mono, (half, half + step_frames))
    windows = np.lib.stride_tricks.sliding_window_view(padded, _WINDOW_FRAMES)[::step_frames]
    shape = np.hanning(_WINDOW_FRAMES + 1)[:-1].astype(np.float32)
    filters = _semitone_filters()
    spectrum = np.abs(fft.rfft(windows * shape, axis=1)[:, : len(filters)])
    levels = (spectrum @ filters).astype(np.float64)
    loud = np.quantile(levels.max(axis=1), 0.9)
    compressed: Floats = np.log1p(levels * (30.0 / max(float(loud), 1e-12)))
    return compressed


@lru_cache(maxsize=1)
def _semitone_filters() -> Floats32:
    """Triangles one semitone to each side, shape (n_bins, n_semitones), up to the highest bin."""
    bins_hz = np.maximum(fft.rfftfreq(_WINDOW_FRAMES, 1 / RATE_HZ), 1.0)
    bins_midi = 69 + 12 * np.log2(bins_hz / 440)
    centres = np.arange(_LOWEST_MIDI, _TOP_MIDI)
    weights = np.clip(1 - np.abs(bins_midi[:, np.newaxis] - centres), 0.0, None)
    n_bins = int(np.flatnonzero(weights.any(axis=1))[-1]) + 1
    return np.asarray(weights[:n_bins], dtype=np.float32)


# of the loudest, -60 dB: what is below is silence; by judgement
_SILENCE_SHARE: Final = 10 ** (-60 / 20)
_LEAST_HEARD_S: Final = 1.5  # seconds of sound without which no pulse is heard; by judgement
_OTHERS_SHARE: Final = 0.3  # weight of the other stems' onsets next to the drums'; by judgement
_STRONG_SHARE: Final = 0.4  # of a loud onset: what is above is a strong one; by judgement
_STRONG_QUANTILE: Final = 0.98  # of onset strength: what stands for a loud onset; by judgement
# seconds without a strong onset at the end of music that has stopped; by judgement
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

    beating: Floats32
    evidence: Evidence
    start_s: float

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.beating) / RATE_HZ


def heard_part(edge: SongEdge) -> HeardPart | None:
    """What the pulse is heard from; None where there is next to no sound."""
    whole = _mono(edge.mix)
    loud = np.abs(whole)
    audible = np.flatnonzero(loud > _SILENCE_SHARE * max(float(loud.max(initial=0.0)), 1e-9))
    if len(audible) == 0 or (audible[-1] - audible[0]) / RATE_HZ < _LEAST_HEARD_S:
        return None
    first, last = int(audible[0]), int(audible[-1]) + 1
    starts_cut = first == 0 and edge.start_s > 0
    whole = whole[first:last]
    levels, semitones = onset_levels(whole), semitone_levels(whole)
    beating = _drums(edge, first, last)
    if beating is None:
        beating, changes_of = whole, semitones
        curves = curves_of_levels(levels, starts_cut=starts_cut)
        bands, accent = curves.bands, curves.accent
    else:
        others = whole - beating
        changes_of = semitone_levels(others)
        curves = onset_curves(beating, starts_cut=starts_cut)
        rest = onset_curves(others, starts_cut=starts_cut)
        bands = curves.bands + _OTHERS_SHARE * rest.bands
        accent = curves.accent + _OTHERS_SHARE * rest.accent
    evidence = Evidence(
        bands=bands,
        changes=harmonic_change(changes_of, len(bands)),
        accent=accent,
        first_s=None if starts_cut else 0.0,
        last_s=_last_attack_s(bands),
        notes=_notes(semitones),
        opinion=opinion_on(net_input(levels, semitones.astype(np.float32))),
    )
    return HeardPart(beating=beating, evidence=evidence, start_s=edge.start_s + first / RATE_HZ)


def _drums(edge: SongEdge, first: int, last: int) -> Floats32 | None:
    """The drums, where they are a stem of their own and sound."""
    drums = edge.sum_of("drums") if edge.has_stems else None
    if drums is None:
        return None
    heard = _mono(drums)[first:last]
    return heard if float(np.abs(heard).max()) > _SILENCE_SHARE else None


def _notes(semitones: Floats) -> float:
    """How far the fourth clearest pitch class stands out of its neighbours, over their mean."""
    mean = semitones.mean(axis=0)
    above = mean - ndimage.uniform_filter1d(mean, _NEIGHBOURS, mode="nearest")
    clearest = [above[first::12].max() for first in range(12)]
    return float(np.sort(clearest)[-_N_NOTES] / max(float(mean.mean()), 1e-12))


def _last_attack_s(bands: Floats) -> float | None:
    """The last strong onset; None where the music goes on until the end."""
    total = bands.mean(axis=1)
    strong = np.flatnonzero(total > _STRONG_SHARE * np.quantile(total, _STRONG_QUANTILE))
    last_s = float(strong[-1] * HOP_S) if len(strong) else 0.0
    return last_s if len(total) * HOP_S - last_s > _STOPPED_S else None


def _mono(clip: Clip) -> Floats32:
    mixed = mono_of(clip.samples)
    return mono_at_rate(mixed, from_hz=clip.rate_hz, to_hz=RATE_HZ, quality="HQ")
