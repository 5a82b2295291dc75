"""What a card proposes to do about a weak place can be done."""

from dataclasses import replace
from functools import cache
from itertools import product
from pathlib import Path

import pytest
from typer.testing import CliRunner

from segue.analysis.structure_facts import PhraseFact
from segue.cli import change as command
from segue.cli.app import app
from segue.job.attempt import changed_attempt
from segue.recipes import load_recipes, shelf_folder
from segue.runfolder.remedies import WEAK_MARK, bar_of, remedies_of, remedy_of
from segue.score.leaving import source_s
from segue.score.weights import WEIGHTS
from tests.job.a_run import document_of
from tests.runfolder.records import measure_of

NEEDS_AN_ENDING = {"last_chord"}
"""Its remedy leaves on the last chord, which a song that keeps going does not have."""
WORDS = (
    "It does not lift: it ends 1 LU softer.",
    "It does not calm: it ends louder.",
    "It sags before bar one: 8 LU.",
    "It lets the floor go: 9 LU.",
)


@pytest.fixture(scope="module", name="document")
def _document(shelf):
    return document_of(shelf, recipes=RECIPES)


RECIPES = tuple(recipe.name for recipe in load_recipes(shelf_folder()))


def measured(name, value, *, mark=0.2, beat=None, sentence="A finding."):
    return measure_of(name, score=mark, value=value, sentence=sentence, worst_beat=beat)


