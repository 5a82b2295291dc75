"""From a plan and two decoded edges to a candidate."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.clip import Clip
from segue.plan.plan import PadLayer
from segue.render.candidate import Candidate
from segue.render.curves import ruler_of
from segue.render.guides import click_bus, cue_bus
from segue.render.master import master
from segue.render.pad import pad_sound
from segue.render.song_layer import song_layer_sound

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.audio.clip import SongEdge
    from segue.plan.plan import Layer, Plan
    from segue.render.curves import Ruler

Progress = Callable[[float], None]
"""Told the share of the work that is done, 0 to 1."""

_OPENING_FADE_S: Final = 0.02
_WORTH_SAYING_DB: Final = 0.05


def render_candidate(
    plan: Plan, outgoing: SongEdge, incoming: SongEdge, *, progress: Progress | None = None
) -> Candidate:
    """A plan made audible.

    Parameters
    ----------
    plan : Plan
    outgoing, incoming : SongEdge
        The end of the one song and the start of the other, at one rate.
    progress : callable, optional
        Told the share of the work that is done, 0 to 1.

    Returns
    -------
    Candidate
        Buses of ``ceil(plan.duration_s * rate)`` frames whose first frame is
        `plan.lead_in_s` before beat 0. The same plan and songs give the same
        samples.

    Raises
    ------
    ValueError
        If the two songs differ in rate.
    """
    rate_hz = outgoing.rate_hz
    if incoming.rate_hz != rate_hz:
        raise ValueError(f"the songs have {rate_hz} and {incoming.rate_hz} Hz; resample one first")
    tell = progress or _nobody
    ruler = ruler_of(plan, rate_hz)
    sides = {name: np.zeros((ruler.n_frames, 2)) for name in ("outgoing", "interlude", "incoming")}
    notes: list[str] = []
    for index, layer in enumerate(plan.layers):
        side, sound, layer_notes = _layer_sound(layer, plan, ruler, outgoing, incoming)
        sides[side] += sound
        notes.extend(layer_notes)
        tell((index + 1) / (len(plan.layers) + 1))
    _fade_in(sides, round(_OPENING_FADE_S * rate_hz))
    finished = master(sides["outgoing"] + sides["interlude"] + sides["incoming"], rate_hz)
    if finished.lowered_db > _WORTH_SAYING_DB:
        notes.append(
            f"The whole is {finished.lowered_db:.1f} dB lower than planned, "
            "to keep its peaks below -1 dBTP without squashing them."
        )
    lowered = 10 ** (-finished.lowered_db / 20)
    clips = {
        name: Clip(samples=(side * lowered).astype(np.float32), rate_hz=rate_hz)
        for name, side in sides.items()
    }
    candidate = Candidate(
        plan=plan,
        music=finished.music,
        click=Clip(samples=click_bus(plan, rate_hz, ruler.n_frames), rate_hz=rate_hz),
        cue=Clip(samples=cue_bus(plan, rate_hz, ruler.n_frames), rate_hz=rate_hz),
        outgoing=clips["outgoing"],
        interlude=clips["interlude"],
        incoming=clips["incoming"],
        notes=tuple(dict.fromkeys(notes)),
    )
    tell(1.0)
    return candidate


def _layer_sound(
    layer: Layer, plan: Plan, ruler: Ruler, outgoing: SongEdge, incoming: SongEdge
) -> tuple[str, npt.NDArray[np.float32], tuple[str, ...]]:
    """Side, sound and notes of a layer."""
    if isinstance(layer, PadLayer):
        return "interlude", pad_sound(layer, plan, ruler), ()
    if layer.song == "outgoing":
        made = song_layer_sound(layer, outgoing, plan, ruler, plan.outgoing_gain_db)
    else:
        made = song_layer_sound(layer, incoming, plan, ruler, plan.incoming_gain_db)
    return layer.song, made.samples, made.notes


def _fade_in(sides: dict[str, npt.NDArray[np.float64]], n_frames: int) -> None:
    fade = np.sin((np.arange(n_frames) + 0.5) / n_frames * np.pi / 2) ** 2
    for side in sides.values():
        side[:n_frames] *= fade[: len(side), None]


def _nobody(_share: float) -> None:
    """Progress that nobody asked for."""
