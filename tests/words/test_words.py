"""One thing has one name: words that may not appear in what people read.

Kept beside the house's list of words: a word here stands for a sentence that was read by nobody
at once. The words of the recipe language (exit, entry, outgoing, incoming) are allowed where that
language is spoken.
"""

import ast
import re
from itertools import pairwise

import pytest
import typer

from segue.audition import write_page
from segue.cli.app import app
from segue.recipes import shelf_folder
from segue.setlist.show.evening_pack import SHEETS_NAME
from segue.setlist.show.evening_page import write_evening_page
from tests.setlist.an_evening import evening_of
from tests.words.said import (
    PACKAGE,
    ROOT,
    sentences_of,
    text_of_page,
    text_of_recipe,
    text_of_script,
    text_of_template,
)

_WHOSE = "a|all|any|both|each|every|first|last|next|no|of|own|that|the|this|which"
BETTER = {
    r"ways? across": "a segue",
    r"way from the end": "a segue",
    r"candidates?": "an option",
    r"interludes?": "the bridge",
    r"(?:first|second) song": "the old song, the new song",
    r"(?:song|end of|start of|between) (?-i:[AB])(?! (?:major|minor))(?=[ ,.;:]|$)": "old, new",
    r"SONG_[AB]": "OLD_SONG, NEW_SONG",
    rf"(?:{_WHOSE}) joins?(?! (?:in|up)\b)": "segue",
    r"joins (?:that|whose|were|are)": "segues",
    r"hard cut": "a plain cut",
    r"ought to lose": "put in as a check",
    r"by the plan": "nothing: what was not heard has no mark",
    r"distance \d|distance \{|\(distance": "easy, moderate or hard",
    r"times the straight line": "the route is roundabout",
    r"rubs? a little": "slightly rough",
    r"followers?": "could follow",
    r"at energy|energy of|energy [1-5]\b": "drive",
    r"keeps? the pins|breaks a pin|other pin": "your fixed places",
    r"hears? anew|was heard anew": "analyse again",
    r"what the stage gives": "length of your slot",
    r"ways? in step": "from the same spot",
    r"the place in the music stays": "from the same spot",
    r"numbered triangle": "a hatched bar",
    r"dominant vamp": "a turnaround",
    r"two voices at once": "two singers should not overlap",
    r"never silent": "no gap",
    r"TIS\b": "how far apart two keys are",
    r"entry on the (?:beat|bar)": "enters on the beat",
}
"""What may not be read, as patterns of whole words, and what is said instead."""
PAGES = PACKAGE / "pages"
WORDS = re.compile(rf"\b(?:{'|'.join(BETTER)})", re.IGNORECASE)
SIDES = re.compile(r"\b(?:outgoing|incoming)\b", re.IGNORECASE)
LANGUAGE = ("recipes", "cli/recipe_drawing.py")
"""Where the recipe language is spoken: there the songs have the names that a recipe gives them."""
FOR_DEVELOPERS = {"architecture.md", "python.md", "run-document.md", "many-songs.md"}


def unfit(text):
    """What is said in a text that nobody is to read."""
    return [match[0] for match in WORDS.finditer(text)]


def commands():
    group = typer.main.get_command(app)
    context = group.make_context("segue", ["--version"], resilient_parsing=True)
    yield "segue", group.get_help(context)
    for name, command in group.commands.items():
        with command.make_context(name, [], parent=context, resilient_parsing=True) as inner:
            yield name, command.get_help(inner)
            for more, part in getattr(command, "commands", {}).items():
                with part.make_context(more, [], parent=inner, resilient_parsing=True) as own:
                    yield f"{name} {more}", part.get_help(own)


@pytest.mark.parametrize(("name", "text"), [*commands()], ids=lambda value: value[:20])
def test_help_has_one_name_a_thing(name, text):
    text = " ".join(re.sub(r"--[a-z-]+", "", text).split())
    assert not unfit(text)
    assert not SIDES.search(text)


MODULES = sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_sentences_in_the_source_have_one_name_a_thing(path):
    told = {(line, re.sub(r"\{.*?\}", "…", text)) for line, text in sentences_of(path)}
    assert not [(line, text) for line, text in told if unfit(text)]
    if not str(path.relative_to(PACKAGE)).startswith(LANGUAGE):
        assert not [(line, text) for line, text in told if SIDES.search(text)]


