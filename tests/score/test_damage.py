"""Each kind of damage with a known right answer lowers the score, and the measure that names it.

The clean way across is synthetic, with known truth (see `tests.score.synthetic`).
"""

from __future__ import annotations

import pytest

from segue.music.key import parse_key

DAMAGE = [
    pytest.param({"late_s": 0.06}, {"entry_timing"}, id="entered 60 ms late"),
    pytest.param({"incoming_shift_beats": 1}, {"bar_line"}, id="a beat early in the bar"),
    pytest.param(
        {"sounding_key_to": parse_key("F# minor")},
        {"landing", "runway"},
        id="a semitone off the pad",
    ),
    pytest.param({"incoming_gain_db": 6.0}, {"level_match"}, id="6 dB louder"),
    pytest.param({"incoming_gain_db": -6.0}, {"level_match"}, id="6 dB softer"),
    pytest.param({"hole_s": 2.0}, {"hole"}, id="hole of 2 s"),
    pytest.param(
        {"outgoing_overlap_beats": 24},
        {"consonance", "low_end", "key_arrival", "runway"},
        id="two bands and basses a semitone apart",
    ),
    pytest.param({"ramp_beats": 4}, {"tempo_change"}, id="ramp squeezed into a bar"),
    pytest.param({"ramp_beats": 0}, {"tempo_change"}, id="no ramp at all"),
    pytest.param({"has_cadence": False}, {"cadence"}, id="no cadence"),
    pytest.param(
        {"pad_key": parse_key("F major")},
        {"key_arrival", "old_key", "runway"},
        id="pad in the wrong mode",
    ),
    pytest.param({"clip_at": 0.6}, {"clipping"}, id="clipped"),
    pytest.param({"click_leak": 0.2}, {"click_leak"}, id="click in the room"),
]


@pytest.mark.parametrize(("damage", "names"), DAMAGE)
def test_damage_lowers_the_score_and_the_measure_that_names_it(score_of, damage, names):
    clean, damaged = score_of(), score_of(**damage)
    assert damaged.overall < clean.overall
    fallen = {
        # a measure that is only there because of the damage had nothing to complain of before
        measure.name: _scores(clean).get(measure.name, 1.0) - measure.score
        for measure in damaged.measures
    }
    assert max(fallen, key=lambda name: fallen[name]) in names, fallen


@pytest.mark.parametrize(
    "steps",
    [
        pytest.param([{"late_s": s} for s in (0.0, 0.02, 0.04, 0.06)], id="late"),
        pytest.param([{"incoming_gain_db": g} for g in (0.0, 3.0, 6.0)], id="louder"),
        pytest.param([{"hole_s": s} for s in (0.0, 1.0, 2.0)], id="hole"),
        pytest.param([{"ramp_beats": n} for n in (12, 4, 0)], id="ramp"),
        pytest.param([{"click_leak": g} for g in (0.0, 0.05, 0.2)], id="click"),
    ],
)
def test_more_damage_scores_lower(score_of, steps):
    scores = [score_of(**step).overall for step in steps]
    assert scores == sorted(scores, reverse=True)
    assert len(set(scores)) == len(scores)


def _scores(card):
    return {measure.name: measure.score for measure in card.measures}
