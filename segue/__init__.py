"""Segue: from the end of one song to the start of the next.

Two song edges go in; three auditionable segues come out, each planned in
bars and keys, rendered to audio, and measured on the sound.

What this module offers is loaded when it is first asked for; ``__init__.pyi`` tells
type checkers what it is.
"""

from typing import Final

__version__: Final = "0.2.0"

_OFFERED: Final = {
    "hear_edge": "segue.api.stages",
    "plan_segue": "segue.api.stages",
    "read_edge": "segue.api.stages",
    "render_segue": "segue.api.stages",
    "score_segue": "segue.api.stages",
    "Option": "segue.api.main_job",
    "Segues": "segue.api.main_job",
    "Wishes": "segue.api.main_job",
    "between": "segue.api.main_job",
    "change": "segue.api.changing",
    "Draft": "segue.job.draft",
    "draft": "segue.api.changing",
    "plan_change": "segue.api.changing",
    "read_run": "segue.api.changing",
    "recipe_of": "segue.api.changing",
    "redo": "segue.api.changing",
    "undo": "segue.api.changing",
    "Changes": "segue.job.changes",
    "build_catalogue": "segue.api.many_songs",
    "make_evening": "segue.api.many_songs",
    "neighbours_of": "segue.api.many_songs",
    "plan_evening": "segue.api.many_songs",
    "Overrides": "segue.audio.clip",
    "Recipe": "segue.recipes",
    "SegueError": "segue.errors",
    "load_recipe": "segue.recipes",
    "parse_key": "segue.music.key",
}
"""Name, and the module that has it."""
__all__ = ["__version__", *_OFFERED]  # noqa: PLE0604 - all of them are names


def __getattr__(name: str) -> object:
    if name not in _OFFERED:
        raise AttributeError(f"module 'segue' has no attribute '{name}'")
    from importlib import import_module

    return getattr(import_module(_OFFERED[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *_OFFERED})
