"""Whether the singer is heard at all: the voice's partials over the whole of what is sung.

At the partials that the voice has to itself in the plan, its sound stands out of what is beside
them. How far it does so in the take is told between how far it does in the plan and how far the
band alone does there: 1 is all of it, 0 a band without a singer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.pitch_track import TRACK_HOP_S, at_track_rate, pitch_track, voice_band
from segue.audio.clip import Clip
from segue.review.partial_levels import partial_hz, partial_levels, read_at, spectra
from segue.review.voice import lead_of, source_times

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from segue.audio.clip import SongEdge
    from segue.runfolder import CandidateRecord, RunDocument

    Floats = npt.NDArray[np.float64]

_HOP_S: Final = 0.03  # from reading to reading; by judgement
_CLEAR: Final = 0.8  # clarity of a pitch that is believed; by judgement
_LEAST_SHARE: Final = 0.5  # of the sound at a partial that is the voice's; by judgement
_LEAST_READINGS: Final = 20  # fewer tell nothing: 0.6 s of singing; by judgement
_CENTS: Final = np.arange(-160.0, 161.0, 10.0)
"""A singer may be off by so much, and is heard nevertheless (by judgement)."""
# And late or early by so much; by judgement
_LATE_S: Final = (-0.3, -0.2, -0.1, 0.0, 0.1, 0.2, 0.3)
# Steps of the lateness of a phrase, and how many to each side, as far as an entry is looked
# for; by judgement
_PHRASE_STEP_S, _PHRASE_REACH = 0.04, 8
# Beside a partial, where its own peak is over; by judgement
_BESIDE_HZ: Final = np.concatenate([np.arange(-80.0, -34.0, 9.0), np.arange(35.0, 81.0, 9.0)])
_MOST_DB: Final = 18.0  # a partial that stands out by more counts no more; by judgement
ABSENT_BELOW: Final = 0.5
"""Of the voice's presence: less is no singer. On odd seeds of `benchmarks/review.py` singers had
.63 and more, also late and flat and through a phone; bands without one .36 at most."""
_TINY: Final = 1e-9  # keeps the logarithm of silence finite


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SungPart:
    """What the plan has the singer sing, in seconds of the render.

    Parameters
    ----------
    at_s : ndarray, shape (n_readings,)
        Times at which the voice sounds.
    midi : ndarray, shape (n_readings,)
        Its pitch in the render.
    weights : ndarray, shape (n_readings, N_PARTIALS)
        Of the partials: how much of the sound there is the voice's.
    sung_db, band_db : float
        How far its partials stand out in the song, and in the song without it.
    """

    at_s: Floats
    midi: Floats
    weights: Floats
    sung_db: float
    band_db: float


def sung_part(
    document: RunDocument, record: CandidateRecord, edge: SongEdge | None
) -> SungPart | None:
    """What the plan has the singer sing, from the first note to the end.

    Parameters
    ----------
    edge : SongEdge or None
        The incoming song, as from `incoming_edge`.

    Returns
    -------
    SungPart or None
        None where the plan has no singer, or the voice is no stem that is still at hand.
    """
    note = document.incoming.first_note
    if record.singer_s is None or note is None:
        return None
    lead = lead_of(edge)
    if edge is None or lead is None:
        return None
    at_s = np.arange(record.singer_s, record.plan.duration_s - 0.1, _HOP_S)
    source_s = source_times(record.plan, at_s, record.singer_s, note.time_s)
    midi = _pitch(lead, source_s)
    known = np.isfinite(midi) & (np.gradient(source_s) > 0)
    if known.sum() < _LEAST_READINGS:
        return None
    at_s, source_s, midi = at_s[known], source_s[known], midi[known]
    n_frames = min(lead.n_frames, edge.mix.n_frames)
    band = Clip(samples=edge.mix.samples[:n_frames] - lead.samples[:n_frames], rate_hz=lead.rate_hz)
    voice = np.square(partial_levels(lead, source_s, midi))
    whole = voice + np.square(partial_levels(band, source_s, midi))
    share = voice / np.maximum(whole, _TINY**2)
    weights = np.where(share > _LEAST_SHARE, share**2 * np.sqrt(voice), 0.0)
    if not weights.any():
        return None
    sides = [_outstanding_db(clip, source_s, midi, weights) for clip in (edge.mix, band)]
    return SungPart(
        at_s=at_s,
        midi=midi + record.plan.incoming_shift_semitones,
        weights=weights,
        sung_db=sides[0],
        band_db=sides[1],
    )


def presence(
    part: SungPart, take: Clip, take_s_at: Callable[[float], float], tuning_cents: float
) -> float | None:
    """How much of the singer is heard in a recording.

    Parameters
    ----------
    take_s_at : callable
        Seconds of the recording of a time of the render.
    tuning_cents : float
        How far the recording is above the render.

    Returns
    -------
    float or None
        0 for a band without a singer, 1 for the singer of the plan, as they stand out; None
        where less than `_LEAST_READINGS` of it is in the recording, or the plan's voice hardly
        stands out.
    """
    at_s = np.array([take_s_at(float(s)) for s in part.at_s])
    inside = (at_s > 0.4) & (at_s < take.duration_s - 0.4)  # noqa: PLR2004 - an entry's reach
    over_db = part.sung_db - part.band_db
    if inside.sum() < _LEAST_READINGS or over_db < 1.0:
        return None
    heard_db = _outstanding_db(
        take, at_s[inside], part.midi[inside] + tuning_cents / 100, part.weights[inside]
    )
    return (heard_db - part.band_db) / over_db


def phrase_late_s(
    part: SungPart, take: Clip, take_s_at: Callable[[float], float], tuning_cents: float
) -> float | None:
    """How late the whole of what is sung is: where its partials stand out most.

    Nearer than `_PHRASE_STEP_S` it cannot tell; but it is never another note.

    Returns
    -------
    float or None
        None where too little of it is in the recording.
    """
    at_s = np.array([take_s_at(float(s)) for s in part.at_s])
    inside = (at_s > 0.4) & (at_s < take.duration_s - 0.4)  # noqa: PLR2004 - an entry's reach
    if inside.sum() < _LEAST_READINGS:
        return None
    midi, weights = part.midi[inside] + tuning_cents / 100, part.weights[inside]
    shifts_s = np.arange(-_PHRASE_REACH, _PHRASE_REACH + 1) * _PHRASE_STEP_S
    over = [_over_db(take, at_s[inside] + shift, midi, weights) for shift in shifts_s]
    return float(shifts_s[int(np.argmax(over))])


def _pitch(lead: Clip, source_s: Floats) -> Floats:
    """Pitch of the lead where it is clear; else not a number."""
    first = max(round((source_s[0] - 0.1) * lead.rate_hz), 0)
    last = round((source_s[-1] + 0.1) * lead.rate_hz)
    piece = Clip(samples=lead.samples[first:last], rate_hz=lead.rate_hz)
    track = pitch_track(voice_band(at_track_rate(piece)))
    hops = np.rint((source_s - first / lead.rate_hz) / TRACK_HOP_S).astype(int)
    near = np.clip(hops, 0, len(track.midi) - 1)
    return np.where(track.clarity[near] > _CLEAR, track.midi[near], np.nan)


def _outstanding_db(clip: Clip, at_s: Floats, midi: Floats, weights: Floats) -> float:
    """How far partials stand out of what is beside them, at the best pitch and lateness."""
    return max(_over_db(clip, at_s + late_s, midi, weights) for late_s in _LATE_S)


def _over_db(clip: Clip, at_s: Floats, midi: Floats, weights: Floats) -> float:
    """How far partials stand out of what is beside them, at the best pitch."""
    magnitudes = spectra(clip, at_s)
    hz = partial_hz(midi[:, None] + _CENTS / 100)
    levels = 20 * np.log10(read_at(magnitudes, hz) + _TINY)
    beside_hz = partial_hz(midi)[..., None] + _BESIDE_HZ
    beside = 20 * np.log10(np.median(read_at(magnitudes, beside_hz), axis=-1) + _TINY)
    over = np.clip(levels - beside[:, None, :], -_MOST_DB, _MOST_DB)
    return float((np.einsum("hcp,hp->c", over, weights) / weights.sum()).max())
