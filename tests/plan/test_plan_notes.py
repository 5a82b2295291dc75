"""What a plan says that it cannot do or is unsure of, and its reason in the pair's own numbers."""

from dataclasses import replace

import pytest

from segue.plan import plan_segue
from tests.plan.song_facts import end_facts, start_facts, unheard

OLD, NEW = end_facts("E minor", 124.0), start_facts("F minor", 96.0)


def notes(shelf, old=OLD, new=NEW, *, recipe="pad in the new key", **given):
    return plan_segue(shelf[recipe], old, new, **given).notes


def test_two_sure_songs_in_tune_need_no_word(shelf):
    assert notes(shelf) == ()


@pytest.mark.parametrize(("cents", "is_told"), [(25.0, False), (26.0, True), (-40.0, True)])
def test_songs_that_are_out_of_tune_with_each_other_are_told(shelf, cents, is_told):
    told = notes(shelf, new=replace(NEW, tuning_cents=cents))
    assert any(f"tuned {abs(cents):.0f} cents apart" in note for note in told) == is_told
    assert len(told) == is_told


@pytest.mark.parametrize(("talk_s", "is_told"), [(2.0, False), (60.0, True)])
def test_talk_that_does_not_fit_is_told_with_what_there_is(shelf, talk_s, is_told):
    plan = plan_segue(shelf["pad in the new key"], OLD, NEW, talk_s=talk_s)
    there_s = plan.seconds_at(plan.entry_beat) - plan.seconds_at(plan.exit_beat)
    words = (
        f"Only {there_s:.0f} of the {talk_s:.0f} seconds of talk fit in: this recipe does not "
        "wait for the singer."
    )
    assert (words in plan.notes) == is_told


def test_a_song_without_a_pulse_is_told_at_its_end_and_at_its_start(shelf):
    assert any(
        note == "No clear pulse at the end of 'Old Song': its bars are a guess."
        for note in notes(shelf, old=unheard(OLD, key=False))
    )
    assert any(
        note == "No clear pulse at the start of 'New Song': it enters where its sound starts."
        for note in notes(shelf, new=unheard(NEW, key=False))
    )


@pytest.mark.parametrize(
    ("confidence", "source", "is_told"),
    [(0.49, "heard", True), (0.5, "heard", False), (0.3, "given", False)],
)
def test_a_key_that_is_rather_wrong_than_right_is_a_guess(shelf, confidence, source, is_told):
    new = replace(NEW, key=replace(NEW.key, confidence=confidence, source=source))
    words = f"The key at the start of 'New Song' is a guess (F minor, {100 * confidence:.0f} %)"
    assert any(note.startswith(words) for note in notes(shelf, new=new)) == is_told


def test_the_reason_has_the_pairs_own_numbers(shelf):
    ramp = plan_segue(shelf["tempo ramp"], OLD, NEW)
    n_bars = sum(line.section == "interlude" for line in ramp.bar_lines)
    moving = [span for span in ramp.tempo.spans if span.law != "hold"]
    n_beats = sum(span.n_beats for span in moving)
    a_beat = 100 * (1 - (96 / 124) ** (1 / n_beats))  # as much from each beat to the next
    assert f"carry 124 to 96 BPM over {n_bars} bars ({a_beat:.1f} % a beat)" in ramp.why
    chords = dict.fromkeys(x.symbol for x in ramp.voicings)
    assert f"while {' - '.join(chords)} bring F minor" in ramp.why
