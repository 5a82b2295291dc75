"""The choice of the band is written whole or not at all."""

import pytest

from segue.audition.ballot import Ballot
from segue.audition.votes import Vote
from segue.errors import RunFolderError
from segue.runfolder import BALLOT_NAME, Choice, check_free, read_document, write_choice
from tests.audition.conftest import _document

document = _document


@pytest.fixture(name="run")
def _run(document, tmp_path):
    from segue.runfolder import document_text

    (tmp_path / "segue.json").write_text(document_text(document), encoding="utf-8")
    return tmp_path


def test_choice_replaces_an_earlier_one_and_nothing_else(run, document):
    from dataclasses import replace

    write_choice(run, Choice(rank=1))
    chosen = write_choice(run, Choice(rank=2, why="„weiter“"))
    assert read_document(run) == chosen
    assert chosen == replace(document, choice=Choice(rank=2, why="„weiter“"))
    assert [path.name for path in run.iterdir()] == ["segue.json"]


@pytest.mark.parametrize("rank", [0, 4, -1])
def test_choice_of_no_candidate_is_refused(run, rank):
    before = (run / "segue.json").read_bytes()
    with pytest.raises(RunFolderError, match=rf"has no option {rank}: .*1, 2, 3"):
        write_choice(run, Choice(rank=rank))
    assert (run / "segue.json").read_bytes() == before


def test_failure_half_way_leaves_the_document_as_it_was(run, monkeypatch):
    before = (run / "segue.json").read_bytes()

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(RunFolderError, match="could not be written"):
        write_choice(run, Choice(rank=1))
    assert (run / "segue.json").read_bytes() == before
    assert [path.name for path in run.iterdir()] == ["segue.json"]


def test_run_with_votes_is_not_replaced_unasked(run):
    check_free(run)
    (run / BALLOT_NAME).write_bytes(b"")
    with pytest.raises(RunFolderError, match="votes of the band"):
        check_free(run)
    check_free(run, replace=True)


def test_run_on_which_a_vote_was_opened_and_nobody_voted_may_be_replaced(run):
    ballot = Ballot(run, settings="", token="a")
    with ballot.transaction():
        ann = ballot.add_listener("cookie", name="Ann", seed=1, is_host=False)
    check_free(run)
    with ballot.transaction():
        ballot.cast(ann, Vote(choice=1, confidence=2, words="", heard=(1,)))
    with pytest.raises(RunFolderError, match="votes of the band"):
        check_free(run)
    ballot.close()
    with pytest.raises(RunFolderError, match="votes of the band"):
        check_free(run)
