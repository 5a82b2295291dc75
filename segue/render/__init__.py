"""Stage: render.

Takes a plan and the two song edges it was made for; returns a `Candidate`:
music, click and cue as separate buses that line up to the frame
(`render_candidate`).
"""

from typing import TYPE_CHECKING

from segue.render.candidate import Candidate

if TYPE_CHECKING:
    from segue.render.render import render_candidate

__all__ = ["Candidate", "render_candidate"]


def __getattr__(name: str) -> object:
    """The renderer is loaded when it is first asked for: whoever has others render needs none."""
    if name != "render_candidate":
        raise AttributeError(f"module 'segue.render' has no attribute '{name}'")
    from segue.render.render import render_candidate

    return render_candidate
