"""Templates: strict about names, escaped whatever is printed, the only HTML there is."""

import ast
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jinja2 import Environment, UndefinedError

import segue
from segue.pages import TURN_DOWN, filled, joined, json_block

PACKAGE = Path(segue.__file__).parent
TEMPLATES = sorted((PACKAGE / "pages" / "templates").glob("*.html"))
TAG = re.compile(
    r"</[a-z]|<(a|article|br|button|circle|div|figure|form|g|h[1-6]|html|img|input|label|li|line|meta"
    r"|p|path|rect|script|section|span|strong|style|svg|t[dhr]|table|text|ul)(\s[^<>]*)?/?>"
)
PARTS = st.recursive(
    st.text()
    | st.integers()
    | st.booleans()
    | st.none()
    | st.floats(allow_nan=False, width=32).filter(lambda x: abs(x) < 1e30),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
)


class Texts(HTMLParser):
    """What a reader sees, and which tags there are."""

    def __init__(self, text):
        super().__init__()
        self.seen, self.tags = [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)

    def handle_data(self, data):
        self.seen.append(data)


@given(PARTS)
def test_json_block_reads_back_and_ends_no_script(values):
    block = json_block(values)
    assert not set("<>&'") & set(block)
    assert json.loads(block) == values


@pytest.mark.parametrize("number", [float("nan"), float("inf")])
def test_json_block_refuses_what_json_does_not_have(number):
    with pytest.raises(ValueError, match="JSON compliant"):
        json_block([number])


def test_a_value_that_is_not_given_is_a_fault_and_no_empty_place():
    with pytest.raises(UndefinedError, match="needs_code"):
        filled("join.html", {})


@given(st.text(alphabet="<>&\"'abc/ =").filter(str.strip))
def test_whatever_is_printed_is_text(words):
    values = {"title": words, "styles": (), "scripts": (), "sheets": (), "headings": (), "clef": ""}
    front = {"title": words, "summary": words, "rows": (), "notes": (words,), "care": (words,)}
    page = Texts(filled("cue_sheets.html", {**values, "front": front}))
    assert page.seen.count(words) == 5
    assert page.tags.count("p") == 2


def test_no_template_lets_a_value_pass_unescaped():
    assert len(TEMPLATES) >= 10
    for template in TEMPLATES:
        text = template.read_text(encoding="utf-8")
        assert not re.search(r"\|\s*safe|autoescape", text), template.name
        Environment(autoescape=True).parse(text)


def test_style_sheets_and_scripts_are_joined_in_order():
    both = joined(("order.js", "start.js"))
    assert both.index("shuffledOrder") < both.index("unpackAll")
    assert both == f"{joined(('order.js',))}\n{joined(('start.js',))}"


def texts_of(path):
    """Strings of a module, without its docstrings."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    said = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in said:
            yield node.value


def test_only_templates_hold_html():
    modules = sorted(PACKAGE.rglob("*.py"))
    assert len(modules) > 200
    found = {
        str(path.relative_to(PACKAGE)): tag.group()
        for path in modules
        for text in texts_of(path)
        for tag in TAG.finditer(text)
    }
    assert found == {}


@pytest.mark.parametrize("needs_code", [True, False])
def test_the_first_screen_of_a_vote_has_the_caution_before_anything_is_asked(needs_code):
    page = filled("join.html", {"needs_code": needs_code})
    assert page.index(TURN_DOWN) < page.index("<form")
