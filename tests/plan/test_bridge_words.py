"""What happens in a bridge, in a line, and where to listen."""

import pytest

from segue.plan import plan_segue
from segue.plan.bridge_words import MOST_MOMENTS, bridge_line, moments_of
from tests.plan.song_facts import end_facts, start_facts


def planned(shelf, name, **more):
    return plan_segue(shelf[name], end_facts(bpm=124.0), start_facts(bpm=96.0, **more))


def test_a_ramp_is_told_with_its_length_and_where_the_key_arrives(shelf):
    plan = planned(shelf, "tempo ramp")
    line = bridge_line(plan, has_keys=True)
    assert "slowing from 124 to 96 BPM over " in line
    assert "F minor from bar " in line
    assert bridge_line(plan, has_keys=False).endswith("bars.")


def test_a_step_in_tempo_is_told_with_its_bar(shelf):
    plan = planned(shelf, "stop and count-in")
    exit_bar = next(x.number for x in plan.bar_lines if x.section == "interlude")
    assert f"96 BPM from bar {exit_bar}" in bridge_line(plan, has_keys=False)


@pytest.mark.parametrize("has_keys", [True, False])
def test_places_to_listen_to_are_two_or_three_bars_in_order(shelf, has_keys):
    n_checked = 0
    for recipe in shelf.values():
        plan = plan_segue(recipe, end_facts(), start_facts(first_note_s=5.0))
        moments = moments_of(plan, has_keys=has_keys)
        assert 1 <= len(moments) <= MOST_MOMENTS, recipe.name
        bars = [moment.bar for moment in moments]
        assert bars == sorted(bars)
        assert any(moment.words == "new song" for moment in moments)
        line = bridge_line(plan, has_keys=has_keys)
        assert line[0].isupper() or line[0].isdigit()
        assert line.endswith(".")
        n_checked += 1
    assert n_checked > 20
