"""Places of a plan that have a name: sections, bar one of the new song, the singer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.plan import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Marker:
    """A named place.

    Parameters
    ----------
    beat : float
        Of the plan; beat 0 is where all files of a pack start.
    time_s : float
        From beat 0.
    name : str
    """

    beat: float
    time_s: float
    name: str


def markers_of(
    plan: Plan, *, from_title: str, to_title: str, is_free: bool = False
) -> tuple[Marker, ...]:
    """Named places of a plan, in order.

    Parameters
    ----------
    plan : Plan
    from_title, to_title : str
        The two songs.
    is_free : bool
        Whether the new one starts without a pulse, and so has no bar one.

    Returns
    -------
    tuple of Marker
        Places within a thousandth of a beat of each other are one marker.
    """
    places: dict[float, list[str]] = {}
    has_bar = plan.enters_on_a_bar and not is_free
    entry = f"{to_title}, bar one" if has_bar else f"{to_title} starts"
    for beat, name in sorted(_places(plan, from_title, entry), key=lambda place: place[0]):
        places.setdefault(round(beat, 3), []).append(name)
    return tuple(
        Marker(beat=beat, time_s=plan.tempo.seconds_at(beat), name=", ".join(names))
        for beat, names in places.items()
    )


def _places(plan: Plan, from_title: str, entry: str) -> Iterator[tuple[float, str]]:
    yield 0.0, from_title
    if plan.entry_beat > plan.exit_beat:
        yield plan.exit_beat, "segue"
    first_click = min((hit.beat for hit in plan.click), default=None)
    if first_click is not None and first_click > 0:
        yield first_click, "click starts"
    yield plan.entry_beat, entry
    if plan.singer_beat is not None:
        yield plan.singer_beat, "singer"
