"""Stage: score. A rendered `Candidate` and the facts of both edges go in, a `Scorecard` comes out.

Every measure is taken on the rendered sound; the plan only says where things ought to be.
"""

from typing import TYPE_CHECKING

from segue.score.scorecard import CurveSample, Measure, Scorecard
from segue.score.weights import PURPOSES, Purpose

if TYPE_CHECKING:
    from segue.score.card import score_candidate

__all__ = ["PURPOSES", "CurveSample", "Measure", "Purpose", "Scorecard", "score_candidate"]


def __getattr__(name: str) -> object:
    """The measures are loaded when the first card is asked for: a draft has none."""
    if name != "score_candidate":
        raise AttributeError(f"module 'segue.score' has no attribute '{name}'")
    from segue.score.card import score_candidate

    return score_candidate
