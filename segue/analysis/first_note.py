"""The first sung or lead note of a stem.

A note is a run of hops that are periodic, steady in pitch and near the level of
the phrase: what bleeds in from other instruments is well below it. Pitch is the
median of its steady part. The attack is where the sound of the note begins: a
scoop belongs to it, a breath before it does not.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.envelope import SILENCE_DB, level_db, smoothed_db
from segue.analysis.facts import FirstNote
from segue.analysis.pitch_track import (
    TRACK_HOP_S,
    TRACK_RATE_HZ,
    at_track_rate,
    is_monophonic,
    pitch_track,
    voice_band,
)
from segue.music.key import hertz_of

if TYPE_CHECKING:
    from segue.analysis.pitch_track import PitchTrack
    from segue.arrays import Flags, Floats, Floats32
    from segue.audio.clip import Clip, SongEdge


# All numbers below chosen on rendered voices and leads of known pitch and attack.
_SILENT_DB: Final = -70.0  # re full scale: what never gets louder is silence
_NOTE_BELOW_PHRASE_DB: Final = 13.0  # a clear pitch at less than this below the phrase is a note
_TAIL_HOPS: Final = 20  # hops around a note that belong to it
_SOUNDING_BELOW_PHRASE_DB: Final = 60.0  # what is further below the phrase is silence
_LEAST_BLEED_HOPS: Final = 60  # with fewer hops between notes no bleed can be heard
_BLEED_BELOW_PHRASE_DB: Final = 38.0  # what sounds between notes above this is bleed
_GATE_WITH_BLEED_DB: Final = 10.0  # below the phrase: a note's least level where others bleed in
_GATE_CLEAN_DB: Final = 18.0  # below the phrase: a note's least level in a clean stem
_LOUD_PERCENTILE: Final = 97.0  # of the levels of clear hops: that of the phrase
_CLEAR: Final = 0.7  # least clarity of a note, and share of steady hops of an octave
_LARGEST_STEP_SEMITONES: Final = 0.8  # from hop to hop: a larger one is a leap to a new note
_LEAST_NOTE_S: Final = 0.06  # seconds that a note lasts at least
_OCTAVE_HOPS: Final = 36  # hops of a run, at most, that may be a reed's start
_OCTAVE_AFTER_HOPS: Final = 20  # hops after it that must be steady an octave above
_OCTAVE_SEMITONES: Final = 0.3  # most by which those may miss their median or the octave
_SWELL_DB: Final = 8.0  # most that a note may be softer where it has begun to swell
_SWELL_HOPS: Final = 60  # most hops that a note is drawn back by
_SWELL_CLEAR: Final = 0.6  # least clarity of a swell
_STEADY_FROM_S: Final = 0.06  # seconds of scoop that are left out at the start of a steady part
_STEADY_TO_S: Final = 0.6  # seconds of a run in which the note's pitch is read
_LEAST_STEADY_S: Final = 0.1  # seconds that the steady part of a note has at least
_FIT_SEMITONES: Final = 0.1  # grid of the pitches that a line with few steps may take
_STEP_COST: Final = 9.0  # what a step of that line costs, in semitones summed over hops
# seconds before the first clear hop in which the attack is looked for
_ATTACK_REACH_S: Final = 0.15
_ATTACK_BELOW_DB: Final = 14.0  # an attack is where the level passes this below the note
_ATTACK_RISE_SHARE: Final = 0.4  # or this share of the way up, in dB, from what sounds before it
_FINE_HOP_S: Final = 0.002  # seconds from level to level for the attack


def hear_first_note(edge: SongEdge) -> FirstNote | None:
    """First note of the voice, of the lead, or of a file that is one voice alone.

    Parameters
    ----------
    edge : SongEdge
        The start of a song.

    Returns
    -------
    FirstNote or None
        None where neither stem is given, or it is silent.
    """
    if not edge.has_stems:
        return first_note_of(edge.mix) if is_monophonic(edge.mix) else None
    for role in ("voice", "lead"):
        clip = edge.sum_of(role)
        if clip is not None:
            note = first_note_of(clip)
            if note is not None:
                return note
    return None


def first_note_of(clip: Clip) -> FirstNote | None:
    """First note of a stem that one voice carries.

    None where no note is heard.

    Parameters
    ----------
    clip : Clip
        A voice or lead, perhaps with other instruments faintly behind it.
    """
    band = voice_band(at_track_rate(clip))
    levels_db = smoothed_db(level_db(band[:, None], TRACK_RATE_HZ, hop_s=TRACK_HOP_S), 5)
    if len(levels_db) == 0 or levels_db.max() < _SILENT_DB:
        return None
    track = pitch_track(band)
    n = min(len(levels_db), len(track.midi))
    if not np.any(track.clarity[:n] > _CLEAR):
        return None
    gate_db = _gate_db(levels_db[:n], track.clarity[:n])
    runs = _note_runs(track, levels_db[:n] > gate_db)
    if not runs:
        return None
    first, last = runs[0]
    first = _drawn_back(track, levels_db, first)
    midi = _spoken_octave(track, last, _settled_midi(track, first, last), last - first)
    time_s = _attack_s(band, levels_db, (first, last), midi)
    return FirstNote(
        midi=midi,
        time_s=clip.start_s + time_s,
        confidence=float(np.median(track.clarity[first:last])),
    )


def _gate_db(levels_db: Floats, clarity: Floats) -> float:
    """Level above which a clear pitch belongs to the voice.

    Where other instruments sound between the notes, only what is near the level
    of the phrase is the voice; a clean stem may begin far more softly.
    """
    is_clear = clarity > _CLEAR
    phrase_db = float(np.percentile(levels_db[is_clear], _LOUD_PERCENTILE))
    is_note = is_clear & (levels_db > phrase_db - _NOTE_BELOW_PHRASE_DB)
    near_note = np.convolve(is_note, np.ones(2 * _TAIL_HOPS + 1), "same") > 0
    between_db = levels_db[~near_note & (levels_db > phrase_db - _SOUNDING_BELOW_PHRASE_DB)]
    has_bleed = (
        len(between_db) > _LEAST_BLEED_HOPS
        and np.median(between_db) > phrase_db - _BLEED_BELOW_PHRASE_DB
    )
    return phrase_db - (_GATE_WITH_BLEED_DB if has_bleed else _GATE_CLEAN_DB)


def _note_runs(track: PitchTrack, loud: Flags) -> list[tuple[int, int]]:
    """Runs of loud, clear hops without leaps, long enough to be notes."""
    n = len(loud)
    good = loud & (track.clarity[:n] > _CLEAR)
    steps = np.abs(np.diff(track.midi[:n], prepend=track.midi[0]))
    starts_new = good & (~np.concatenate([[False], good[:-1]]) | (steps > _LARGEST_STEP_SEMITONES))
    number = np.cumsum(starts_new)
    runs = []
    for start in np.flatnonzero(starts_new):
        same = (number[start:] == number[start]) & good[start:]
        length = len(same) if same.all() else int(np.argmin(same))
        if length * TRACK_HOP_S >= _LEAST_NOTE_S:
            runs.append((int(start), int(start) + length))
            break
    return runs


def _drawn_back(track: PitchTrack, levels_db: Floats, first: int) -> int:
    """Where a note that swells has begun: while pitch goes on without a leap or a fall away."""
    lowest_db = levels_db[first] - _SWELL_DB
    earliest = max(first - _SWELL_HOPS, 1)
    while (
        first > earliest
        and track.clarity[first - 1] > _SWELL_CLEAR
        and levels_db[first - 1] > lowest_db
        and abs(track.midi[first] - track.midi[first - 1]) < _LARGEST_STEP_SEMITONES
    ):
        first -= 1
    return first


def _settled_midi(track: PitchTrack, first: int, last: int) -> float:
    """Median over the first note of a run of hops, without its scoop."""
    midi = track.midi[first : min(last, first + round(_STEADY_TO_S / TRACK_HOP_S))]
    edges = _changes(midi)
    for begin, end in pairwise(edges):
        if (end - begin) * TRACK_HOP_S >= _LEAST_STEADY_S:
            break
    else:
        begin, end = 0, len(midi)
    settled = min(begin + round(_STEADY_FROM_S / TRACK_HOP_S), (begin + end) // 2)
    return float(np.median(midi[settled:end]))


def _spoken_octave(track: PitchTrack, last: int, midi: float, n_hops: int) -> float:
    """The pitch, or the one an octave above where a reed's short start breaks into it."""
    after = slice(last + 2, last + 2 + _OCTAVE_AFTER_HOPS)
    if n_hops > _OCTAVE_HOPS or len(track.midi[after]) < _OCTAVE_AFTER_HOPS:
        return midi
    higher = float(np.median(track.midi[after]))
    steady = np.abs(track.midi[after] - higher) < _OCTAVE_SEMITONES
    is_octave = abs(higher - midi - 12.0) < _OCTAVE_SEMITONES and bool(steady.mean() > _CLEAR)
    return higher if is_octave else midi


