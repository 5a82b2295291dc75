"""The published schema of a run says what the reader of runs does."""

import json

import jsonschema
import pytest

from segue.errors import RunFolderError
from segue.runfolder import document_text, read_document
from tests.audition.conftest import _document
from tests.runfolder.run_reference import (
    REFERENCE,
    SCHEMA,
    classes,
    reference_text,
    run_schema,
    schema_text,
)

document = _document


@pytest.fixture(scope="module", name="validator")
def _validator():
    jsonschema.Draft202012Validator.check_schema(run_schema())
    return jsonschema.Draft202012Validator(run_schema())


def test_the_published_schema_is_current():
    assert SCHEMA.read_text(encoding="utf-8") == schema_text()


def test_the_published_tables_are_current():
    text = REFERENCE.read_text(encoding="utf-8")
    assert text == reference_text(text)
    assert all(f"### {name}\n" in text for name in classes())


def test_a_run_as_it_is_written_is_valid(document, validator):
    validator.validate(json.loads(document_text(document)))


# What both the schema and the reader refuse, each a change of a sound run.
DAMAGES = {
    "a field of a later version": lambda run: run.update(extra=1),
    "a field too few": lambda run: run.pop("rate_hz"),
    "words for a number": lambda run: run.update(rate_hz="fast"),
    "no such mode": lambda run: run["outgoing"]["key"]["key"].update(mode="dorian"),
    "an unknown layer": lambda run: run["candidates"][0]["plan"]["layers"][0].update(kind="x"),
}


@pytest.mark.parametrize("damage", DAMAGES.values(), ids=DAMAGES)
def test_schema_and_reader_refuse_alike(document, validator, tmp_path, damage):
    run = json.loads(document_text(document))
    damage(run)
    assert not validator.is_valid(run)
    (tmp_path / "segue.json").write_text(json.dumps(run), encoding="utf-8")
    with pytest.raises(RunFolderError):
        read_document(tmp_path)
