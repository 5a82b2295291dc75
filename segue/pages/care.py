"""The cautions that stand wherever sound is about to be heard, in one wording."""

from __future__ import annotations

from typing import Final

TURN_DOWN: Final = "Turn in-ears and headphones down before you play, and bring them up slowly."

FOR_EARS: Final = "Click and cue are for ears only: start in-ears low."
