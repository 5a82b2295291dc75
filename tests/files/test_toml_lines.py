"""Lines of values, on tricky text and as a law over drawn tables."""

import tomllib
from itertools import count

import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.files.toml_lines import line_of, toml_lines, toml_table
from segue.recipes.recipe_file import shelf_folder

# Constructs of TOML 1.0 (toml.io/en/v1.0.0) that hide brackets, quotes, hashes and line breaks.
TRICKY = '''# a comment [with] "signs"
plain = 1  # [not.a.table]
"quoted key" = 2
'literal.key' = 3
dotted . "in two" = 4
"caf\\u00e9" = 5
text = "a \\" quote, a # hash, a [bracket]"
literal = 'a \\ backslash'
long = """
[not]
a = table ""quoted"" \\
    folded"""
five_quotes = """"two quotes""""
long_literal = \'\'\'
it's [not] a table\'\'\'
dates = [1979-05-27, 1979-05-27 07:32:00, 07:32:00]
array = [  # a comment with ] in it
  "]", '[',

  [ 1,
    2 ],
  { x = 1, y = [ 3 ] },
]
[table]
a = true
[table.inner]
b = 1
[[items]]
c = 1
[items.sub]
d = 1
[[items]]

[[items.deep]]
e = 1
[[items.deep]]
f = 1
'''
TRICKY_LINES = {
    ("plain",): 2,
    ("quoted key",): 3,
    ("literal.key",): 4,
    ("dotted", "in two"): 5,
    ("café",): 6,
    ("text",): 7,
    ("literal",): 8,
    ("long",): 9,
    ("five_quotes",): 13,
    ("long_literal",): 14,
    ("dates",): 16,
    ("dates", 1): 16,
    ("dates", 2): 16,
    ("array",): 17,
    ("array", 0): 18,
    ("array", 1): 18,
    ("array", 2): 20,
    ("array", 2, 1): 21,
    ("array", 3, "y"): 22,
    ("array", 3, "y", 0): 22,
    ("table",): 24,
    ("table", "a"): 25,
    ("table", "inner", "b"): 27,
    ("items", 0): 28,
    ("items", 0, "sub", "d"): 31,
    ("items", 1): 32,
    ("items", 1, "deep", 0, "e"): 35,
    ("items", 1, "deep", 1, "f"): 37,
}


@pytest.mark.parametrize("ending", ["\n", "\r\n"], ids=["unix", "windows"])
def test_lines_of_tricky_text(ending):
    text = TRICKY.replace("\n", ending)
    tomllib.loads(text)
    lines = toml_lines(text)
    assert {path: lines.get(path) for path in TRICKY_LINES} == TRICKY_LINES


def test_a_missing_value_is_on_the_line_of_its_table():
    lines = toml_lines(TRICKY)
    assert line_of(lines, ("items", 1, "name")) == 32
    assert line_of(lines, ("nothing",)) == 1


def leaves(value, path=()):
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, (*path, key))
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from leaves(inner, (*path, number))
    else:
        yield path, value


@pytest.mark.parametrize("path", sorted(shelf_folder().glob("*.toml")), ids=lambda path: path.stem)
def test_every_value_of_the_shelf_stands_on_its_line(path):
    text = path.read_text(encoding="utf-8")
    lines, found = toml_lines(text), list(leaves(tomllib.loads(text)))
    assert found
    for place, value in found:
        assert str(value).lower() in text.splitlines()[lines[place] - 1].lower()


KEYS = st.sampled_from(["a", "b-1", "c_d", '"e f"', '"g\\"h"', "'i#j'", '"[k]"'])
SPACE = st.sampled_from([" ", "  ", "\n  ", "\n\n# ] } \" '\n\t"])
TREES = st.recursive(
    st.none(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=8,
)


@given(table=st.dictionaries(KEYS, TREES, min_size=1, max_size=4), data=st.data())
def test_each_value_is_on_the_line_where_it_was_written(table, data):
    """Every leaf is a number that stands only once in the text, so its line is known."""
    numbers = count(1000)

    def written(node):
        if node is None:
            return str(next(numbers))
        if isinstance(node, dict):
            return (
                "{ " + ", ".join(f"{key} = {written(inner)}" for key, inner in node.items()) + " }"
            )
        items = [data.draw(SPACE) + written(inner) + data.draw(SPACE) for inner in node]
        return "[" + ",".join(items) + data.draw(SPACE) + "]"

    text = "".join(f"{key} = {written(node)} # {{ [\n" for key, node in table.items())
    lines = toml_lines(text)
    for place, number in leaves(tomllib.loads(text)):
        assert str(number) in text.split("\n")[lines[place] - 1]


@pytest.mark.parametrize("joint", [".", " . ", ".\t"])
@pytest.mark.parametrize("form", ["{} = 1", "[{}]", "[[{}]]", "x = {{ {} = 1 }}"])
def test_a_key_that_leads_without_end_is_refused_before_it_takes_memory(form, joint):
    text = form.format(joint.join(["a"] * 20_000))
    with pytest.raises(RecursionError):
        toml_table(text)


def test_dots_in_texts_and_comments_are_no_keys():
    dots = ".".join(["a"] * 200)
    text = f'a.b.c = \'{dots}\'\nd = "{dots}" # {dots}\ne = """\n{dots}\n"""\n'
    assert toml_table(text) == tomllib.loads(text)


def test_a_key_without_end_takes_no_more_than_its_length():
    # by the square of its length, this would take four minutes
    text = "k" * 200_000 + " = 1"
    assert toml_table(text) == {"k" * 200_000: 1}
