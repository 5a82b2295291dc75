"""A rendered segue: buses that line up to the frame."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from segue.audio.clip import Clip

if TYPE_CHECKING:
    from segue.plan.plan import Plan


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidate:
    """A plan made audible.

    Parameters
    ----------
    music : Clip
        What the room hears. Stereo, true peak at most -1 dBTP.
    click, cue : Clip
        For in-ears only, mono, never in `music`; same rate and length.
    outgoing, interlude, incoming : Clip
        The sides of `music` before the limiter, at the same rate and length:
        what comes from the old song, what was made for the join, and what
        comes from the new song. Their sum is `music` but for the limiter.
    notes : tuple of str
        What the render could not do, as sentences.
    """

    plan: Plan
    music: Clip
    click: Clip
    cue: Clip
    outgoing: Clip
    interlude: Clip
    incoming: Clip
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        shapes = {
            (clip.n_frames, clip.rate_hz)
            for clip in (
                self.music,
                self.click,
                self.cue,
                self.outgoing,
                self.interlude,
                self.incoming,
            )
        }
        if len(shapes) > 1:
            raise ValueError(f"buses do not line up: {sorted(shapes)}")

    def without_sides(self) -> Candidate:
        """The same with silent sides, which take no memory: for whoever is done with scoring."""
        silence = np.broadcast_to(np.float32(0.0), self.click.samples.shape)
        silent = Clip(samples=silence, rate_hz=self.click.rate_hz)
        return replace(self, outgoing=silent, interlude=silent, incoming=silent)
