"""The bridge at its level: ridden as an engineer rides a fader, by what is heard around it.

A layer's own level is a balance against its neighbours; how loud all of them together are is
said for the bridge (`bridge_level`). The act's own drums keep the level that they have in the
song, but for a few decibels; everything else makes up what is missing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from segue.audio.clip import Clip, sounding_blocks
from segue.audio.loudness import MEAN_POWER, MOMENTARY_S, momentary_lufs
from segue.plan.layer import DrumLayer, Layer, PlayedLayer, SongLayer
from segue.render.bridge_level import AROUND_S, wanted_level

if TYPE_CHECKING:
    from collections.abc import Mapping

    from segue.arrays import Flags, Floats, Floats32
    from segue.plan.plan import Plan


Fader = Literal["songs", "carried", "kit", "band", "synth"]
"""What moves together: the songs as they are (not at all); the old song's own music that plays on
into the bridge; its drums; loops of the songs; and what is synthesised."""

HOP_S: Final = 0.1  # of the loudness curve
KIT_DB: Final = (-30.0, 3.0)
"""How far drums may be moved from the level that they have in the song: alone they want 2 to 4 dB
more than beside a band (common practice, no source)."""
SOFT_KIT_DB: Final = 9.0
"""So much less, where the songs have no hard attacks and something else can carry the bridge."""
MOST_DB: Final = (-60.0, 24.0)
"""How far everything else may be moved."""
KIT_SHARE: Final = 0.75  # of the power, where something else sounds with the drums
LEAST_SHARE: Final = 0.4
"""What is not drums keeps this share of it, however loud they are: hits with nothing between them
stand in a hole. Both set by judgement."""
BASS_SHARE: Final = 0.15  # the same of a bass that plays with drums alone; by judgement
WINDOW_S: Final = (0.8, 2.4)
"""The fader follows the mean of a bar, within these lengths."""
DIP_LU: Final = 3.0
"""Moments this far below the level are filled up..."""
FILL_DB: Final = 6.0  # ...by this much at most, each time
N_FILLS: Final = 2
"""...once, and what is then still low once more. Set by judgement."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ride:
    """Gains of the faders over time.

    Parameters
    ----------
    times_s : ndarray, shape (n,)
        Seconds of the plan; before the first and after the last the gains stay.
    gains_db : mapping of str to ndarray, shape (n,)
        By fader; those that are not named do not move.
    """

    times_s: Floats
    gains_db: Mapping[Fader, Floats]


def fader_of(layer: Layer, plan: Plan) -> Fader:
    """Which fader a layer is on."""
    if not plan.bridge_lu:
        return "songs"
    if isinstance(layer, DrumLayer):
        return "kit"
    if not isinstance(layer, SongLayer):
        return "synth"
    is_kit = layer.part == "percussive" or layer.roles == ("drums",)
    if layer.song == "incoming" and layer.end_beat > plan.entry_beat + 1.0:
        return "songs" if layer.start_beat > plan.exit_beat + _HALF_BEAT else "band"
    if layer.song == "outgoing" and layer.start_beat < plan.exit_beat - _HALF_BEAT:
        far = plan.exit_beat + CARRIED_SHARE * (plan.entry_beat - plan.exit_beat)
        return "carried" if layer.end_beat > far else "songs"
    return "kit" if is_kit else "band"


_HALF_BEAT: Final = 0.5  # of a beat, the least that the fader looks at
CARRIED_SHARE: Final = 0.6
"""An old song that plays on for more of the bridge carries it, also where it makes way for a
pick-up. Set by judgement."""


def ride_of(
    buses: Mapping[Fader, Floats32], plan: Plan, rate_hz: int, *, hardness: float = 1.0
) -> Ride | None:
    """How the faders move so that the bridge is at its level.

    Parameters
    ----------
    buses : mapping of str to ndarray, shape (n_frames, 2)
        What is on each fader, before it.
    hardness : float
        How hard the songs attack, 0 to 1: next to soft ones drums stay behind the rest.

    Returns
    -------
    Ride or None
        None where nothing is to be moved: no level is asked for, there is no bridge, or both
        songs are silent around it.
    """
    exit_s, entry_s = plan.seconds_at(plan.exit_beat), plan.seconds_at(plan.entry_beat)
    if not plan.bridge_lu or entry_s - exit_s < 2 * HOP_S:
        return None
    powers, outer_s = _powers(buses, exit_s, entry_s, rate_hz)
    inside = (outer_s >= exit_s) & (outer_s <= entry_s)
    if inside.sum() < 2:  # noqa: PLR2004 - a curve
        return None
    times_s = outer_s[inside]
    there = {name: _inside(power, inside) for name, power in powers.items()}
    songs = sum((powers[n] for n in ("songs", "carried") if n in powers), np.zeros(len(outer_s)))
    ahead = there.get("songs", np.zeros(len(times_s)))
    level = wanted_level(songs, ahead, outer_s, inside, plan)
    if level is None:
        return None
    wanted, until_s = level
    bar_s = (entry_s - exit_s) / max((plan.entry_beat - plan.exit_beat) / 4.0, 1.0)
    window_s = min(max(bar_s, WINDOW_S[0]), WINDOW_S[1])
    lone = _are_alone(plan)
    most_kit_db = KIT_DB[1] - SOFT_KIT_DB * (1.0 - hardness) * (not lone)
    least_share = BASS_SHARE if lone else LEAST_SHARE
    line = int(np.searchsorted(times_s, until_s))
    gains = _gains(there, 10 ** (wanted / 10), window_s, line, (most_kit_db, least_share))
    if "carried" in gains:  # no step where the old song plays on into the bridge
        gains["carried"] = gains["carried"] * np.clip((times_s - exit_s) / bar_s, 0.0, 1.0)
    return Ride(times_s=times_s, gains_db=gains)


