"""Every number that a review decides by says where it is from."""

import ast
import re
from pathlib import Path

import pytest

import segue.review

MODULES = sorted(Path(segue.review.__file__).parent.glob("*.py"))
MARKS = re.compile(
    r"by\s+judgement|[Cc]hosen\s+on|benchmarks/|\[[A-Z]+\d+\]_|from memory|common practice|EBU|ISO"
    r"|W3C|RFC|Okabe"
)
NO_THRESHOLD = re.compile(
    r"keeps .* (finite|zero)|milliseconds in a second|of the file that|twelve semitones"
    r"|units of the"
)
"""What guards a division, converts a unit or counts a version decides nothing."""


def _unmarked(path):
    """Names of a module's numbers beside which no mark stands."""
    text = path.read_text(encoding="utf-8")
    lines, body = text.splitlines(), ast.parse(text).body
    for node, after in zip(body, [*body[1:], None], strict=True):
        if not isinstance(node, ast.AnnAssign | ast.Assign) or node.value is None:
            continue
        if not any(isinstance(part, ast.Constant) and isinstance(part.value, int | float)
                   for part in ast.walk(node.value)):  # fmt: skip
            continue
        words = lines[node.lineno - 1 : node.end_lineno]
        above = node.lineno - 2
        while above >= 0 and lines[above].startswith("#"):
            words.append(lines[above])
            above -= 1
        if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant):
            words.append(str(after.value.value))
        told = " ".join(words)
        if not MARKS.search(told) and not NO_THRESHOLD.search(told):
            target = node.target if isinstance(node, ast.AnnAssign) else node.targets[0]
            yield ast.unparse(target)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.stem)
def test_every_number_has_a_source_or_a_mark(path):
    assert list(_unmarked(path)) == []


def test_a_number_without_a_mark_is_noticed(tmp_path):
    module = tmp_path / "module.py"
    module.write_text(
        "A = 1.0  # seconds\nB = 2.0  # by judgement\nC = 'words'\n", encoding="utf-8"
    )
    assert list(_unmarked(module)) == ["A"]
