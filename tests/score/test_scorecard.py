"""From findings to scores: more of a fault is always told from less."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from segue.score.scorecard import TAIL, TIE_SCORE, falling, rising, ties_with_next_better

FINDINGS = st.floats(0.0, 50.0)


@settings(deadline=None, derandomize=True)
@given(FINDINGS, st.floats(0.01, 20.0))
def test_more_of_a_fault_scores_strictly_lower(value, more):
    assert falling(10.0 + value + more, good=10.0, bad=20.0) < falling(
        10.0 + value, good=10.0, bad=20.0
    )


@settings(deadline=None, derandomize=True)
@given(st.floats(allow_nan=False), st.floats(allow_nan=False))
def test_scores_stay_within_0_and_1_and_in_order(one, other):
    low, high = min(one, other), max(one, other)
    assert 0.0 <= falling(high, good=1.0, bad=3.0) <= falling(low, good=1.0, bad=3.0) <= 1.0
    assert 0.0 <= rising(low, bad=1.0, good=3.0) <= rising(high, bad=1.0, good=3.0) <= 1.0


def test_anchors_have_their_marks():
    assert falling(1.0, good=1.0, bad=3.0) == 1.0
    assert abs(falling(3.0, good=1.0, bad=3.0) - TAIL) < 1e-12
    assert falling(float("nan"), good=1.0, bad=3.0) == rising(float("nan"), bad=0, good=1) == 0.0


@settings(deadline=None, derandomize=True)
@given(st.lists(st.floats(0.0, 1.0), max_size=6))
def test_ties_are_differences_below_the_noise(scores):
    best_first = sorted(scores, reverse=True)
    ties = ties_with_next_better(best_first)
    assert len(ties) == len(best_first)
    assert not any(ties[:1])
    for n, is_tie in enumerate(ties[1:], start=1):
        assert is_tie == (best_first[n - 1] - best_first[n] < TIE_SCORE)
