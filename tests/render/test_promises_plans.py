"""What is promised of any candidate, over plans drawn by the real planner on made songs.

`python -m benchmarks.plans` draws more of them, at all rates alike.
"""

import pytest

from segue.plan.tempo_spans import TempoTooFarError
from tests.render.drawn_plans import (
    RATES_HZ,
    drawn,
    figures,
    is_too_far,
    made,
    misses,
    recipes,
)

N_DRAWN = 64
ROUNDS = N_DRAWN // 16
LOW_RATES_HZ = (22_050, 24_000, 32_000) * 4 + RATES_HZ
"""All rates, the cheap ones more often."""


@pytest.mark.parametrize("number", range(N_DRAWN))
def test_a_drawn_plan_keeps_every_promise(number, tmp_path):
    draw = drawn(number, rates_hz=LOW_RATES_HZ)
    if is_too_far(draw):
        # what to take instead is told with the refusal
        with pytest.raises(TempoTooFarError, match=r"half-time interlude, or a stop with a count"):
            made(draw, tmp_path)
        return
    one = made(draw, tmp_path)
    got = figures(one, twice=number % 4 == 0)
    assert not misses(got), (draw, got)


def test_the_draw_reaches_everything():
    """All recipes, rates, metres and channels; tempos of the whole range; refusals too."""
    draws = [drawn(number, rates_hz=LOW_RATES_HZ) for number in range(N_DRAWN)]
    assert {d.recipe.name for d in draws} == {recipe.name for recipe in recipes()}
    assert {d.rate_hz for d in draws} == set(RATES_HZ)
    for side in ("old", "new"):
        scores = [getattr(d, side) for d in draws]
        assert {s.metre for s in scores} == {3, 4, 6}
        assert {s.n_channels for s in scores} == {1, 2}
        assert {s.has_stems for s in scores} == {False, True}
        assert min(s.bpm for s in scores) < 60
        assert max(s.bpm for s in scores) > 175
    assert sum(is_too_far(d) for d in draws) >= 2
