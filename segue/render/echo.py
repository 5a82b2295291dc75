"""The echo that sends go to: repeats that stay on the beat while the tempo moves.

What sounds at beat b comes back at b + k x the distance, k = 1, 2, ... A delay of
fixed time would leave the beat on a ramp, one of moving time would bend the
pitch. So the send is taken in pieces of half a beat, each copied whole to where
its start belongs; where the tempo holds, pieces are one and nothing is joined.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.render.stretch import JOIN_FROM_S, JOIN_TO_S

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.plan.plan import Plan

REPEAT_DB: Final = -4.5
"""Each repeat against the one before; the first is as loud as the send. Set by judgement."""
DARKER_HZ: Final = 4_500.0
"""Cutoff, 6 dB an octave, that each repeat passes once more; set by judgement."""
ECHO_FROM_HZ: Final = 150.0
"""Bass is kept out of the echo, so that two bass lines never overlap through it."""
PIECE_BEATS: Final = 0.5
_DOWN_TO_DB: Final = -60.0
_SAME_FRAMES: Final = 1


def echoes(
    send: npt.NDArray[np.float32], plan: Plan, rate_hz: int, first_frame: int, echo_beats: float
) -> npt.NDArray[np.float32]:
    """What comes back from the echo.

    Parameters
    ----------
    send : ndarray, shape (n_frames, n_channels), float32
        With zeros after the sound for as long as the repeats may ring.
    plan : Plan
        Whose beats the repeats keep to.
    rate_hz : int
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
    out: npt.NDArray[np.float64],
    sound: npt.NDArray[np.float64],
    begin: int,
    edges: npt.NDArray[np.int64],
    delays: npt.NDArray[np.int64],
    rate_hz: int,
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


def _rise(frames: npt.NDArray[np.int64], edge: int, rate_hz: int) -> npt.NDArray[np.float64]:
    """Share of the piece that starts at an edge and of all later ones: whole shortly before it."""
    lead, length = JOIN_FROM_S * rate_hz, (JOIN_FROM_S - JOIN_TO_S) * rate_hz
    rise: npt.NDArray[np.float64] = (
        np.sin(np.clip((frames - edge + lead) / length, 0.0, 1.0) * np.pi / 2) ** 2
    )
    return rise
