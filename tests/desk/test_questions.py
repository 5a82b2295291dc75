"""Every doubt of the analysis is a question that can be answered by ear, or a remark."""

from dataclasses import replace

import pytest

from segue.analysis.doubts import doubts_about
from segue.audio.song_toml import EndToml
from segue.desk.questions import questions_of, remarks_of
from tests.plan.song_facts import end_facts, start_facts


def doubted(facts):
    return replace(facts, doubts=doubts_about(facts))


def unsure_bars(facts):
    return replace(facts, pulse=replace(facts.pulse, downbeat_confidence=0.2, confidence=0.95))


def unsure_tempo(facts):
    return replace(facts, pulse=replace(facts.pulse, confidence=0.4, source="heard"))


def unsure_key(facts):
    return replace(facts, key=replace(facts.key, confidence=0.4, source="heard"))


def unsure_ending(facts):
    return replace(facts, ending=replace(facts.ending, confidence=0.2))


def unsure_opening(facts):
    return replace(facts, opening=replace(facts.opening, confidence=0.2))


DOUBTS = {
    "key": unsure_key(end_facts()),
    "tempo": unsure_tempo(end_facts()),
    "bars": unsure_bars(end_facts()),
    "bars of the new song": unsure_bars(start_facts()),
    "ending": unsure_ending(end_facts()),
    "opening": unsure_opening(start_facts()),
}


@pytest.mark.parametrize("facts", DOUBTS.values(), ids=DOUBTS)
def test_a_doubt_is_a_question_whose_answers_can_be_heard(facts):
    asked = questions_of(facts)
    assert doubts_about(facts)
    assert asked
    assert remarks_of(doubted(facts)) == ()
    for question in asked:
        assert 2 <= len(question.answers) <= 3
        for answer in question.answers:
            by_itself = answer.chord or answer.click_bpm or answer.metre
            assert by_itself or question.hear_from_s is not None
            assert replace(EndToml(), **{answer.field: answer.value}) != EndToml()


def test_what_is_sure_is_not_asked():
    for facts in (end_facts(), start_facts()):
        assert doubts_about(facts) == ()
        assert questions_of(facts) == ()


def test_bar_one_may_be_a_beat_to_either_side():
    facts = DOUBTS["bars"]
    ones = next(q for q in questions_of(facts) if q.answers[0].field == "first_downbeat_s").answers
    heard = ones[0].value
    assert min(abs(heard - t) for t in facts.pulse.downbeats_s) < 1e-3
    assert [round((a.value - heard) / facts.pulse.beat_s) for a in ones] == [0, 1, -1]


def test_what_no_answer_settles_is_a_remark():
    facts = doubted(replace(end_facts(), tuning_spread_cents=30.0))
    assert questions_of(facts) == ()
    assert len(remarks_of(facts)) == 1
