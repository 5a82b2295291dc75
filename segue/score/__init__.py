"""Stage: score. A rendered `Candidate` and the facts of both edges go in, a `Scorecard` comes out.

Every measure is taken on the rendered sound; the plan only says where things ought to be.
"""

from segue.score.card import score_candidate
from segue.score.scorecard import CurveSample, Measure, Scorecard
from segue.score.weights import PURPOSES, Purpose

__all__ = ["PURPOSES", "CurveSample", "Measure", "Purpose", "Scorecard", "score_candidate"]
