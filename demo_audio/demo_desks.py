"""How each stem of each song is treated at the desk (all settings chosen by ear and eye)."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from demo_mix import Desk

if TYPE_CHECKING:
    from collections.abc import Mapping

    from demo_form import Song

ROLE_DESKS: Final = {
    "drums": Desk(
        loudness_lufs=-18.5, high_pass_hz=30, warmth_db=1.5, presence_db=2.0,
        threshold_db=-16, ratio=2.5, attack_ms=18, drive_db=4.0, room=0.4, reverb_mix=0.14,
        width=1.6,
    ),
    "bass": Desk(
        loudness_lufs=-20.5, high_pass_hz=32, low_pass_hz=5000, warmth_db=2.0, presence_db=2.0,
        threshold_db=-24, ratio=4, reverb_mix=0.0, drive_db=4.0, is_mono=True,
    ),
    "keys": Desk(
        loudness_lufs=-23.0, high_pass_hz=140, warmth_db=-1.5, presence_db=1.0,
        room=0.5, reverb_mix=0.2, width=1.4, spread=0.5,
    ),
    "guitar": Desk(
        loudness_lufs=-24.5, high_pass_hz=160, warmth_db=-2.0, presence_db=2.0,
        chorus_mix=0.15, room=0.4, reverb_mix=0.15, width=1.2,
    ),
    "pad": Desk(
        loudness_lufs=-26.0, high_pass_hz=200, low_pass_hz=9000, warmth_db=-2.0,
        threshold_db=-22, ratio=2, chorus_mix=0.35, room=0.8, reverb_mix=0.35, width=1.5,
        spread=0.4,
    ),
    "lead": Desk(
        loudness_lufs=-19.5, high_pass_hz=150, presence_db=2.0, threshold_db=-24, ratio=3.5,
        attack_ms=8, room=0.55, reverb_mix=0.14, is_mono=True,
    ),
}  # fmt: skip
"""Where each role starts from."""

ELECTRIC_PIANOS: Final = (4, 5)
ORGAN: Final = 16
"""General MIDI programs, counted from 0."""


OWN_DESKS: Final[Mapping[tuple[str, str], Mapping[str, float]]] = {
    ("02 Low Tide Telegraph", "keys"): {
        "drive_db": 10.0, "presence_db": 13.0, "presence_hz": 2400.0, "air_db": 4.0,
    },
    ("02 Low Tide Telegraph", "lead"): {
        "loudness_lufs": -19.0, "drive_db": 10.0, "presence_db": 12.0, "presence_hz": 2200.0,
        "air_db": 3.0,
    },
    ("02 Low Tide Telegraph", "bass"): {"drive_db": 8.0, "presence_db": 6.0, "presence_hz": 1400.0},
    ("03 Marigold and Rain", "bass"): {"warmth_db": -1.0},
}  # fmt: skip
"""What one song wants otherwise: voices and pianos of this sound library are dull near 2 kHz."""


def desk_of(song: Song, name: str) -> Desk:
    """The channel strip of one stem of one song."""
    desk = replace(ROLE_DESKS[name], **OWN_DESKS.get((song.folder, name), {}))
    if name == "lead":
        return replace(desk, echo_s=0.75 * 60.0 / song.tempo_bpm)
    if name == "keys" and song.programs["keys"] in ELECTRIC_PIANOS:
        return replace(desk, sway_hz=song.tempo_bpm / 120.0, sway_depth=0.3)
    if name == "keys" and song.programs["keys"] == ORGAN:
        return replace(desk, sway_hz=6.1, sway_depth=0.14)
    return desk
