"""Where a plan lets the two songs get in each other's way: two vocals, or two bass lines."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Final, assert_never

from segue.plan.layer import FrozenLayer, ReversedLayer, SongLayer
from segue.plan.shaping import value_at

if TYPE_CHECKING:
    from segue.plan.layer import Layer
    from segue.plan.plan import Plan
    from segue.recipes.recipe import Purposely

BASS_BELOW_HZ: Final = 150.0
"""A layer that is cut below this has no bass line."""

_AUDIBLE_DB: Final = -30.0
"""What is further down under a song at its full level is not followed. Set by judgement."""

_LONGEST_BEATS: Final[dict[Purposely, float]] = {"two vocals": 0.25, "two bass lines": 1.0}
"""Shorter meetings are joins."""

_STEP_BEATS: Final = 0.125
_VOICES: Final = frozenset({"voice", "lead", "mix"})
_BASSES: Final = frozenset({"bass", "mix"})

_Sounding = SongLayer | FrozenLayer | ReversedLayer


@dataclass(frozen=True, slots=True, kw_only=True)
class Overlap:
    """Two layers, one of each song, that meet."""

    what: Purposely
    outgoing: str
    incoming: str
    start_beat: float
    n_beats: float


def overlaps(
    plan: Plan, *, outgoing_has_stems: bool = False, incoming_has_stems: bool = False
) -> tuple[Overlap, ...]:
    """Meetings of two vocals or two bass lines.

    Parameters
    ----------
    plan : Plan
    outgoing_has_stems, incoming_has_stems : bool
        As it was planned with. Where there is only a mix, all but its percussive
        part counts as sung and as bass.

    Returns
    -------
    tuple of Overlap
        What a recipe does not say on purpose should not be in it.
    """
    stems = {"outgoing": outgoing_has_stems, "incoming": incoming_has_stems}
    sounding = [layer for layer in plan.layers if isinstance(layer, _Sounding)]
    pairs = product(
        (layer for layer in sounding if layer.song == "outgoing"),
        (layer for layer in sounding if layer.song == "incoming"),
    )
    found = [_meeting(what, a, b, stems) for a, b in pairs for what in _LONGEST_BEATS]
    return tuple(overlap for overlap in found if overlap.n_beats > _LONGEST_BEATS[overlap.what])


def _meeting(what: Purposely, a: _Sounding, b: _Sounding, stems: dict[str, bool]) -> Overlap:
    start, end = max(a.start_beat, b.start_beat), min(a.end_beat, b.end_beat)
    n_steps = max(math.floor((end - start) / _STEP_BEATS), 0)
    beats = [start + n * _STEP_BEATS for n in range(n_steps)]
    both = [
        beat for beat in beats if all(_carries(what, x, beat, stems=stems[x.song]) for x in (a, b))
    ]
    return Overlap(
        what=what,
        outgoing=a.name,
        incoming=b.name,
        start_beat=both[0] if both else start,
        n_beats=len(both) * _STEP_BEATS,
    )


def _carries(what: Purposely, layer: Layer, beat: float, *, stems: bool) -> bool:
    """Whether a layer has a voice, or a bass, that is heard at a beat."""
    if value_at(layer.gain_db, beat) <= _AUDIBLE_DB:
        return False
    match what:
        case "two vocals":
            return not isinstance(layer, FrozenLayer) and _may_have(layer, _VOICES, stems=stems)
        case "two bass lines":
            cut = value_at(layer.highpass_hz, beat) >= BASS_BELOW_HZ
            return not cut and _may_have(layer, _BASSES, stems=stems)
        case _:
            assert_never(what)


def _may_have(layer: Layer, roles: frozenset[str], *, stems: bool) -> bool:
    if stems and isinstance(layer, SongLayer | ReversedLayer):
        return not layer.roles or not roles.isdisjoint(layer.roles)
    return not (isinstance(layer, SongLayer) and layer.part == "percussive")
