"""What no plan can be, and what a plan tells of itself."""

from dataclasses import replace

import pytest

from segue.plan import plan_segue
from segue.plan.edges import song_end, song_start
from segue.plan.heard_words import first_note_name
from segue.plan.layer import MapPoint, PadLayer, SongLayer
from tests.plan.song_facts import end_facts, start_facts, unheard


@pytest.fixture(scope="module", name="plan")
def _plan(shelf):
    return plan_segue(shelf["pad in the new key"], end_facts(), start_facts(first_note_s=9.0))


@pytest.mark.parametrize(
    "wrong",
    [
        pytest.param({"exit_beat": -1.0}, id="exit before the start"),
        pytest.param({"exit_beat": 1e4}, id="exit after the entry"),
        pytest.param({"end_beat": 1.0}, id="end before the entry"),
    ],
)
def test_exit_entry_and_end_are_in_order(wrong, plan):
    with pytest.raises(ValueError, match="are not in order"):
        replace(plan, **wrong)


def test_a_song_layer_goes_forwards():
    points = (MapPoint(beat=0.0, source_s=1.0), MapPoint(beat=4.0, source_s=3.0))
    layer = SongLayer(name="x", song="outgoing", start_beat=0.0, end_beat=4.0, time_map=points)
    with pytest.raises(ValueError, match="needs a length and two key frames"):
        replace(layer, time_map=points[:1])
    with pytest.raises(ValueError, match="needs a length and two key frames"):
        replace(layer, end_beat=0.0)
    for back in (MapPoint(beat=5.0, source_s=3.0), MapPoint(beat=4.0, source_s=4.0)):
        with pytest.raises(ValueError, match="runs backwards"):
            replace(layer, time_map=(*points, back))


def test_a_plan_tells_its_chords_and_whether_it_enters_on_a_bar(plan):
    assert plan.enters_on_a_bar
    off = replace(plan, entry_beat=plan.entry_beat + 0.5, end_beat=plan.end_beat + 0.5)
    assert not off.enters_on_a_bar
    (pad,) = [layer for layer in plan.layers if isinstance(layer, PadLayer)]
    assert plan.voicings == pad.voicings
    assert plan.beat_at(plan.seconds_at(7.25)) == pytest.approx(7.25)
    assert plan.seconds_at(0.0) == plan.lead_in_s
    assert plan.duration_s == plan.seconds_at(plan.end_beat)


def test_an_end_is_no_start_and_a_start_no_end():
    with pytest.raises(ValueError, match="read at its start"):
        song_end(start_facts())
    with pytest.raises(ValueError, match="read at its end"):
        song_start(end_facts())


def test_the_first_note_is_spelled_in_its_key():
    # MIDI 65 is F4; 61 is Db4 in F minor and C#4 in E major
    low = start_facts("F minor", first_note_s=4.0)
    low = replace(low, first_note=replace(low.first_note, midi=61.0))
    assert first_note_name(low) == "Db4"
    sharp = replace(low, key=replace(low.key, key=end_facts("E major").key.key))
    assert first_note_name(sharp) == "C#4"
    assert first_note_name(unheard(low, pulse=False)) == "C#4"  # of no key: sharps
    assert first_note_name(unheard(low, pulse=False), end_facts("F minor")) == "Db4"
    assert first_note_name(start_facts()) is None
