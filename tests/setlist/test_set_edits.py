"""A set file in which one thing is put otherwise: everything else stays as it was written."""

import tomllib
from pathlib import Path

import pytest

from segue.setlist.set_file import SetFileError, with_field

FILE = Path("night.toml")
TEXT = """# our night
schema_version = 1
title = "Night"  # at the harbour

# the first
[[songs]]
path = 'one.wav'
title = "talk = 9s"
talk = "25s" # thanks
segue = false
[[songs]]
path = "two.wav"
not_beside = [
  "Three",
]
[[songs]]
path = "three.wav"
title = "Three"
"""


@pytest.mark.parametrize(
    ("song", "name", "value", "line"),
    [
        (0, "talk", "40s", 'talk = "40s" # thanks'),
        (0, "talk", None, None),
        (0, "segue", True, "segue = true"),
        (2, "talk", "5s", 'talk = "5s"'),
        (0, "changeover", "10s", 'changeover = "10s"'),
        (None, "slot", "45m", 'slot = "45m"'),
    ],
    ids=str,
)
def test_only_the_line_that_says_it_changes(song, name, value, line):
    made = with_field(TEXT, FILE, song, name, value)
    before, after = TEXT.splitlines(), made.splitlines()
    if value is None:
        assert 'talk = "25s" # thanks' not in after
    else:
        assert line in after
    assert [x for x in after if x not in (line,)] == [
        x for x in before if not x.startswith(f"{name} =") or song != 0
    ]
    table = tomllib.loads(made)
    found = table if song is None else table["songs"][song]
    assert found.get(name) == value


def test_a_list_over_many_lines_stays_as_it_is():
    made = with_field(TEXT, FILE, 1, "talk", "5s")
    assert made == TEXT.replace('path = "two.wav"\n', 'path = "two.wav"\ntalk = "5s"\n')


@pytest.mark.parametrize(("song", "name", "value"), [(0, "talk", "45"), (None, "slot", "soon")])
def test_what_a_set_may_not_say_is_refused(song, name, value):
    with pytest.raises(SetFileError, match=f"'{name}'"):
        with_field(TEXT, FILE, song, name, value)


def test_text_that_looks_like_the_field_is_not_it():
    made = with_field(TEXT.replace('talk = "25s" # thanks\n', ""), FILE, 0, "talk", "7s")
    assert tomllib.loads(made)["songs"][0]["title"] == "talk = 9s"


def test_a_quoted_name_is_told_and_nothing_is_lost():
    text = TEXT.replace('talk = "25s"', '"talk" = "25s"')
    with pytest.raises(SetFileError, match="edit the file"):
        with_field(text, FILE, 0, "talk", "7s")
