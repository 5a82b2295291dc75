"""The table of facts: one wording a fact, and a question mark where it is unsure."""

from dataclasses import replace

import pytest

from segue.analysis.facts import EdgeChord, FirstNote, KeyWeight
from segue.music.chord import Chord
from segue.music.key import parse_key
from segue.plan.heard_words import fact_table
from tests.plan.song_facts import end_facts, start_facts, unheard


def told(*facts):
    """What stands in each row, one edge after the other."""
    return {row.name: list(row.cells) for row in fact_table(facts)}


def test_an_end_is_told_fact_by_fact():
    assert told(end_facts("E minor", 124.0, last_hit_beats_before_end=0.5)) == {
        "key": ["E minor 90 %"],
        "at the edge": ["-"],
        "tuning": ["+0 cents"],
        "tempo": ["124 BPM (or 62, 248)"],
        "metre": ["4 beats a bar, 16 bars heard"],
        "level": ["-14.0 LUFS, peak -1.0 dBTP"],
        # 64 beats of 60 / 124 s from 100 s on, less half a beat
        "ends": ["keeps going, last hit at 130.73 s"],
        "first note": ["-"],
    }


def test_a_start_is_told_with_its_pick_up_and_its_note():
    start = start_facts("F minor", 96.0, kind="pick-up", pickup_beats=1.5, first_note_s=5.25)
    cells = told(replace(start, tuning_cents=-12.4))
    assert cells["starts"] == ["pick-up of 1.5 beats, bar one at 1.04 s"]
    assert cells["first note"] == ["F4 at 5.25 s"]
    assert cells["tuning"] == ["-12 cents"]
    assert told(start_facts())["starts"] == ["on the beat, bar one at 0.10 s"]
    assert told(start_facts())["first note"] == ["none heard"]


def test_both_edges_stand_side_by_side_under_one_heading():
    cells = told(end_facts(), start_facts())
    assert cells["key"] == ["E minor 90 %", "F minor 90 %"]
    assert len(cells["ends / starts"]) == 2


def test_what_is_unsure_has_a_question_mark_and_its_rivals():
    end = end_facts("E minor", 124.0, confidence=0.6)
    others = [("G major", 0.2), ("B minor", 0.1), ("A minor", 0.05)]
    runners = tuple(KeyWeight(key=parse_key(key), weight=weight) for key, weight in others)
    end = replace(end, key=replace(end.key, runners_up=runners))
    ending = replace(end.ending, kind="fade", confidence=0.5, fade_start_s=120.0)
    cells = told(replace(end, ending=ending))
    assert cells["key"] == ["E minor? 60 % (or G major 20 %, B minor 10 %)"]
    assert cells["tempo"] == ["124 BPM? (or 62, 248)"]
    assert cells["metre"] == ["4 beats a bar?, 16 bars heard"]
    assert cells["ends"][0].startswith("fade?, last hit at ")
    start = start_facts()
    start = replace(start, opening=replace(start.opening, confidence=0.5))
    assert told(start)["starts"] == ["on the beat?, bar one at 0.10 s"]


def test_what_was_given_says_so_and_has_no_rivals():
    end = end_facts("F# minor", 92.5)
    pulse = replace(end.pulse, source="given", confidence=0.2)
    end = replace(end, key=replace(end.key, source="given"), pulse=pulse)
    cells = told(end)
    assert cells["key"] == ["F# minor (given)"]
    assert cells["tempo"] == ["92.5 BPM (given)"]


def test_what_was_not_heard_has_no_number():
    cells = told(unheard(end_facts()))
    assert cells["key"] == ["none heard"]
    assert cells["tempo"] == ["free time"]
    assert cells["metre"] == ["-"]


def test_an_end_that_grows_quieter_is_told_from_where():
    end = end_facts()
    cells = told(replace(end, ending=replace(end.ending, outro_start_s=118.04)))
    assert cells["ends"][0].endswith(", quieter from 118.0 s")


@pytest.mark.parametrize(
    ("confidence", "words"),
    [(0.95, "ends on VII (D)"), (0.55, "ends on VII (D)?"), (0.4, "-")],
)
def test_the_last_chord_is_told_as_far_as_it_is_clear(confidence, words):
    chord = EdgeChord(chord=Chord(root=2, quality="major"), confidence=confidence)
    end = replace(end_facts("E minor"), edge_chord=chord)
    assert told(end)["at the edge"] == [words]
    plain = words.replace("VII (D)", "D")
    assert told(unheard(end, pulse=False))["at the edge"] == [plain]


@pytest.mark.parametrize(
    ("file_lufs", "words"),
    [
        (-14.0, "-14.0 LUFS, peak"),
        (-14.04, "-14.0 LUFS, peak"),
        (-17.0, "-14.0 LUFS (-17.0 LUFS by ITU-R BS.1770 for its one channel), peak"),
    ],
)
def test_a_file_of_one_channel_has_two_loudnesses(file_lufs, words):
    end = end_facts()
    told_level = told(replace(end, level=replace(end.level, file_lufs=file_lufs)))["level"]
    assert told_level == [f"{words} -1.0 dBTP"]


def test_a_first_note_is_spelled_in_its_key():
    note = FirstNote(midi=68.2, time_s=3.0)
    for key, name in (("F minor", "Ab4"), ("E major", "G#4")):
        assert told(replace(start_facts(key), first_note=note))["first note"] == [
            f"{name} at 3.00 s"
        ]
