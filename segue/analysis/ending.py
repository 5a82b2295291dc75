"""How a song ends.

Four kinds, told apart by level and hits (attacks of the band):

- 'keeps going': the sound is at full level when the file stops;
- 'cold stop': after the last hit, or after a last held chord is let go, the
  level drops at once; a reverb may follow;
- 'ring-out': after the last hit the level takes its time to fall;
- 'fade': the level falls smoothly over seconds, in all bands alike, while the band plays on
  (`fade`). A last part that is only quieter is none: it ends in one of the other ways.

Applause after the end is taken away before (`applause`). Not handled: a studio
talk-over, a hidden track after minutes of silence.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.envelope import HOP_S, SILENCE_DB, Hits, hits, level_db, mono_of, smoothed_db
from segue.analysis.facts import PULSE_CONFIDENCE, Ending, EndingKind, PulseFact
from segue.analysis.fade import Decline, last_decline
from segue.analysis.last_chord import (
    UNHEARD_S,
    held_until_s,
    last_chord_s,
    outro_of,
    rung_out_s,
    soft_hits_s,
)

if TYPE_CHECKING:
    from segue.arrays import Floats, Floats32
    from segue.audio.clip import Clip, SongEdge


END_BELOW_BODY_DB: Final = 60.0
"""The sound has ended where it is this far below the body, as in reverberation time."""

# All numbers below chosen on rendered endings of known kind.
_BLOCK_S: Final = 0.4  # seconds of a block of the body
_GATE_DB: Final = 30.0  # blocks this far below the loudest are gaps, no body
_SMOOTH_HOPS: Final = 5  # hops that the level is smoothed over, 50 ms
_AT_END_HOPS: Final = 50  # hops before the end of the sound that tell whether it rang out before
_FLOOR_S: Final = 0.3  # seconds at the end of the file that may be room noise
_FLOOR_BELOW_BODY_DB: Final = 35.0  # room noise is at least so far below the body
_FLOOR_STEADY_DB: Final = 3.0  # the halves of room noise differ by less
_ABOVE_FLOOR_DB: Final = 6.0  # what stands out of room noise by this is sound
_AT_FILE_END_S: Final = 0.03  # seconds: sound that ends this near to the file's end reaches it
_CUT_BEFORE_END_S: Final = 0.35  # seconds of silence that codecs and editors leave after a cut
_LIFT_S: Final = 0.25  # seconds before and after a hit whose level is compared
_LIFT_DB: Final = 1.5  # a hit that raises the level by this is played, no echo
_LOUD_HIT_DB: Final = 12.0  # a hit less than this below the body is played, no echo
# further below the body than this a hit must lift the level by more, as below: chosen on two
# recordings of bands whose rings end in a click 30 and 45 dB below the body
_FAINT_HIT_DB: Final = 25.0
_FAINT_LIFT_DB: Final = 6.0  # such a hit that lifts the level by this is played, on the same
# chosen on the labelled half of the edges benchmark: a hit of so many decibels is no ripple
_SURE_RISE_DB: Final = 4.0
_PAUSE_S: Final = 1.0  # seconds without a hit after which a ring may have begun, on the same
_RIPPLE_DB: Final = 1.0  # a ring rises by less, over a second, on the same
_RISE_DB: Final = 3.0  # a swell rises by more from the lowest level before it
_RISE_WINDOW_S: Final = 1.0  # seconds the level is smoothed over to see a swell
_RISE_AFTER_S: Final = 1.0  # seconds after the last hit before a swell is looked for
_RISE_BELOW_BODY_DB: Final = 35.0  # a swell further below the body is not heard
_SWELL_NOTES_S: Final = 2.0  # seconds from the start of a swell in which its notes may change
_LONGEST_TAIL_S: Final = 45.0  # seconds before the end of the sound in which hits are looked for
# least rate at which the level of the lows is taken: half of it is heard
_LOW_RATE_HZ: Final = 4000
# beats of sound without a hit before soft changes of notes are looked for
_SOFT_AFTER_BEATS: Final = 2.0
_SOFT_AFTER_S: Final = 0.3  # seconds after the last hit that belong to it
# soft changes are looked for where the level is less than this below the body
_SOFT_BELOW_BODY_DB: Final = 15.0
_LONGEST_SOFT_S: Final = 10.0  # seconds of sound, its last, in which soft changes are looked for
_HELD_S: Final = 0.5  # seconds the level is smoothed over to see what is held
# seconds after the last hit: without a pulse a later letting go counts instead
_LONG_HELD_S: Final = 2.0
_HELD_BELOW_BODY_DB: Final = 6.0  # what is held is less than this below the body
_BAR_LINE_CONFIDENCE: Final = 0.7  # confidence that a file which stops at a bar line keeps going
# seconds after a bar line at which a file may stop and count as stopped there
_BAR_LINE_LATE_S: Final = 0.4
_BAR_LINE_EARLY_S: Final = 0.07  # seconds before a bar line at which a hit counts as on it
# beats from the last hit to the bar line, at most, while the band plays
_BAR_LINE_BEATS: Final = 2.1
_BAR_LINE_ALIVE_DB: Final = 25.0  # at the bar line the level is less than this below the body
_RING_FALL_DB: Final = 20.0  # fall over which a stop and a ring are told apart
_RING_FALL_S: Final = 0.38  # seconds that fall takes: longer is a ring-out, shorter a cold stop
_LEAST_RING_DB: Final = 6.0  # what has fallen by less at the file's end does not ring yet


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Tail:
    """What the kinds are told from; times in seconds from the start of the edge."""

    levels_db: Floats
    body_db: float
    beat_s: float
    last_hit_s: float
    sound_end_s: float
    reaches_file_end: bool
    low_db: Floats
    file_end_s: float
    bar_line_s: float
    decline: Decline


def hear_ending(edge: SongEdge, pulse: PulseFact) -> Ending:
    """How this edge ends.

    Parameters
    ----------
    edge : SongEdge
        The end of a song.

    Returns
    -------
    Ending
        Kind, confidence, last hit, last chord, end of sound, start of a fade or of an outro,
        in seconds from the start of the file. A silent edge is a 'cold stop' at
        its own start with no confidence.
    """
    mix = edge.mix
    raw_db = level_db(mix.samples, mix.rate_hz)
    body_db = _body_db(raw_db)
    if body_db <= SILENCE_DB:
        start_s = edge.start_s
        return Ending(kind="cold stop", confidence=0.0, last_hit_s=start_s, sound_end_s=start_s)
    end_hop = _sound_end_hop(raw_db, body_db)
    silent_s = (len(raw_db) - end_hop) * HOP_S
    sound_end_s = mix.duration_s if silent_s <= _AT_FILE_END_S else end_hop * HOP_S
    first_s = max(sound_end_s - _LONGEST_TAIL_S, 0.0)
    heard = _hits_from(mix.samples, mix.rate_hz, first_s, sound_end_s)
    beat_s = min(max(pulse.beat_s, 0.3), 1.2)
    smooth_db = smoothed_db(raw_db, _SMOOTH_HOPS)
    is_cut = silent_s <= _CUT_BEFORE_END_S  # codecs and editors leave a little
    at_end_db = float(smooth_db[max(end_hop - _AT_END_HOPS, 0) : end_hop].max(initial=SILENCE_DB))
    plays_on = is_cut and at_end_db > body_db - _FAINT_HIT_DB
    played = _struck(heard if plays_on else _played(heard, raw_db, body_db), raw_db)
    last_hit_s = _last_hit_s(mix, played, raw_db, body_db, beat_s)
    if pulse.confidence < PULSE_CONFIDENCE:
        # Without a pulse the last attack may lie far before the end of what is held.
        let_go_s = min(_let_go_s(raw_db, body_db), sound_end_s)
        last_hit_s = let_go_s if let_go_s - last_hit_s > _LONG_HELD_S else last_hit_s
    tail = _Tail(
        levels_db=smooth_db,
        body_db=body_db,
        beat_s=beat_s,
        last_hit_s=last_hit_s,
        sound_end_s=sound_end_s,
        reaches_file_end=is_cut,
        low_db=smoothed_db(_low_level_db(mix.samples, mix.rate_hz), _SMOOTH_HOPS),
        file_end_s=mix.duration_s,
        bar_line_s=_bar_line_s(pulse, edge.start_s, mix.duration_s),
        decline=last_decline(mix, raw_db, body_db, heard.times_s),
    )
    kind, confidence = _kind(tail)
    outro = outro_of(raw_db, body_db, last_hit_s) if kind != "fade" else None
    start_s, rings = edge.start_s, kind in ("ring-out", "cold stop")
    return Ending(
        kind=kind,
        confidence=confidence,
        last_hit_s=start_s + last_hit_s,
        sound_end_s=start_s + sound_end_s,
        fade_start_s=start_s + tail.decline.start_s if kind == "fade" else None,
        last_chord_s=start_s + last_chord_s(mix, last_hit_s, sound_end_s, heard.times_s),
        last_bar_line_s=_last_bar_line_s(pulse, start_s + last_hit_s),
        held_until_s=start_s + held_until_s(raw_db, last_hit_s) if rings else None,
        rung_out_s=start_s + rung_out_s(tail.low_db, last_hit_s, sound_end_s) if rings else None,
        outro_start_s=None if outro is None else start_s + outro[0],
        outro_db=0.0 if outro is None else outro[1],
    )


def _last_bar_line_s(pulse: PulseFact, last_hit_s: float) -> float | None:
    """The last bar line that is played, or just missed by the last hit."""
    played = [t for t in pulse.downbeats_s if t <= last_hit_s + _BAR_LINE_EARLY_S]
    return played[-1] if played and pulse.is_known else None


def _body_db(levels_db: Floats) -> float:
    """Level of the body: the loud blocks, not the gaps nor the end."""
    if len(levels_db) == 0:
        return SILENCE_DB
    n_hops = max(min(round(_BLOCK_S / HOP_S), len(levels_db)), 1)
    blocks = smoothed_db(levels_db, n_hops)[n_hops // 2 :: max(n_hops // 2, 1)]
    loud = blocks[blocks > blocks.max() - _GATE_DB]
    return float(np.percentile(loud, 75)) if len(loud) else float(blocks.max())


def _sound_end_hop(levels_db: Floats, body_db: float) -> int:
    """The hop after the last sound above silence, dither or room noise."""
    threshold_db = body_db - END_BELOW_BODY_DB
    last = levels_db[-max(round(_FLOOR_S / HOP_S), 1) :]
    half = len(last) // 2
    is_steady = abs(np.median(last[:half]) - np.median(last[half:])) < _FLOOR_STEADY_DB
    floor_db = float(np.median(last))
    if floor_db < body_db - _FLOOR_BELOW_BODY_DB and is_steady:
        threshold_db = max(threshold_db, floor_db + _ABOVE_FLOOR_DB)
    above = np.flatnonzero(smoothed_db(levels_db, 3) > threshold_db)
    return int(above[-1]) + 1 if len(above) else 0


def _low_level_db(samples: Floats32, rate_hz: int) -> Floats:
    """Level below about 2 kHz: chords and bass, not the cymbals that ring over a stop."""
    n_block = max(rate_hz // _LOW_RATE_HZ, 1)
    mono = mono_of(samples)
    blocks = mono_of(mono[: len(mono) // n_block * n_block].reshape(-1, n_block))
    return level_db(blocks[:, None], rate_hz // n_block)


def _hits_from(samples: Floats32, rate_hz: int, first_s: float, last_s: float) -> Hits:
    piece = samples[int(first_s * rate_hz) : int(last_s * rate_hz)]
    heard = hits(mono_of(piece), rate_hz)
    return Hits(times_s=heard.times_s + first_s, rises_db=heard.rises_db)


def _last_hit_s(mix: Clip, heard: Hits, levels_db: Floats, body_db: float, beat_s: float) -> float:
    """The last attack, or where there was none for beats, the last change of notes.

    Changes are looked for only as far as the sound is loud or swells: partials that beat in a
    decay are none.
    """
    loud_end_s = _last_above_s(smoothed_db(levels_db, _SMOOTH_HOPS), body_db - _SOFT_BELOW_BODY_DB)
    last_s = float(heard.times_s[-1]) if len(heard.times_s) else 0.0
    swell_s = _last_swell_s(levels_db, body_db, max(last_s, loud_end_s))
    until_s = loud_end_s if swell_s is None else swell_s + _SWELL_NOTES_S
    if until_s - last_s < _SOFT_AFTER_BEATS * beat_s:
        return last_s
    first_s = max(last_s + _SOFT_AFTER_S, until_s - _LONGEST_SOFT_S) - UNHEARD_S
    piece = mix.samples[int(first_s * mix.rate_hz) : int((until_s + UNHEARD_S) * mix.rate_hz)]
    soft_s = soft_hits_s(mono_of(piece), mix.rate_hz)
    found_s = first_s + float(soft_s[-1]) if len(soft_s) else last_s
    return found_s if swell_s is None else max(found_s, swell_s)


def _played(heard: Hits, levels_db: Floats, body_db: float) -> Hits:
    """Hits up to the last that is loud, or raises the level: echoes in a ring do neither.

    The fainter a hit, the more it must stand out of what rings.
    """
    reach = round(_LIFT_S / HOP_S)
    for number in range(len(heard.times_s), 0, -1):
        hop = int(heard.times_s[number - 1] / HOP_S)
        after, before = levels_db[hop : hop + reach], levels_db[max(hop - reach, 0) : hop - 1]
        if not len(after) or not len(before):
            continue
        top_db = float(smoothed_db(after, reach).max())
        lift_db = _LIFT_DB if top_db > body_db - _FAINT_HIT_DB else _FAINT_LIFT_DB
        if top_db > body_db - _LOUD_HIT_DB or top_db - float(before.mean()) > lift_db:
            return Hits(times_s=heard.times_s[:number], rises_db=heard.rises_db[:number])
    return heard


def _struck(heard: Hits, levels_db: Floats) -> Hits:
    """Hits without the ripples of a ring, which rise over many bands at once, but weakly.

    A ring never rises, whatever is played does: where weak hits follow a pause and the level,
    over a second, only falls from before the pause to the last of them, nobody has played.
    """
    slow_db = smoothed_db(levels_db, round(_RISE_WINDOW_S / HOP_S))
    sure = np.flatnonzero(heard.rises_db >= _SURE_RISE_DB)
    for number in range(int(sure[-1]) + 1 if len(sure) else 1, len(heard.times_s)):
        before_s, last_s = heard.times_s[number - 1], heard.times_s[-1]
        if heard.times_s[number] - before_s < _PAUSE_S:
            continue
        ring = slow_db[int((before_s + _PAUSE_S) / HOP_S) : int((last_s + _PAUSE_S) / HOP_S) + 1]
        if len(ring) and np.max(ring - np.minimum.accumulate(ring)) < _RIPPLE_DB:
            return Hits(times_s=heard.times_s[:number], rises_db=heard.rises_db[:number])
    return heard


def _last_swell_s(levels_db: Floats, body_db: float, after_s: float) -> float | None:
    """Where the level last begins to rise after a time; None where it only falls.

    What rings never rises; a soft last part does, however far it is below the body.
    """
    slow_db = smoothed_db(levels_db, round(_RISE_WINDOW_S / HOP_S))
    after = slow_db[int((after_s + _RISE_AFTER_S) / HOP_S) :]
    if len(after) == 0:
        return None
    low = np.minimum.accumulate(after)
    has_risen = (after - low > _RISE_DB) & (after > body_db - _RISE_BELOW_BODY_DB)
    begins = np.flatnonzero(has_risen & ~np.concatenate([[False], has_risen[:-1]]))
    return after_s + _RISE_AFTER_S + float(begins[-1]) * HOP_S if len(begins) else None


def _let_go_s(levels_db: Floats, body_db: float) -> float:
    """Where a held sound is let go: it is last as loud as the body, over half a second."""
    slow_db = smoothed_db(levels_db, round(_HELD_S / HOP_S))
    return _last_above_s(slow_db, body_db - _HELD_BELOW_BODY_DB)


def _kind(tail: _Tail) -> tuple[EndingKind, float]:
    """Kind and confidence."""
    if tail.decline.is_fade:
        return "fade", tail.decline.confidence
    if _stops_on_bar_line(tail):
        return "keeps going", _BAR_LINE_CONFIDENCE
    fall_s, fallen_db = _fall(tail)
    if tail.reaches_file_end and fallen_db < _RING_FALL_DB:
        quiet_s = tail.sound_end_s - tail.last_hit_s
        rings = quiet_s > 1.5 * tail.beat_s and fallen_db > _LEAST_RING_DB
        if not rings:
            # Either reason is enough: it has hardly fallen, or the band has only just played.
            still_loud, just_hit = _LEAST_RING_DB - fallen_db, 1.5 - quiet_s / tail.beat_s
            return "keeps going", _confidence(max(still_loud / 6.0, just_hit), 1.0)
        return "ring-out", _confidence(fallen_db - _LEAST_RING_DB, 6.0)
    if fall_s > _RING_FALL_S:
        return "ring-out", _confidence(np.log2(fall_s / _RING_FALL_S), 1.0)
    return "cold stop", _confidence(np.log2(_RING_FALL_S / max(fall_s, 0.02)), 1.0)


def _stops_on_bar_line(tail: _Tail) -> bool:
    """Whether the file stops at a bar line that is not played, as a loop does."""
    late_s = tail.file_end_s - tail.bar_line_s
    before_s = tail.bar_line_s - tail.last_hit_s
    if not 0.0 <= late_s < _BAR_LINE_LATE_S:
        return False
    if not _BAR_LINE_EARLY_S < before_s < _BAR_LINE_BEATS * tail.beat_s:
        return False
    hop = int((tail.bar_line_s - _BAR_LINE_EARLY_S) / HOP_S)
    return bool(tail.levels_db[hop] > tail.body_db - _BAR_LINE_ALIVE_DB)


def _bar_line_s(pulse: PulseFact, start_s: float, end_s: float) -> float:
    """The last bar line before the file ends, counted on from the last downbeat heard."""
    if not pulse.downbeats_s or pulse.confidence < PULSE_CONFIDENCE:
        return -1.0
    bar_s = pulse.metre * pulse.beat_s
    last_s = pulse.downbeats_s[-1] - start_s
    return last_s + bar_s * max(math.floor((end_s - last_s + 0.02) / bar_s), 0)


def _fall(tail: _Tail) -> tuple[float, float]:
    """Seconds the last chord takes to fall 20 dB once it falls, and how far it falls in all."""
    first = int(tail.last_hit_s / HOP_S)
    last = max(int(tail.sound_end_s / HOP_S), first + 1)
    levels = tail.low_db[min(first, len(tail.low_db) - 1) : last]
    top_db = float(levels[: max(round(0.15 / HOP_S), 1)].max())
    held = np.flatnonzero(levels > top_db - 3.0)
    hold = int(held[-1]) if len(held) else 0
    fallen = np.flatnonzero(levels[hold:] < top_db - _RING_FALL_DB)
    fall = int(fallen[0]) if len(fallen) else len(levels) - hold
    return fall * HOP_S, top_db - float(levels[-3:].mean())


def _last_above_s(levels_db: Floats, threshold_db: float) -> float:
    above = np.flatnonzero(levels_db > threshold_db)
    return float(above[-1]) * HOP_S if len(above) else 0.0


def _confidence(margin: float, scale: float) -> float:
    """0.5 at the border between two kinds, towards 1 on the safe side, towards 0 beyond it."""
    return float(1.0 / (1.0 + np.exp(-3.0 * margin / scale)))
