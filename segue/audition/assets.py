"""The fixed parts of the page, as they lie in the package."""

from __future__ import annotations

from importlib.resources import files
from typing import Final

STYLE_NAME: Final = "page.css"
PAGE_SCRIPTS: Final = (
    "order.js",
    "lanes.js",
    "sound.js",
    "heard.js",
    "page.js",
    "results.js",
    "ballot.js",
    "start.js",
)
"""Joined into one block, in this order."""


def asset(name: str) -> str:
    """Text of a fixed part.

    Parameters
    ----------
    name : str
        File name in the package.
    """
    return (files("segue.audition") / "assets" / name).read_text(encoding="utf-8")


def page_script() -> str:
    """The script of the page."""
    return "\n".join(asset(name) for name in PAGE_SCRIPTS)