@pytest.mark.parametrize(
    "path", sorted((PAGES / "templates").glob("*.html")), ids=lambda path: path.stem
)
def test_templates_have_one_name_a_thing(path):
    text = text_of_template(path)
    assert not unfit(text)
    assert not SIDES.search(text)


@pytest.mark.parametrize(
    "path", sorted((PAGES / "scripts").glob("*.js")), ids=lambda path: path.stem
)
def test_scripts_have_one_name_a_thing(path):
    assert not unfit(text_of_script(path))


@pytest.mark.parametrize("path", sorted(shelf_folder().glob("*.toml")), ids=lambda path: path.stem)
def test_recipes_have_one_name_a_thing(path):
    text = text_of_recipe(path)
    assert not unfit(text)
    assert not SIDES.search(text)


DOCS = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md")), ROOT / "CHANGELOG.md"]


@pytest.mark.parametrize(
    "path", [p for p in DOCS if p.name not in FOR_DEVELOPERS], ids=lambda p: p.name
)
def test_docs_have_one_name_a_thing(path):
    text = re.sub(r"```.*?```|`[^`]*`", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    assert not unfit(" ".join(text.split()))


def test_pages_and_sheets_of_an_evening_have_one_name_a_thing(shelf, tmp_path):
    evening = evening_of(shelf, folder=tmp_path)
    write_evening_page(tmp_path, evening)
    for join in evening.joins:
        write_page(tmp_path / join.folder, join.document)
    pages = sorted(tmp_path.rglob("*.html"))
    assert tmp_path / SHEETS_NAME in pages
    assert len(pages) == 2 + len(evening.joins)
    for page in pages:
        text = text_of_page(page.read_text(encoding="utf-8"))
        assert "old song" in text or "Friday" in text
        assert not unfit(text)
        assert not SIDES.search(text)


@pytest.mark.parametrize(
    "text",
    [
        "Three ways across",
        "Candidate 2 is chosen",
        "Order, times and every join",
        "With the second song a semitone down",
        "From the end of A to the start of B",
        "within 0.0 % of the new tempo (no pulse is heard there: by the plan)",
        "(distance 0.84 of 1)",
    ],
)
def test_what_was_said_once_is_found(text):
    assert unfit(text)


@pytest.mark.parametrize(
    "text",
    ["the organ joins in", "Join with the code AB12", "a semitone up from A minor", "Both A and B"],
)
def test_what_may_be_said_is_not(text):
    assert not unfit(text)


def percent_signs(path):
    """Line and text of every way in which a module writes percent otherwise than all others."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FormattedValue) and node.format_spec is not None:
            if ast.unparse(node.format_spec).endswith("%'"):
                yield node.lineno, ast.unparse(node)
        elif isinstance(node, ast.JoinedStr):
            yield from ((node.lineno, words) for words in glued_to_a_hole(node.values))
    for line, text in sentences_of(path):
        if re.search(r"\d%(?![\w(])", text):
            yield line, text


def glued_to_a_hole(parts):
    """What begins with the sign right behind a number that is filled in."""
    for before, part in pairwise(parts):
        is_text = isinstance(part, ast.Constant) and isinstance(before, ast.FormattedValue)
        if is_text and str(part.value).startswith("%"):
            yield part.value


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda p: p.stem)
def test_percent_is_written_in_one_way(path):
    assert [*percent_signs(path)] == []


@pytest.mark.parametrize(
    "path",
    [
        ROOT / "README.md",
        *sorted((ROOT / "docs").glob("*.md")),
        *sorted((PACKAGE / "recipes").rglob("*.toml")),
    ],
    ids=lambda p: p.stem,
)
def test_percent_is_written_in_one_way_in_what_is_read(path):
    assert re.findall(r".{0,30}\d%", path.read_text(encoding="utf-8")) == []


def test_percent_written_otherwise_is_found(tmp_path):
    module = tmp_path / "x.py"
    for text in ('f"{x:.0%} of it"', 'f"{x:.0f}% of it"', '"about 30% of it"'):
        module.write_text(f"y = {text}\n")
        assert [*percent_signs(module)], text
    module.write_text('y = f"{percent(x)} of it, 30 % or {n % 2} more"\n')
    assert not [*percent_signs(module)]