def _changes(midi: Floats) -> list[int]:
    """Borders of the notes in a run: the steps of the best fit by a line with few steps."""
    levels = np.arange(midi.min(), midi.max() + _FIT_SEMITONES, _FIT_SEMITONES)
    cost = np.zeros(len(levels))
    came_from = np.empty((len(midi), len(levels)), dtype=np.int64)
    for hop, pitch in enumerate(midi):
        best = int(np.argmin(cost))
        is_new = cost[best] + _STEP_COST < cost
        came_from[hop] = np.where(is_new, best, np.arange(len(levels)))
        cost = np.where(is_new, cost[best] + _STEP_COST, cost)
        cost = cost + np.minimum(np.abs(pitch - levels), 1.0)
    edges, at = [len(midi)], int(np.argmin(cost))
    for hop in range(len(midi) - 1, 0, -1):
        if came_from[hop, at] != at:
            edges.append(hop)
        at = int(came_from[hop, at])
    return [0, *reversed(edges)]


def _attack_s(band: Floats32, levels_db: Floats, hops: tuple[int, int], midi: float) -> float:
    """Where the level last rises out of what was before the first clear hop.

    14 dB below the note, or where something sounds before it, some way up from
    that. The level is a mean over a period of the note, for a low voice is
    silent between its pulses.
    """
    first, last = hops
    period_s = 1.0 / hertz_of(midi)
    top_db = float(levels_db[first : min(last, first + round(0.2 / TRACK_HOP_S))].max())
    begin_s = max(first * TRACK_HOP_S - _ATTACK_REACH_S, 0.0)
    piece = band[round(begin_s * TRACK_RATE_HZ) : round((first + 4) * TRACK_HOP_S * TRACK_RATE_HZ)]
    n_smooth = max(round(period_s / _FINE_HOP_S), 3)
    fine_db = smoothed_db(level_db(piece[:, None], TRACK_RATE_HZ, hop_s=_FINE_HOP_S), n_smooth)
    before = fine_db[: max(round((first * TRACK_HOP_S - begin_s - 0.04) / _FINE_HOP_S), 1)]
    before_db = float(np.percentile(before, 25)) if begin_s > 0 else SILENCE_DB
    threshold_db = max(
        top_db - _ATTACK_BELOW_DB, before_db + _ATTACK_RISE_SHARE * (top_db - before_db)
    )
    below = np.flatnonzero(fine_db < threshold_db)
    at = int(below[-1]) + 1 if len(below) else 0
    return begin_s + at * _FINE_HOP_S
