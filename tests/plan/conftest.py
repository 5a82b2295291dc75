"""Fixtures of the planning tests."""

import pytest

from tests.plan import song_facts


@pytest.fixture
def end_facts():
    return song_facts.end_facts


@pytest.fixture
def start_facts():
    return song_facts.start_facts
