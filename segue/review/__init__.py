"""Review: a plan and a recording of its rehearsal in, what happened in bars out.

`review_take` finds the candidate's render in the recording, follows its beats, listens for
the singer, and returns a `Rehearsal` with a `Review` of each try; `compared` tells two of them
apart, and `trend_of` many. `write_review` leaves JSON, a picture and a page with sound. A
recording that does not hold the transition is refused with its best match.
"""

from segue.review.rehearsal import ReviewRequest, review_take
from segue.review.report import Rehearsal, Review
from segue.review.review_files import ReviewFiles, read_review, review_text, write_review
from segue.review.trend import compared

__all__ = [
    "Rehearsal",
    "Review",
    "ReviewFiles",
    "ReviewRequest",
    "compared",
    "read_review",
    "review_take",
    "review_text",
    "write_review",
]
