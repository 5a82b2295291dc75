"""What every kind of layer becomes before it is shaped: sound and where it starts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, get_args

import numpy as np

from segue.audio.clip import VOICES, Role

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.plan.layer import Layer
    from segue.plan.plan import Plan
    from segue.render.curves import Ruler


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayerSound:
    """A layer's sound; silence before and after.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, 2), float32
    first_frame : int
        Where it starts, in frames of the plan.
    notes : tuple of str
        What could not be done, as sentences.
    """

    samples: npt.NDArray[np.float32]
    first_frame: int = 0
    notes: tuple[str, ...] = ()

    def laid_out(self, n_frames: int) -> npt.NDArray[np.float32]:
        """The sound in its place over a whole plan, (n_frames, 2)."""
        whole = np.zeros((n_frames, self.samples.shape[1]), dtype=np.float32)
        whole[self.first_frame : self.first_frame + len(self.samples)] = self.samples
        return whole


def frames_of(layer: Layer, plan: Plan, ruler: Ruler) -> tuple[int, int]:
    """First frame of a layer and the one after its last, both inside the plan."""
    start = round(plan.seconds_at(layer.start_beat) * ruler.rate_hz)
    end = round(plan.seconds_at(layer.end_beat) * ruler.rate_hz)
    return max(start, 0), min(end, ruler.n_frames)


def faded(
    samples: npt.NDArray[np.float32], rate_hz: int, *, in_s: float = 0.0, out_s: float = 0.0
) -> npt.NDArray[np.float32]:
    """Sound with raised-cosine fades at its two ends, in a new array.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, n_channels), float32
    in_s, out_s : float
        Length of the fades, shortened to the sound where it is shorter.
    """
    sound = samples.copy()
    for fade_s, ends in ((in_s, sound), (out_s, sound[::-1])):
        length = min(round(fade_s * rate_hz), len(sound))
        fade = np.sin((np.arange(length) + 0.5) / max(length, 1) * np.pi / 2) ** 2
        ends[:length] = (ends[:length] * fade[:, None]).astype(np.float32)
    return sound


def drums_of_mix(title: str) -> str:
    """What is to be said of drums that no stem gave."""
    return (
        f"The drums of {title} come out of its mix: other attacks may hang on to them. "
        "A drum stem is better."
    )


def singer_turned_down(title: str) -> str:
    """What is to be said of bars of a mix whose singer was told from what comes back."""
    return f"The singer is turned down in the bars of {title} that go round. Stems are better."


def mix_played_whole(name: str, roles: tuple[Role, ...], title: str) -> str:
    """What is to be said of a layer that is to play some stems of a song that has none.

    Told is the shorter: what it is meant to play, or what else is in it.
    """
    others = [role for role in get_args(Role) if role not in {*roles, *VOICES, "mix"}]
    if len(others) < len(roles):
        return f"{title} is one mix: '{name}' has its {' and '.join(others)} in it, too."
    return f"{title} is one mix: '{name}' plays all of it, not {' and '.join(roles)} alone."