@cache
def asked(options):
    """What the command line makes of the options of a remedy."""
    taken = []
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(command, "_change", lambda *words, **_: taken.append(words[2]))
        done = CliRunner().invoke(app, ["change", "run", "1", *options], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return taken[0]


def remedies(document):
    """Every remedy of every measure, for every recipe."""
    for record in document.candidates:
        plan = record.plan
        cases = product(
            sorted(set(WEIGHTS) - NEEDS_AN_ENDING), (-9.0, 8.0, 24.0),
            (plan.exit_beat, plan.entry_beat), WORDS,
        )  # fmt: skip
        for name, value, beat, words in cases:
            remedy = remedy_of(document, record, measured(name, value, beat=beat, sentence=words))
            if remedy is not None and remedy.command == "change":
                yield record.label, remedy.options


def test_every_remedy_can_be_planned(document):
    found = sorted(set(remedies(document)))
    assert len({options[0] for _, options in found}) >= 5
    for label, options in found:
        _, made, _ = changed_attempt(Path("run"), document, label, asked(options))
        assert made.words, options


def test_most_weak_places_have_a_remedy(document):
    names = ("pulse", "hole", "cliff", "fullness", "key_arrival", "own_music")
    found = [
        remedy_of(document, record, measured(name, 8.0, beat=record.plan.exit_beat)) is not None
        for record in document.candidates
        for name in names
    ]
    assert sum(found) > 0.75 * len(found)


def test_a_fall_into_the_bridge_is_met_by_a_louder_one_and_a_fall_at_bar_one_by_a_softer(document):
    record = document.candidates[RECIPES.index("turnaround")]
    at = {
        beat: remedy_of(document, record, measured("cliff", -8.0, beat=beat))
        for beat in (record.plan.exit_beat, record.plan.entry_beat)
    }
    first, last = (found.options for found in at.values())
    assert first == ("--level", "bridge +4")
    assert last == ("--level", "bridge -4")
    assert "4 LU louder" in at[record.plan.exit_beat].words


def test_a_remedy_that_would_undo_one_that_matters_more_is_left_out(document):
    record = document.candidates[RECIPES.index("turnaround")]
    fall = measured("cliff", -8.0, beat=record.plan.exit_beat)
    loud = measured("fullness", -8.0)
    first, second = remedies_of(document, record, (fall, loud))
    assert first.options == ("--level", "bridge +4")
    assert second is None
    first, second = remedies_of(document, record, (loud, fall))
    assert first.options == ("--level", "bridge -6")
    assert second is None
    assert remedies_of(document, record, (fall, fall)) == (remedy_of(document, record, fall),) * 2


def test_songs_far_apart_in_level_are_matched_by_making_the_run_again(document):
    record = document.candidates[0]
    far = measured("level_match", 13.0, beat=record.plan.entry_beat)
    remedy = remedy_of(document, record, far)
    assert (remedy.command, remedy.options) == ("between", ("--match",))
    matched = replace(document, sources=replace(document.sources, match=True))
    assert remedy_of(matched, record, far) is None


@pytest.mark.parametrize("late", [1.0, 2.0, 3.0])
def test_an_accent_off_beat_one_is_said_to_be_the_downbeat(document, late):
    pulse = document.incoming.pulse
    record = document.candidates[RECIPES.index("turnaround")]
    remedy = remedy_of(document, record, measured("bar_line", late))
    assert (remedy.command, remedy.options[0]) == ("between", "--new-downbeat")
    assert f"beat {late + 1:.0f} for beat 1" in remedy.words
    beats = (float(remedy.options[1]) - pulse.downbeats_s[0]) / pulse.beat_s
    assert beats % pulse.metre == pytest.approx(late, abs=0.02)
    assert remedy_of(document, record, measured("bar_line", 0.0)) is None


def test_a_song_left_beside_a_phrase_start_is_left_on_it(document):
    record = document.candidates[RECIPES.index("turnaround")]
    bar_s = document.outgoing.pulse.beat_s * document.outgoing.pulse.metre
    left_s = source_s(record.plan, "outgoing", record.plan.exit_beat)
    sure = PhraseFact(
        n_bars=4, starts_s=tuple(left_s - bar_s * n for n in (9, 5, 1)), confidence=1.0
    )
    changed = replace(document, outgoing=replace(document.outgoing, phrases=sure))
    remedy = remedy_of(changed, record, measured("phrase", 1.0))
    assert remedy.options[0] == "--leave"
    assert "leave" in remedy.words
    _, _, plan = changed_attempt(Path("run"), changed, record.label, asked(remedy.options))
    after_s = source_s(plan, "outgoing", plan.exit_beat)
    assert after_s == pytest.approx(left_s - bar_s, abs=0.05)
    assert remedy_of(document, record, measured("phrase", 1.0, mark=0.9)) is None


def test_a_song_that_plays_on_into_the_bridge_is_left_no_later(document):
    record = document.candidates[RECIPES.index("tempo ramp")]
    bar_s = document.outgoing.pulse.beat_s * document.outgoing.pulse.metre
    left_s = source_s(record.plan, "outgoing", record.plan.exit_beat)
    # the next phrase is nearer, but what plays on is all that the song has left
    starts_s = tuple(left_s + bar_s * n for n in (-7, -3, 1))
    sure = PhraseFact(n_bars=4, starts_s=starts_s, confidence=1.0)
    changed = replace(document, outgoing=replace(document.outgoing, phrases=sure))
    remedy = remedy_of(changed, record, measured("phrase", -1.0))
    _, _, plan = changed_attempt(Path("run"), changed, record.label, asked(remedy.options))
    after_s = source_s(plan, "outgoing", plan.exit_beat)
    assert after_s == pytest.approx(left_s - 3 * bar_s, abs=0.05)


def test_good_marks_and_runs_of_before_versions_have_no_remedy(document):
    record = document.candidates[0]
    assert remedy_of(document, record, measured("key_arrival", 1.0, mark=WEAK_MARK)) is None
    old = replace(record, made=None)
    assert remedy_of(document, old, measured("key_arrival", 1.0)) is None
    assert remedy_of(document, record, measured("no such measure", 1.0)) is None


def test_the_bar_of_a_finding_is_that_in_which_it_was_worst(document):
    record = document.candidates[0]
    lines = {line.number: line.beat for line in record.plan.bar_lines}
    number = bar_of(record, measured("hole", 2.0, beat=record.plan.exit_beat + 1))
    assert lines[number] <= record.plan.exit_beat + 1 < lines[number + 1]
    assert bar_of(record, measured("hole", 2.0)) is None