def _are_alone(plan: Plan) -> bool:
    """Whether drums have nothing beside them but a bass, which carries no bridge."""
    others = [layer for layer in plan.layers if fader_of(layer, plan) not in ("songs", "kit")]
    return all(isinstance(layer, PlayedLayer) and layer.sound == "bass" for layer in others)


def _inside(power: Floats, inside: Flags) -> Floats:
    """What is heard inside the bridge: windows that reach over its ends hear its neighbours too."""
    part = power[inside].copy()
    over = min(round(MOMENTARY_S / 2 / HOP_S), (len(part) - 1) // 2)
    if over:
        part[:over], part[-over:] = part[over], part[-over - 1]
    return part


def moved(samples: Floats32, fader: Fader, ride: Ride | None, rate_hz: int) -> None:
    """A bus after its fader, in place."""
    if ride is None or fader not in ride.gains_db:
        return
    gain = 10 ** (ride.gains_db[fader] / 20)
    for begin, block in sounding_blocks(samples):
        seconds = (begin + np.arange(len(block))) / rate_hz
        here = np.interp(seconds, ride.times_s, gain)[:, None].astype(np.float32)
        np.multiply(block, here, out=block)


_TINY: Final = 1e-12  # keeps a division from nought


def _powers(
    buses: Mapping[Fader, Floats32], exit_s: float, entry_s: float, rate_hz: int
) -> tuple[dict[Fader, Floats], Floats]:
    """Mean square, K-weighted, of every bus in windows of 0.4 s, near the bridge."""
    first = max(round((exit_s - AROUND_S - MOMENTARY_S) * rate_hz), 0)
    last = round((entry_s + AROUND_S + MOMENTARY_S) * rate_hz)
    times_s = np.zeros(0)
    powers: dict[Fader, Floats] = {}
    for name, bus in buses.items():
        times_s, lufs = momentary_lufs(Clip(samples=bus[first:last], rate_hz=rate_hz), hop_s=HOP_S)
        powers[name] = 10 ** (np.maximum(lufs, -120.0) / 10)
    return powers, times_s + first / rate_hz


def _gains(
    powers: Mapping[Fader, Floats],
    wanted: Floats,
    window_s: float,
    line: int,
    balance: tuple[float, float],
) -> dict[Fader, Floats]:
    """Decibels by fader, hop by hop; `balance` is the drums' most and the others' least share.

    From the hop `line` on the new song is there: before it nothing makes way for it.
    """
    most_kit_db, least_share = balance
    nothing = np.zeros(len(wanted))
    movable: list[Fader] = ["carried", "band", "synth"]
    others = [name for name in movable if name in powers]
    rest = sum((powers[name] for name in others), nothing)
    songs, kit = powers.get("songs", nothing), powers.get("kit", nothing)
    kit_db = nothing
    gains: dict[Fader, Floats] = {}
    if "kit" in powers:
        room = np.maximum(wanted - _on_both_sides(songs, line, window_s), _TINY)
        limits = KIT_DB
        if np.any(rest > 0):
            room, limits = np.minimum(room, KIT_SHARE * wanted), (KIT_DB[0], most_kit_db)
        kit_db = _decibels(room, _smoothed(kit, window_s), limits)
        gains["kit"] = kit_db = _smoothed(kit_db - KIT_DB[0], window_s, power=1.0) + KIT_DB[0]
    with_kit = _on_both_sides(songs + kit * 10 ** (kit_db / 10), line, window_s)
    left = np.maximum(wanted - with_kit, least_share * wanted)
    rest_db = _decibels(left, _smoothed(rest, window_s), MOST_DB)
    for _ in range(N_FILLS):
        now = songs + kit * 10 ** (kit_db / 10) + rest * 10 ** (rest_db / 10)
        short_db = 10 * np.log10(wanted / (now + _TINY)) - DIP_LU
        fill_db = _smoothed(np.clip(short_db, 0.0, FILL_DB), 4 * HOP_S, power=1.0)
        rest_db = np.minimum(rest_db + fill_db, MOST_DB[1])
    return gains | dict.fromkeys(others, rest_db)


def _on_both_sides(values: Floats, line: int, window_s: float) -> Floats:
    """Running mean that does not look over a line."""
    sides = [part for part in (values[:line], values[line:]) if len(part)]
    return np.concatenate([_smoothed(part, window_s) for part in sides])


def _decibels(wanted: Floats, there: Floats, limits: tuple[float, float]) -> Floats:
    """Gain from one power to another."""
    gain_db = 10 * np.log10(wanted / (there + _TINY))
    return np.asarray(np.clip(gain_db, *limits), dtype=np.float64)


def _smoothed(values: Floats, window_s: float, *, power: float = MEAN_POWER) -> Floats:
    """Mean under a running raised cosine that shrinks at the ends; as `mean_lufs` takes it."""
    reach = max(round(window_s / HOP_S / 2), 1)
    kernel = np.hanning(2 * reach + 3)[1:-1]
    inner = slice(reach, reach + len(values))
    weight = np.convolve(np.ones(len(values)), kernel, mode="full")[inner]
    total = np.convolve(values**power, kernel, mode="full")[inner]
    smooth: Floats = (total / weight) ** (1 / power)
    return smooth
