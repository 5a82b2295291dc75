"""What all kinds of layers have in common: filters, gain, pan and the two sends.

Every curve is laid out frame by frame before it acts, so that nothing moves in
blocks and no zipper noise arises. Sends branch off after gain and pan; what
comes back rings on to the end of the plan.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.render.curves import SILENCE_DB, amplified, cutoffs_along, gains_along, values_along
from segue.render.echo import echoes
from segue.render.layer_sound import faded
from segue.render.moving_filter import highpassed, lowpassed
from segue.render.reverb import RINGS_S, hall

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.plan.layer import Curve, Shaping
    from segue.plan.plan import Plan
    from segue.render.curves import Ruler
    from segue.render.layer_sound import LayerSound

_RING_S: Final = 0.05
"""What the filters of a layer ring on after its end, fading; cut off there, it would click."""


def shaped(made: LayerSound, layer: Shaping, plan: Plan, ruler: Ruler) -> LayerSound:
    """A layer's sound after its curves.

    Parameters
    ----------
    made : LayerSound
    layer : Shaping
    plan : Plan
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


def _added(
    sound: npt.NDArray[np.float32], returns: list[npt.NDArray[np.float32]]
) -> npt.NDArray[np.float32]:
    """The sound and what comes back, as long as the longest."""
    if not returns:
        return sound
    total = np.zeros((max(len(back) for back in returns), sound.shape[1]), dtype=np.float32)
    total[: len(sound)] = sound
    for back in returns:
        total[: len(back)] += back
    return total


def balance(pan: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
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
    factors: npt.NDArray[np.float64] = np.sqrt(2.0) * np.stack(
        (np.cos(angle), np.sin(angle)), axis=1
    )
    return factors


def _filtered(
    sound: npt.NDArray[np.float32], layer: Shaping, part: Ruler
) -> npt.NDArray[np.float32]:
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


def _levelled(
    sound: npt.NDArray[np.float32], layer: Shaping, part: Ruler
) -> npt.NDArray[np.float32]:
    """After gain and pan."""
    if layer.gain_db:
        sound = amplified(sound, gains_along(layer.gain_db, part))
    if layer.pan:
        sound = amplified(sound, balance(values_along(layer.pan, part)))
    return sound


def _is_sent(curve: Curve) -> bool:
    return any(point.value > SILENCE_DB for point in curve)


def _send(
    sound: npt.NDArray[np.float32], curve: Curve, part: Ruler, n_frames: int
) -> npt.NDArray[np.float32]:
    """What goes into an effect, with silence after it up to the end of the plan."""
    send = np.zeros((n_frames, sound.shape[1]), dtype=np.float32)
    send[: len(sound)] = amplified(sound, gains_along(curve, part))
    return send
