"""A take of another option than the one that was asked for is told as that one."""

from dataclasses import replace

import pytest

from segue.plan import plan_segue
from segue.review import ReviewRequest, review_take
from segue.runfolder import document_text, read_document
from segue.runfolder.run_document import DOCUMENT_NAME
from tests.plan.song_facts import end_facts, start_facts
from tests.review.conftest import CHORDS, Played, band, record_at, taped


@pytest.fixture(scope="module", name="pair")
def _pair(run, shelf, tmp_path_factory):
    """A run of two options that sound apart between the songs, and the plan of the second."""
    folder = tmp_path_factory.mktemp("two options")
    other = plan_segue(shelf["turnaround"], end_facts(), start_facts(first_note_s=5.0))
    (folder / "1 music.wav").write_bytes((run / "1 music.wav").read_bytes())
    taped(band(other, Played(chords=CHORDS[::-1])), folder / "2 music.wav", noise=0.0)
    document = read_document(run)
    document = replace(document, candidates=(*document.candidates, record_at(other, 2)))
    (folder / DOCUMENT_NAME).write_text(document_text(document), encoding="utf-8")
    return folder, other


@pytest.mark.parametrize("asked", [1, 2])
def test_what_was_played_is_heard_whichever_was_asked_for(pair, asked, tmp_path):
    folder, other = pair
    take = taped(band(other, Played(chords=CHORDS[::-1])), tmp_path / "take.wav", offset_s=1.0)
    told = review_take(ReviewRequest(run=folder, take=take, rank=asked))
    assert told.asked == asked
    assert told.best_try.candidate == 2
    assert told.best_try.recipe == "turnaround"
    sentences = [finding.sentence for finding in told.best_try.findings]
    assert any("option 2" in sentence for sentence in sentences) == (asked == 1)
