"""What all kinds of layers have in common: filters, gain, pan and the two sends.

Every curve is laid out frame by frame before it acts, so that nothing moves in
blocks and no zipper noise arises. Sends branch off after gain and pan; what
comes back rings on to the end of the plan.

The hall is stereo and wet only. The echo repeats on the beat while the tempo moves:
what sounds at beat b comes back at b + k x the distance, k = 1, 2, ... A delay of
fixed time would leave the beat on a ramp, one of moving time would bend the
pitch. So the send is taken in pieces of half a beat, each copied whole to where
its start belongs; where the tempo holds, pieces are one and nothing is joined.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.adapters import run_board
from segue.audio.clip import Clip
from segue.render.layer_sound import (
    SILENCE_DB,
    amplified,
    cutoffs_along,
    faded,
    gains_along,
    values_along,
)
from segue.render.moving_filter import highpassed, lowpassed
from segue.render.stretch import JOIN_FROM_S, JOIN_TO_S

if TYPE_CHECKING:
    from pedalboard import Pedalboard

    from segue.arrays import Floats, Floats32, Ints
    from segue.plan.layer import Curve, Shaping
    from segue.plan.plan import Plan
    from segue.render.layer_sound import LayerSound, Ruler


REPEAT_DB: Final = -4.5
"""Each repeat against the one before; the first is as loud as the send. Set by judgement."""
DARKER_HZ: Final = 4_500.0
"""Cutoff, 6 dB an octave, that each repeat passes once more; set by judgement."""
ECHO_FROM_HZ: Final = 150.0
"""Bass is kept out of the echo, so that two bass lines never overlap through it."""
PIECE_BEATS: Final = 0.5  # a delay that moves with the tempo is followed in pieces of this length
_DOWN_TO_DB: Final = -60.0  # repeats of an echo are drawn down to here; by judgement
_SAME_FRAMES: Final = 1  # pieces whose delays differ by no more are one


def echoes(
    send: Floats32, plan: Plan, rate_hz: int, first_frame: int, echo_beats: float
) -> Floats32:
    """What comes back from the echo.

    Parameters
    ----------
    send : ndarray, shape (n_frames, n_channels), float32
        With zeros after the sound for as long as the repeats may ring.
    plan : Plan
        Whose beats the repeats keep to.
    first_frame : int
        Where the send starts, in frames of the plan.
    echo_beats : float
        From one repeat to the next.

    Returns
    -------
    ndarray, shape (n_frames, n_channels), float32
    """
    from scipy.signal import butter, sosfilt

    out = np.zeros(send.shape, dtype=np.float64)
    sounding = np.flatnonzero(send.any(axis=1))
    if not len(sounding):
        return out.astype(np.float32)
    begin, end = int(sounding[0]), int(sounding[-1]) + 1
    ring = min(end + round(0.05 * rate_hz), len(send))
    thin = butter(2, ECHO_FROM_HZ, "highpass", fs=rate_hz, output="sos")
    darker = butter(1, min(DARKER_HZ, 0.45 * rate_hz), fs=rate_hz, output="sos")
    sound = sosfilt(thin, send[begin:ring].astype(np.float64), axis=0)
    edges_beats = _edges_beats(
        plan, (first_frame + begin) / rate_hz, (first_frame + ring) / rate_hz
    )
    edges = np.array([round(plan.seconds_at(beat) * rate_hz) for beat in edges_beats]) - first_frame
    for repeat in range(1, int(_DOWN_TO_DB / REPEAT_DB) + 2):
        sound = sosfilt(darker, sound, axis=0)
        landing_s = [plan.seconds_at(beat + repeat * echo_beats) for beat in edges_beats]
        delays = np.round(np.array(landing_s) * rate_hz).astype(int) - first_frame - edges
        level = 10 ** ((repeat - 1) * REPEAT_DB / 20)
        if begin + int(delays.min()) >= len(out):
            break
        _add_pieces(out, level * sound, begin, edges, delays, rate_hz)
    return out.astype(np.float32)


def _edges_beats(plan: Plan, start_s: float, end_s: float) -> list[float]:
    """Starts of the pieces that cover a stretch of the plan."""
    first = int(np.floor(plan.beat_at(start_s) / PIECE_BEATS))
    last = int(np.floor(plan.beat_at(end_s) / PIECE_BEATS))
    return [piece * PIECE_BEATS for piece in range(first, last + 1)]


def _add_pieces(
    out: Floats, sound: Floats, begin: int, edges: Ints, delays: Ints, rate_hz: int
) -> None:
    """Add every piece where it lands; their shares of the sound add up to 1."""
    kept = [0]
    for piece in range(1, len(edges)):
        if abs(int(delays[piece]) - int(delays[kept[-1]])) > _SAME_FRAMES:
            kept.append(piece)
    starts = [int(edges[piece]) - begin for piece in kept]
    lead = round(JOIN_FROM_S * rate_hz)
    for index, piece in enumerate(kept):
        low = max(starts[index] - lead, 0) if index else 0
        high = min(starts[index + 1], len(sound)) if index + 1 < len(kept) else len(sound)
        frames = np.arange(low, max(high, low))
        share = _rise(frames, starts[index], rate_hz) if index else np.ones(len(frames))
        if index + 1 < len(kept):
            share = share - _rise(frames, starts[index + 1], rate_hz)
        at = begin + low + int(delays[piece])
        room = out[at : at + len(frames)]
        room += (sound[low : low + len(frames)] * share[:, None])[: len(room)]


def _rise(frames: Ints, edge: int, rate_hz: int) -> Floats:
    """Share of the piece that starts at an edge and of all later ones: whole shortly before it."""
    lead, length = JOIN_FROM_S * rate_hz, (JOIN_FROM_S - JOIN_TO_S) * rate_hz
    rise: Floats = np.sin(np.clip((frames - edge + lead) / length, 0.0, 1.0) * np.pi / 2) ** 2
    return rise


_RING_S: Final = 0.05
"""What the filters of a layer ring on after its end, fading; cut off there, it would click."""


def shaped(made: LayerSound, layer: Shaping, plan: Plan, ruler: Ruler) -> LayerSound:
    """A layer's sound after its curves.

    Parameters
    ----------
    ruler : Ruler
        Of the whole plan.

    Returns
    -------
    LayerSound
        Starts where it did; longer where a filter or a send rings on. Where
        all curves are neutral, the samples are the same bit for bit.
    """
    part = ruler.part(made.first_frame, made.first_frame + len(made.samples))
    sound = made.samples
    if layer.lowpass_hz or layer.highpass_hz:
        end = min(made.first_frame + len(sound) + round(_RING_S * ruler.rate_hz), ruler.n_frames)
        part = ruler.part(made.first_frame, end)
        sound = _filtered(sound, layer, part)
    sound = _levelled(sound, layer, part)
    left = ruler.n_frames - made.first_frame
    returns = []
    if _is_sent(layer.reverb_db):
        rings = min(len(sound) + round(RINGS_S * ruler.rate_hz), left)
        returns.append(hall(_send(sound, layer.reverb_db, part, rings), ruler.rate_hz))
    if _is_sent(layer.echo_db):
        send = _send(sound, layer.echo_db, part, left)
        returns.append(echoes(send, plan, ruler.rate_hz, made.first_frame, layer.echo_beats))
    return replace(made, samples=_added(sound, returns))


def _added(sound: Floats32, returns: list[Floats32]) -> Floats32:
    """The sound and what comes back, as long as the longest."""
    if not returns:
        return sound
    total = np.zeros((max(len(back) for back in returns), sound.shape[1]), dtype=np.float32)
    total[: len(sound)] = sound
    for back in returns:
        total[: len(back)] += back
    return total


def balance(pan: Floats) -> Floats:
    """Factors for left and right that keep the power of two equally loud channels.

    Parameters
    ----------
    pan : ndarray, shape (n_frames,)
        -1 left to 1 right.

    Returns
    -------
    ndarray, shape (n_frames, 2)
        Both 1 in the middle; at an end the one side is silent, the other 3 dB up.
    """
    angle = (np.clip(pan, -1.0, 1.0) + 1.0) * (np.pi / 4)
    factors: Floats = np.sqrt(2.0) * np.stack((np.cos(angle), np.sin(angle)), axis=1)
    return factors


def _filtered(sound: Floats32, layer: Shaping, part: Ruler) -> Floats32:
    """After the filters, with what they ring on up to the end of the ruler."""
    n_ringing = part.n_frames - len(sound)
    sound = np.pad(sound, ((0, n_ringing), (0, 0)))
    if layer.lowpass_hz:
        sound = lowpassed(sound, cutoffs_along(layer.lowpass_hz, part), part.rate_hz)
    if layer.highpass_hz:
        sound = highpassed(sound, cutoffs_along(layer.highpass_hz, part), part.rate_hz)
    ringing = slice(part.n_frames - n_ringing, None)
    sound[ringing] = faded(sound[ringing], part.rate_hz, out_s=n_ringing / part.rate_hz)
    return sound


def _levelled(sound: Floats32, layer: Shaping, part: Ruler) -> Floats32:
    """After gain and pan."""
    if layer.gain_db:
        sound = amplified(sound, gains_along(layer.gain_db, part))
    if layer.pan:
        sound = amplified(sound, balance(values_along(layer.pan, part)))
    return sound


def _is_sent(curve: Curve) -> bool:
    return any(point.value > SILENCE_DB for point in curve)


def _send(sound: Floats32, curve: Curve, part: Ruler, n_frames: int) -> Floats32:
    """What goes into an effect, with silence after it up to the end of the plan."""
    send = np.zeros((n_frames, sound.shape[1]), dtype=np.float32)
    send[: len(sound)] = amplified(sound, gains_along(curve, part))
    return send


ROOM_SIZE: Final = 0.7  # the library's, 0 to 1: a hall that falls by 60 dB in 1.8 s; by judgement
DAMPING: Final = 0.45  # the library's, 0 to 1: how soon its top is gone; by judgement
UNITY_WET: Final = 0.18
"""Wet level: steady pink noise, the same on both sides, comes back 7.5 dB softer; measured."""
RINGS_S: Final = 8.0
"""After this long it is over: it falls by 60 dB in 1.8 s, to the effect's own rounding at
-125 dBFS."""
SEND_FROM_HZ: Final = 140.0
"""Bass is kept out of the hall, where it would only blur; set by judgement."""
_BLOCK_FRAMES: Final = 1 << 17  # frames at once, to hold little memory
FEWEST_FRAMES: Final = 2
"""Effects take no fewer frames than channels; nothing comes back so soon anyway."""


def hall(send: Floats32, rate_hz: int) -> Floats32:
    """What comes back from the hall.

    Parameters
    ----------
    send : ndarray, shape (n_frames, 2), float32
        With zeros after the sound for as long as the tail may ring.

    Returns
    -------
    ndarray, shape (n_frames, 2), float32
        At 0 dB of send some 8 dB softer than the send.
    """
    from pedalboard import HighpassFilter, Pedalboard, Reverb

    board = Pedalboard(
        [
            HighpassFilter(SEND_FROM_HZ),
            Reverb(room_size=ROOM_SIZE, damping=DAMPING, wet_level=UNITY_WET, dry_level=0.0),
        ]
    )
    return through(board, send, rate_hz)


def through(board: Pedalboard, sound: Floats32, rate_hz: int) -> Floats32:
    """Sound after effects that say nothing before they are given something.

    Parameters
    ----------
    sound : ndarray, shape (n_frames, 2), float32

    Returns
    -------
    ndarray, shape (n_frames, 2), float32
        The same as in one call, but worked out block by block, to hold little memory.
    """
    back = np.zeros_like(sound)
    heard = sound.ravel() != 0.0
    first = int(np.argmax(heard)) // sound.shape[1] if heard.any() else len(sound)
    for begin in range(first, len(sound) - FEWEST_FRAMES, _BLOCK_FRAMES):
        block = slice(begin, begin + _BLOCK_FRAMES)
        clip = Clip(samples=sound[block], rate_hz=rate_hz)
        back[block] = run_board(board, clip, reset=begin == first).samples
    return back
