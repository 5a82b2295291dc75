"""The picture of an option says what its page says: near is high, and a thing has one colour."""

import numpy as np
from matplotlib.figure import Figure

from segue.runfolder.pictures import _draw_keys, section_colours
from segue.score.scorecard import CurveSample, Scorecard


def curve(*values):
    return tuple(CurveSample(time_s=float(n), value=value) for n, value in enumerate(values))


def test_the_nearer_a_key_the_higher_its_line(shelf):
    from segue.plan import plan_segue
    from tests.plan.song_facts import end_facts, start_facts

    plan = plan_segue(shelf["tempo ramp"], end_facts("E minor"), start_facts("F minor"))
    card = Scorecard(
        measures=(), overall=0.5, key_distance_from=curve(0.0, 0.8), key_distance_to=curve(0.9, 0.1)
    )
    axis = Figure().subplots()
    _draw_keys(axis, plan, card)
    old, new = axis.lines
    assert np.allclose(old.get_ydata(), [1.0, 0.2])
    assert np.allclose(new.get_ydata(), [0.1, 0.9])
    assert [text.get_text() for text in axis.get_legend().get_texts()] == ["E minor", "F minor"]
    colours = section_colours()
    assert [old.get_color(), new.get_color()] == [colours["outgoing"], colours["incoming"]]
    assert [label.get_text() for label in axis.get_yticklabels()] == ["far", "near"]
