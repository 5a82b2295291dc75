"""Stage: render.

Takes a plan and the two song edges it was made for; returns a `Candidate`:
music, click and cue as separate buses that line up to the frame
(`render_candidate`).
"""

from segue.render.candidate import Candidate
from segue.render.render import render_candidate

__all__ = ["Candidate", "render_candidate"]
