"""The caution that stands wherever sound is about to be heard, in one wording."""

from __future__ import annotations

from typing import Final

TURN_DOWN: Final = "Turn in-ears and headphones down before you play, and bring them up slowly."
