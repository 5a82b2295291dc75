"""A drum bridge: a song's own drums, played on the beats of the plan."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.envelope import sounds
from segue.render.drum_kit import drum_kit
from segue.render.layer_sound import LayerSound, drums_of_mix, faded, frames_of
from segue.render.separate import percussion_of

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.audio.clip import Clip, SongEdge
    from segue.plan.layer import Drum, DrumLayer
    from segue.plan.plan import Plan
    from segue.render.drum_kit import DrumSound
    from segue.render.layer_sound import Ruler

Kit = tuple["dict[Drum, DrumSound]", tuple[str, ...]]
"""A song's drums, and remarks on them."""

SEARCHED_S: Final = 24.0
"""Sound nearest the join in which drums are looked for."""
_HUMAN_DB: Final = 0.8
"""Hits differ by up to this much either way, as a player's do; set by judgement."""
_FADE_OUT_S: Final = 0.02  # the last hit ends without a click over this time; by judgement


class Kits:
    """The drums of songs, each found once: all segues of a run play the same."""

    def __init__(self) -> None:
        self._found: dict[SongEdge, Kit] = {}

    def of(self, edge: SongEdge) -> Kit:
        """The drums of a song, and what is odd about them."""
        if edge not in self._found:
            self._found[edge] = drum_kit(_percussion(edge), edge.rate_hz)
        return self._found[edge]


def drum_layer_sound(
    layer: DrumLayer, edge: SongEdge, kit: Kit, plan: Plan, ruler: Ruler, *, level_db: float
) -> LayerSound:
    """The drum bridge before its curves.

    Parameters
    ----------
    kit : Kit
        Of the song.
    level_db : float
        Level match of the song.

    Returns
    -------
    LayerSound
        Every attack on its beat, to the frame; each drum as loud as the song plays it.
    """
    first, last = frames_of(layer, plan, ruler)
    drums, remarks = kit
    generator = np.random.default_rng((plan.seed, 4))
    out = np.zeros((max(last - first, 0), 2), dtype=np.float32)
    for hit in layer.hits:
        human_db = float(generator.uniform(-_HUMAN_DB, _HUMAN_DB))
        if hit.drum in drums:
            at = round(plan.seconds_at(hit.beat) * ruler.rate_hz) - first
            _strike(out, drums[hit.drum], at, level_db + hit.gain_db + human_db)
    wanted = {hit.drum for hit in layer.hits}
    notes = [
        f"'{layer.name}': in {edge.title} {remark}."
        for remark in remarks
        if any(drum in remark.split(" was ")[0] for drum in wanted)
    ]
    if _drum_stem(edge) is None:
        notes.append(drums_of_mix(edge.title))
    samples = faded(out, ruler.rate_hz, out_s=_FADE_OUT_S)
    return LayerSound(samples=samples, first_frame=first, notes=tuple(notes))


def _percussion(edge: SongEdge) -> npt.NDArray[np.float32]:
    """Drums of a song near the join: the stem, or the percussive part of the mix."""
    drums = _drum_stem(edge)
    if drums is None:
        low_s = edge.end_s - SEARCHED_S if edge.edge == "end" else edge.start_s
        return percussion_of(edge, low_s, low_s + SEARCHED_S).samples
    length = round(SEARCHED_S * edge.rate_hz)
    return drums.samples[-length:] if edge.edge == "end" else drums.samples[:length]


def _drum_stem(edge: SongEdge) -> Clip | None:
    """The drums, where they are a stem of their own and sound."""
    drums = edge.sum_of("drums")
    return drums if drums is not None and sounds(drums.samples) else None


def _strike(onto: npt.NDArray[np.float32], drum: DrumSound, at_frame: int, gain_db: float) -> None:
    """Add one hit whose attack falls on a frame."""
    begin = at_frame - drum.attack_frame
    low, high = max(begin, 0), min(begin + len(drum.samples), len(onto))
    if low < high:
        gain = np.float32(10 ** (gain_db / 20))
        onto[low:high] += gain * drum.samples[low - begin : high - begin]
