"""Which of the options was played: told from the sound of the bridge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from segue.review.find import agreement_curve

if TYPE_CHECKING:
    from segue.review.find import FoundPlace
    from segue.review.listening import Listening

# of the songs on both sides of the bridge that are compared with it; by judgement
_AROUND_S: Final = 1.0
_NEAR_S: Final = 12.0  # the bridge is looked for this near the place of the whole; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class OptionHeard:
    """How well a recording agrees with one option.

    Parameters
    ----------
    whole, bridge : float
        -1 to 1, of all of it and of what is between the songs.
    """

    rank: int
    whole: float
    bridge: float

    @property
    def match(self) -> float:
        """Both together."""
        return (self.whole + self.bridge) / 2


def option_heard(
    rank: int,
    reference: Listening,
    take: Listening,
    place: FoundPlace,
    bridge_s: tuple[float, float],
) -> OptionHeard:
    """How well a recording agrees with an option, and with its bridge.

    Parameters
    ----------
    place : FoundPlace
        The best place of the whole option.
    bridge_s : (float, float)
        Where the old song is left and the new one enters, in the render.
    """
    start_s = max(bridge_s[0] - _AROUND_S, 0.0)
    end_s = min(bridge_s[1] + _AROUND_S, reference.duration_s)
    lag_s, curve = agreement_curve(reference.part(start_s, end_s), take, place.speed)
    expected_s = place.offset_s + place.speed * start_s
    near = abs(lag_s - expected_s) < _NEAR_S
    bridge = float(curve[near].max()) if near.any() else -1.0
    return OptionHeard(rank=rank, whole=place.match, bridge=bridge)
