"""An example of each command that works on the demo, shown below its help."""

from __future__ import annotations

from typing import Final

START: Final = """\
Segue: from the end of one song to the start of the next.

Hear the demo first; it takes a few minutes:
  segue demo
Then two songs of your own:
  segue between OLD_SONG NEW_SONG --out DIR
Or do the whole job on one page, by ear and by hand:
  segue desk FOLDER
Everything else:
  segue --help"""
"""What `segue` says where nothing is asked of it."""

EXAMPLES: Final[dict[str, str]] = {
    "between": "segue between demo_audio/01* demo_audio/02* --out run",
    "demo": "segue demo",
    "analyse": "segue analyse demo_audio/02*",
    "desk": "segue desk demo_audio",
    "set": "segue set demo_audio/evening.toml --out night",
    "audition": "segue audition segue-demo",
    "choose": "segue choose segue-demo 2",
    "change": "segue change segue-demo 1 --bars 8",
    "undo": "segue undo segue-demo",
    "redo": "segue redo segue-demo",
    "explain": "segue explain segue-demo 2",
    "taste": "segue taste segue-demo",
    "stage": "segue stage segue-demo --out pack",
    "review": "segue review segue-demo pack/music.wav",
    "catalogue": "segue catalogue demo_audio",
    "neighbours": 'segue neighbours "Low Tide Telegraph"',
    "path": 'segue path "E minor" "F minor" --chords 8',
    "recipes": "segue recipes",
    "recipes show": 'segue recipes show "tempo ramp"',
    "recipes check": "segue recipes check recipes/build.toml",
    "recipes schema": "segue recipes schema",
    "cache": "segue cache",
}
"""By the command's words. They are typed in the folder of the README, the demo before others."""


def example_of(name: str) -> str:
    """The last line of a command's help."""
    return f"Example: {EXAMPLES[name]}"
