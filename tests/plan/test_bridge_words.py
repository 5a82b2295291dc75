"""What happens in a bridge, in a line, and where to listen."""

from dataclasses import replace

import pytest

from segue.plan import plan_segue
from segue.plan.bridge_words import MOST_MOMENTS, bridge_line, moments_of
from segue.plan.layer import PadLayer
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


def layered(plan, *names):
    """The plan with layers of these names, all through the bridge, between the two songs."""
    old, new = plan.layers[0], plan.layers[-1]
    pad = next(x for x in plan.layers if isinstance(x, PadLayer))
    return replace(plan, layers=(old, *(replace(pad, name=name) for name in names), new))


@pytest.mark.parametrize(
    ("names", "words"),
    [
        (("pad",), "Pad;"),
        (("pad", "keys"), "Pad and keys;"),
        (("pad", "keys", "bass"), "Pad, keys and bass;"),
        (("pad", "keys", "bass", "drums"), "Pad, keys and more;"),
        (("pad", "keys", "bass", "drums", "bells"), "Pad, keys and more;"),
        (("pad 1", "pad 2", "pad (soft)"), "Pad;"),  # copies of one
        ((), "The old song rings on;"),
    ],
)
def test_at_most_three_names_tell_who_plays(shelf, names, words):
    plan = layered(planned(shelf, "broken chords"), *names)
    assert bridge_line(plan, has_keys=False).startswith(words)


def test_what_only_leads_in_or_out_is_not_named(shelf):
    plan = planned(shelf, "broken chords")
    (pad,) = (x for x in plan.layers if isinstance(x, PadLayer))
    for end, is_named in ((plan.exit_beat + 0.4, False), (plan.exit_beat + 0.6, True)):
        last = replace(pad.voicings[0], end_beat=end)
        short = replace(pad, name="bells", voicings=(last,))
        line = bridge_line(replace(plan, layers=(*plan.layers, short)), has_keys=False)
        assert ("bells" in line.lower()) == is_named


@pytest.mark.parametrize(
    ("old_bpm", "new_bpm", "words"),
    [
        (120.0, 120.0, "120 BPM throughout"),
        (120.0, 120.5, "120.5 BPM throughout"),
        (120.0, 96.0, "slowing from 120 to 96 BPM over "),
        (96.0, 120.0, "speeding up from 96 to 120 BPM over "),
    ],
)
def test_the_way_of_the_tempo_is_told(shelf, old_bpm, new_bpm, words):
    plan = plan_segue(shelf["tempo ramp"], end_facts(bpm=old_bpm), start_facts(bpm=new_bpm))
    line = bridge_line(plan, has_keys=False)
    assert words in line
    n_beats = sum(x.n_beats for x in plan.tempo.spans if x.law != "hold")
    assert ("throughout" in line) or line.endswith(f"over {n_beats / 4:g} bars.")


def test_nobody_counts_where_there_is_no_click(shelf):
    plan = replace(planned(shelf, "broken chords"), click=())
    assert bridge_line(plan, has_keys=False) == "Keys and pad."
    assert bridge_line(plan, has_keys=True) == "Keys and pad; F minor from bar 9."


def test_one_key_stays_and_what_comes_at_one_bar_line_is_told_once(shelf):
    same = plan_segue(shelf["broken chords"], end_facts("F minor"), start_facts("F minor"))
    assert bridge_line(same, has_keys=True).endswith("stays in F minor.")
    assert [x.words for x in moments_of(same, has_keys=True)] == ["bridge", "new song"]
    both = planned(shelf, "turnaround")  # tempo and key with the first bar of the bridge
    assert bridge_line(both, has_keys=True).endswith("; 96 BPM and F minor from bar 7.")
    assert bridge_line(both, has_keys=False).endswith("; 96 BPM from bar 7.")


def test_a_third_place_is_the_new_key_or_else_the_first_note(shelf):
    def heard(name, **more):
        plan = planned(shelf, name, **more)
        return [(x.bar, x.words) for x in moments_of(plan, has_keys=True)]

    assert heard("broken chords") == [(7, "bridge"), (9, "new key"), (11, "new song")]
    assert heard("stop and count-in") == [(7, "bridge"), (9, "new song")]
    # bar one at 0.1 s, a bar is 2.5 s: 5 s lies in the second
    late = [(7, "bridge"), (9, "new song"), (10, "first note")]
    assert heard("stop and count-in", first_note_s=5.0) == late
    assert heard("stop and count-in", first_note_s=0.1) == late[:2]


def test_a_cut_has_one_place(shelf):
    plan = planned(shelf, "stop and count-in")
    cut = replace(plan, entry_beat=plan.exit_beat, singer_beat=None)
    assert bridge_line(cut, has_keys=False).startswith("Straight into the new song")
    assert [x.words for x in moments_of(cut, has_keys=False)] == ["new song"]
