"""What is promised of any candidate, over plans drawn by the real planner on made songs.

`python -m benchmarks.plans` draws them at full length, at all rates alike.
"""

import pytest

from segue.plan.tempo_spans import TempoTooFarError
from tests.render.drawn_plans import RATES_HZ, drawn, figures, is_too_far, made, misses, recipes
from tests.render.join_steps import clicking

N_DRAWN = 248
N_JOINS_LOOKED_AT = 60
"""Two of every recipe."""
LOW_RATES_HZ = (22_050,) * 20 + RATES_HZ[1:]
"""All rates, the cheapest more often."""
TWICE_EVERY = 11
"""Every eleventh is rendered again without click and cue; prime to the number of recipes."""


def draw(number):
    return drawn(number, rates_hz=LOW_RATES_HZ, is_short=True)


@pytest.mark.parametrize("number", range(N_DRAWN))
def test_a_drawn_plan_keeps_every_promise(number, tmp_path):
    pair = draw(number)
    if is_too_far(pair):
        # what to take instead is told with the refusal
        with pytest.raises(TempoTooFarError, match=r"half-time bridge, or a stop with a count"):
            made(pair, tmp_path)
        return
    one = made(pair, tmp_path)
    got = figures(one, twice=number % TWICE_EVERY == 0)
    assert not misses(got), (pair, got)
    if number < N_JOINS_LOOKED_AT:
        # no step at a join is larger than those of the music around
        assert not clicking(one)


def test_the_draw_reaches_everything():
    """All recipes, rates, metres and channels; tempos of the whole range; refusals too."""
    draws = [draw(number) for number in range(N_DRAWN)]
    assert {d.recipe.name for d in draws} == {recipe.name for recipe in recipes()}
    assert {d.rate_hz for d in draws} == set(RATES_HZ)
    for side in ("old", "new"):
        scores = [getattr(d, side) for d in draws]
        assert {s.metre for s in scores} == {3, 4, 6}
        assert {s.n_channels for s in scores} == {1, 2}
        assert {s.has_stems for s in scores} == {False, True}
        assert min(s.bpm for s in scores) < 55
        assert max(s.bpm for s in scores) > 190
    refused = [d.recipe.name for d in draws if is_too_far(d)]
    assert set(refused) == {"steep ramp", "carried half-time", "filtered tail"}
    assert len(refused) >= 5  # most of them of the 16 draws that the first two get
