"""The run document survives the round trip and refuses what does not hold together."""

import json
import re

import pytest

from segue.errors import RunFolderError
from segue.plan import plan_segue
from segue.runfolder import Choice, RunDocument, check_free, document_text, read_document
from segue.runfolder.run_document import DOCUMENT_NAME
from tests.plan.song_facts import end_facts, start_facts
from tests.runfolder.records import card_of, record_of


@pytest.fixture(name="document")
def _document(shelf):
    old, new = end_facts(), start_facts(first_note_s=5.0)
    plan = plan_segue(shelf["pad in the new key"], old, new)
    record = record_of(plan, 1, scorecard=card_of(), singer_s=25.0, notes=("A note.",))
    return RunDocument(
        schema_version=1,
        segue_version="0",
        rate_hz=48_000,
        outgoing=old,
        incoming=new,
        candidates=(record,),
        choice=None,
    )


def test_document_reads_back_equal(document, tmp_path):
    (tmp_path / DOCUMENT_NAME).write_text(document_text(document), encoding="utf-8")
    assert read_document(tmp_path) == document


def test_document_is_plain_json_without_infinities(document):
    values = json.loads(document_text(document), parse_constant=pytest.fail)
    assert values["schema_version"] == 1
    assert values["candidates"][0]["plan"]["recipe"] == "pad in the new key"


@pytest.mark.parametrize(
    ("damage", "message"),
    [
        pytest.param(lambda text: text[: len(text) // 2], "is damaged", id="truncated"),
        pytest.param(lambda text: "", "is damaged", id="empty"),
        pytest.param(lambda text: "[" * 100_000, "is damaged", id="deep nesting"),
        pytest.param(
            lambda text: text.replace('"schema_version": 1', '"schema_version": 2'),
            r"newer Segue \(schema 2\)",
            id="from the future",
        ),
        pytest.param(
            lambda text: text.replace('"rate_hz": 48000', '"rate_hz": "fast"'),
            "does not hold together at 'rate_hz'",
            id="wrong type",
        ),
        pytest.param(
            lambda text: text.replace('"rate_hz": 48000', '"rate_hz": 48000, "extra": 1'),
            "does not hold together at 'extra'",
            id="unknown field",
        ),
        pytest.param(
            lambda text: text.replace('"recipe": "pad', '"recipe": "\\u001b[2Jpad'),
            r"recipe: a text with signs that are not to be printed",
            id="a word to the terminal",
        ),
        pytest.param(
            lambda text: text.replace('"title": "', f'"title": "{"x" * 5_000_000}'),
            r"title: a text of 50000\d\d letters",
            id="a title without end",
        ),
        pytest.param(
            lambda text: re.sub(r'"singer_s": [^,\n]*', '"singer_s": 1e18', text),
            "singer_s: a time longer than a week",
            id="a singer beyond all time",
        ),
    ],
)
def test_damaged_documents_are_refused_with_a_remedy(document, tmp_path, damage, message):
    (tmp_path / DOCUMENT_NAME).write_text(damage(document_text(document)), encoding="utf-8")
    with pytest.raises(RunFolderError, match=message) as caught:
        read_document(tmp_path)
    assert "run it again" in str(caught.value)


def test_a_folder_without_document_is_no_run_folder(tmp_path):
    with pytest.raises(RunFolderError, match="holds no segues"):
        read_document(tmp_path)


def test_a_choice_is_not_overwritten_unasked(document, tmp_path):
    from dataclasses import replace

    chosen = replace(document, choice=Choice(rank=1, why="the singer smiled"))
    (tmp_path / DOCUMENT_NAME).write_text(document_text(chosen), encoding="utf-8")
    with pytest.raises(RunFolderError, match="--replace"):
        check_free(tmp_path)
    check_free(tmp_path, replace=True)
