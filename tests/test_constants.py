"""Every number that stands by itself says what it is, and where it is from.

A constant of a module (a name in capitals that holds a number, or numbers) has a docstring under
it, or a comment on its line or right above: its unit, and a source, 'set by judgement', or the
benchmark that chose it. That the words are true is for the reader; that there are some is tested.
"""

import ast
import re
import tokenize
from pathlib import Path

import pytest

import segue

PACKAGE = Path(segue.__file__).parent
LEAST_WORDS = 3
NAME = re.compile(r"_?[A-Z][A-Z0-9_]*")
UNSAID = {"analysis": 0}
"""How many are still without a word in the rooms that lack some: only ever to fall."""


def numbers_in(node):
    """Whether an expression is made of numbers alone, with at least one."""
    found = False
    for part in ast.walk(node):
        if isinstance(part, ast.Constant):
            if isinstance(part.value, bool) or not isinstance(part.value, int | float | complex):
                return False
            found = True
        elif isinstance(part, ast.Call | ast.Dict | ast.Lambda | ast.comprehension) or (
            isinstance(part, ast.Name) and not NAME.fullmatch(part.id)
        ):
            return False
    return found


def constants_of(tree):
    """Names, the statement of each, and the one that follows it."""
    for node, following in zip(tree.body, [*tree.body[1:], None], strict=True):
        if isinstance(node, ast.AnnAssign):
            targets, value = [node.target], node.value
        elif isinstance(node, ast.Assign):
            targets, value = node.targets, node.value
        else:
            continue
        names = [
            part.id
            for target in targets
            for part in ast.walk(target)
            if isinstance(part, ast.Name) and NAME.fullmatch(part.id)
        ]
        if names and value is not None and numbers_in(value):
            yield names, node, following


def comments_of(path):
    with path.open("rb") as file:
        return {
            token.start[0]: token.string.lstrip("# ")
            for token in tokenize.tokenize(file.readline)
            if token.type == tokenize.COMMENT and "noqa" not in token.string.partition(" - ")[0]
        }


def has_words(text):
    return len(re.findall(r"[A-Za-z0-9]+", text)) >= LEAST_WORDS


def unsaid(path):
    """Constants of a file that nothing is said of, as 'file:line NAME'."""
    tree, comments = ast.parse(path.read_text(encoding="utf-8")), comments_of(path)
    for names, node, following in constants_of(tree):
        docstring = (
            following.value.value
            if isinstance(following, ast.Expr) and isinstance(following.value, ast.Constant)
            else ""
        )
        near = [comments.get(line, "") for line in range(node.lineno - 1, node.end_lineno + 1)]
        if not has_words(docstring) and not any(map(has_words, near)):
            yield f"{path.relative_to(PACKAGE.parent)}:{node.lineno} {', '.join(names)}"


def rooms():
    found = sorted(path.parent.name for path in PACKAGE.glob("*/__init__.py"))
    assert "music" in found
    return found


@pytest.mark.parametrize("room", rooms())
def test_every_number_has_a_word(room):
    found = [line for path in sorted((PACKAGE / room).rglob("*.py")) for line in unsaid(path)]
    assert len(found) <= UNSAID.get(room, 0), "\n".join(["say what these are:", *found])


def test_every_number_outside_rooms_has_a_word():
    assert [line for path in sorted(PACKAGE.glob("*.py")) for line in unsaid(path)] == []


def test_the_check_sees_what_it_should(tmp_path):
    source = (
        "BARE: Final = 3\n"
        "SAID: Final = 0.5\n"
        '"""Share of a bar, by judgement."""\n'
        "BESIDE = (1, 2)  # beats of a bar, say\n"
        "# two thirds of a beat\n"
        "ABOVE = -2 / 3\n"
        "WORD = 'text'\n"
        "MADE = BARE * 2\n"
        "SHORT = 4  # four\n"
        "small = 7\n"
    )
    tree = ast.parse(source)
    assert [name for names, *_ in constants_of(tree) for name in names] == [
        "BARE", "SAID", "BESIDE", "ABOVE", "MADE", "SHORT",
    ]  # fmt: skip
    (tmp_path / "made.py").write_text(source)
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(globals(), "PACKAGE", tmp_path / "segue")
        assert list(unsaid(tmp_path / "made.py")) == [
            "made.py:1 BARE", "made.py:8 MADE", "made.py:9 SHORT",
        ]  # fmt: skip
