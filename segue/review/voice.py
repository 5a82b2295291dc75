"""What the plan has the singer sing: pitch over time, and where the voice stands out.

Where the incoming song's voice or lead is a stem of its own that is still at hand, its
first phrase is tracked; otherwise the first note that the run knows stands for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.pitch_track import TRACK_HOP_S, at_track_rate, pitch_track, voice_band
from segue.audio.clip import Clip, SongEdge
from segue.plan.layer import SongLayer
from segue.review.partials import LEAST_READINGS, N_PARTIALS, outstanding_db, partial_levels
from segue.review.stems import StemLevels, stem_levels, template_times

if TYPE_CHECKING:
    from segue.arrays import Flags, Floats
    from segue.plan.plan import Plan
    from segue.runfolder import CandidateRecord, RunDocument


HOP_S: Final = 0.01  # seconds a step of the voice's pitch; by judgement
LONGEST_PHRASE_S: Final = 5.0  # no more of a phrase is followed; by judgement
FIRST_NOTE_S: Final = 0.6  # no more counts as the first note; by judgement
_BREATH_S: Final = 0.3  # a silence that ends the phrase; by judgement
_CLEAR: Final = 0.8  # clarity of a pitch that is believed; by judgement
_SAME_NOTE_SEMITONES: Final = 0.6  # further off it is the next note; by judgement
# Pitches within twice this of the first note are believed; by judgement
_NEAR_SEMITONES: Final = 7.0
_SUNG_HOP_S: Final = 0.03  # from reading to reading of all that is sung; by judgement
_OWN_SHARE: Final = 0.5  # of the sound at a partial that is the voice's; by judgement
_UNKNOWN_SHARE: Final = 0.5  # of the voice in each partial, where no stem tells it; by judgement


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlannedVoice:
    """The planned first phrase, in seconds of the render.

    Parameters
    ----------
    at_s : ndarray, shape (n_hops,)
        Every `HOP_S`, from the first note's attack.
    midi : ndarray, shape (n_hops,)
        Pitch; not a number where nothing is sung.
    share : ndarray, shape (n_hops, N_PARTIALS)
        0 to 1: how much of the sound at each partial is the voice's.
    level : ndarray, shape (n_hops, N_PARTIALS)
        Magnitude of the voice at each partial, the strongest 1 in all.
    n_first : int
        Hops of the first note.
    is_tracked : bool
        Whether a stem was at hand, so that the whole phrase is known.
    stems : StemLevels or None
        The first note's partials in the voice's stem and in the others, where they are at hand.
    """

    at_s: Floats
    midi: Floats
    share: Floats
    level: Floats
    n_first: int
    is_tracked: bool
    stems: StemLevels | None = None


def planned_voice(
    document: RunDocument, record: CandidateRecord, edge: SongEdge | None
) -> PlannedVoice | None:
    """What the plan has the singer sing first.

    None where the plan has no singer.

    Parameters
    ----------
    edge : SongEdge or None
        The incoming song, as from `edge_at_hand`.
    """
    note = document.incoming.first_note
    if record.singer_s is None or note is None:
        return None
    shift = record.plan.incoming_shift_semitones
    lead = lead_of(edge)
    if edge is None or lead is None:
        return _first_note_alone(record.singer_s, note.midi)
    at_s = record.singer_s + np.arange(0.0, LONGEST_PHRASE_S, HOP_S)
    at_s = at_s[at_s < record.plan.duration_s]
    source_s = source_times(record.plan, at_s, record.singer_s, note.time_s)
    midi = _tracked(lead, source_s, note.midi - shift)
    if not np.isfinite(midi).any():
        return _first_note_alone(record.singer_s, note.midi)
    share, level = _shares(lead, edge.mix, source_s, midi)
    n_first = _first_note_hops(midi)
    stems = stem_levels(
        lead,
        edge.mix,
        source_times(record.plan, template_times(record.singer_s), record.singer_s, note.time_s),
        float(np.nanmedian(midi[:n_first])),
    )
    return PlannedVoice(
        at_s=at_s[: len(midi)],
        midi=midi + shift,
        share=share,
        level=level,
        n_first=n_first,
        is_tracked=True,
        stems=stems,
    )


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
        The incoming song, as from `edge_at_hand`.

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
    at_s = np.arange(record.singer_s, record.plan.duration_s - 0.1, _SUNG_HOP_S)
    source_s = source_times(record.plan, at_s, record.singer_s, note.time_s)
    midi = _lead_pitch(lead, source_s)
    known = np.isfinite(midi) & (np.gradient(source_s) > 0)
    if known.sum() < LEAST_READINGS:
        return None
    at_s, source_s, midi = at_s[known], source_s[known], midi[known]
    n_frames = min(lead.n_frames, edge.mix.n_frames)
    band = Clip(samples=edge.mix.samples[:n_frames] - lead.samples[:n_frames], rate_hz=lead.rate_hz)
    voice = np.square(partial_levels(lead, source_s, midi))
    whole = voice + np.square(partial_levels(band, source_s, midi))
    share = voice / np.maximum(whole, 1e-18)
    weights = np.where(share > _OWN_SHARE, share**2 * np.sqrt(voice), 0.0)
    if not weights.any():
        return None
    sides = [outstanding_db(clip, source_s, midi, weights) for clip in (edge.mix, band)]
    return SungPart(
        at_s=at_s,
        midi=midi + record.plan.incoming_shift_semitones,
        weights=weights,
        sung_db=sides[0],
        band_db=sides[1],
    )


def source_times(plan: Plan, at_s: Floats, singer_s: float, note_s: float) -> Floats:
    """Seconds of the incoming song at times of the render, by the layer that carries the singer."""
    beats = np.array([plan.beat_at(float(s)) for s in at_s])
    singer_beat = plan.beat_at(singer_s)
    carrying = [
        layer
        for layer in plan.layers
        if isinstance(layer, SongLayer)
        and layer.song == "incoming"
        and layer.start_beat <= singer_beat < layer.end_beat
    ]
    if carrying:
        # A tease of the song may end just there; the song itself plays on.
        layer = max(carrying, key=lambda layer: layer.end_beat)
        mapped = np.array([(point.beat, point.source_s) for point in layer.time_map])
        times: Floats = np.interp(beats, mapped[:, 0], mapped[:, 1])
        return times
    return note_s + at_s - singer_s


def lead_of(edge: SongEdge | None) -> Clip | None:
    """The stem of who sings, or else of what leads; None where none is at hand."""
    return None if edge is None else edge.sum_of("voice") or edge.sum_of("lead")


def _first_note_alone(singer_s: float, midi: float) -> PlannedVoice:
    n_hops = round(FIRST_NOTE_S / HOP_S)
    at_s: Floats = singer_s + np.arange(float(n_hops)) * HOP_S
    return PlannedVoice(
        at_s=at_s,
        midi=np.full(n_hops, midi),
        share=np.full((n_hops, N_PARTIALS), _UNKNOWN_SHARE),
        level=np.broadcast_to(1.0 / np.arange(1, N_PARTIALS + 1), (n_hops, N_PARTIALS)),
        n_first=n_hops,
        is_tracked=False,
    )


def _tracked(lead: Clip, source_s: Floats, first_midi: float) -> Floats:
    """Pitch of the lead up to its first breath; not a number where it is unclear."""
    midi = _lead_pitch(lead, source_s)
    with np.errstate(invalid="ignore"):
        clear = np.abs(midi - first_midi) < 2 * _NEAR_SEMITONES
    return np.where(clear, midi, np.nan)[: _phrase_hops(clear)]


def _lead_pitch(lead: Clip, source_s: Floats) -> Floats:
    """Pitch of the lead at times of its song where it is clear; else not a number."""
    first = max(round((source_s[0] - 0.1) * lead.rate_hz), 0)
    last = round((source_s[-1] + 0.1) * lead.rate_hz)
    piece = Clip(samples=lead.samples[first:last], rate_hz=lead.rate_hz)
    track = pitch_track(voice_band(at_track_rate(piece)))
    hops = np.rint((source_s - first / lead.rate_hz) / TRACK_HOP_S).astype(int)
    near = np.clip(hops, 0, len(track.midi) - 1)
    return np.where(track.clarity[near] > _CLEAR, track.midi[near], np.nan)


def _phrase_hops(clear: Flags) -> int:
    """Hops up to the first breath."""
    n_breath = round(_BREATH_S / HOP_S)
    silent = 0
    for hop, is_clear in enumerate(clear):
        silent = 0 if is_clear else silent + 1
        if silent >= n_breath and clear[:hop].any():
            return hop - n_breath + 1
    return len(clear)


def _first_note_hops(midi: Floats) -> int:
    """Hops of the note that the phrase starts with."""
    known = np.flatnonzero(np.isfinite(midi))
    settled = midi[known[min(len(known) - 1, round(0.12 / HOP_S))]]
    away = known[np.abs(midi[known] - settled) > _SAME_NOTE_SEMITONES]
    away = away[away > round(0.15 / HOP_S)]
    return int(min(away[0] if len(away) else len(midi), round(FIRST_NOTE_S / HOP_S)))


def _shares(lead: Clip, mix: Clip, source_s: Floats, midi: Floats) -> tuple[Floats, Floats]:
    """Power of the voice in the power of all at each of its partials, and its magnitude."""
    at_s = source_s[: len(midi)]
    filled = np.where(np.isfinite(midi), midi, np.nanmedian(midi))
    voice = partial_levels(lead, at_s, filled)
    everything = partial_levels(mix, at_s, filled)
    share = np.clip(np.square(voice) / np.maximum(np.square(everything), 1e-12), 0.0, 1.0)
    known = np.isfinite(midi)[:, None]
    return np.where(known, share, 0.0), voice / max(float(voice.max()), 1e-12)
