"""Broken recipes: every fault told at once, each with its line and what would be right."""

import tomllib
from dataclasses import fields
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.errors import RecipeError
from segue.recipes.position import Position, parse_position
from segue.recipes.recipe import (
    Breakpoint,
    LayerSource,
    Length,
    Pattern,
    Recipe,
    RecipeLayer,
    Suits,
    Tempo,
)
from segue.recipes.recipe_file import load_recipe, parse_recipe, shelf_folder
from segue.recipes.rules import CURVE_RANGES, FIELDS, NEEDED, RANGES, MisfitError

BROKEN = Path(__file__).parent / "broken_recipes"
FILES = sorted(BROKEN.glob("*.toml"))
EXPECTED = (BROKEN / "expected.txt").read_text(encoding="utf-8").splitlines()
SHELF = {path: path.read_text(encoding="utf-8") for path in sorted(shelf_folder().glob("*.toml"))}
VALID = (Path(__file__).parent / "short_pad.toml").read_text(encoding="utf-8")


def sentences_of(text):
    with pytest.raises(RecipeError) as caught:
        parse_recipe(text, Path("x.toml"))
    return caught.value.sentences


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_broken_recipe_is_told_by_line(path):
    expected = [line for line in EXPECTED if line.startswith(f"{path.name}:")]
    assert expected
    with pytest.raises(RecipeError) as caught:
        load_recipe(path)
    assert [s.removeprefix(f"{path.parent}/") for s in caught.value.sentences] == expected


def test_every_expected_sentence_has_its_file():
    assert {line.split(":")[0] for line in EXPECTED} == {path.name for path in FILES}


def test_all_problems_of_a_file_are_told_at_once_in_the_order_of_its_lines():
    text = (
        VALID.replace('family = "pad"', "family = 3")
        .replace('sound = "warm"', 'sound = "wram"')
        .replace("least = 2", "least = 0")
        .replace('end = "end"', 'end = "edn"')
    )
    told = sentences_of(text)
    assert len(told) == 4
    lines = [int(sentence.split(":")[1]) for sentence in told]
    assert lines == sorted(lines)
    for line, word in zip(lines, ("family", "least", "wram", "edn"), strict=True):
        assert word in text.splitlines()[line - 1]


def with_number(number):
    return VALID.replace("aim_s = 8.0", f"aim_s = {number}")


HOSTILE = {
    "lists in lists": ("x = " + "[" * 3000 + "]" * 3000, "nested deeper"),
    "tables in tables": ("x = " + "{a=" * 3000 + "1" + "}" * 3000, "nested deeper"),
    "dotted without end": (".".join("a" * 3000) + " = 1", "nested deeper"),
    "nine levels": ("x = [[[[[[[[1]]]]]]]]", "nested deeper"),
    "a number of 5000 digits": (with_number("9" * 5000), "too long to be read"),
    "a number of 400 digits": (with_number("9" * 400), "aim_s"),
    "a count of 400 digits": (VALID.replace("least = 2", f"least = {'9' * 400}"), "least"),
    "a level of 400 digits": (VALID.replace("-40", "9" * 400), "gain_db"),
    "nan": (with_number("nan"), "nan is outside 0.1 to 600 s"),
    "infinity": (with_number("-inf"), "-inf is outside 0.1 to 600 s"),
    "nan for a count": (VALID.replace("least = 2", "least = nan"), "least"),
    "a name that rings the bell": (
        VALID.replace('name = "short pad"', 'name = "a\\u0007"'),
        "unprintable",
    ),
    "a long name": (VALID.replace("short pad", "a" * 90), "90 signs"),
    "sixty-five layers": (
        VALID + '[[layers]]\nsource="swell"\nstart="exit"\nend="entry"\n' * 65,
        "68",
    ),
    "sixty-five breakpoints": (
        VALID + "pan = [" + ",".join(f'["entry + {n}", 0]' for n in range(65)) + "]",
        "65 breakpoints",
    ),
    "format trick": (VALID.replace("{key_to}", "{key_to.__class__}"), "key_to.__class__"),
    "format width": (VALID.replace("{bars}", "{bars:>99999}"), "bars:>99999"),
    "only white": (" \n \n", "schema_version is missing"),
}


@pytest.mark.parametrize(("text", "word"), HOSTILE.values(), ids=HOSTILE.keys())
def test_a_hostile_text_gets_sentences(text, word):
    assert any(word in sentence for sentence in sentences_of(text))


@pytest.mark.parametrize("n", [0, 1, 2, 3])
def test_what_concerns_the_whole_file_names_no_line(n):
    text, word = list(HOSTILE.values())[n]
    (sentence,) = sentences_of(text)
    assert sentence.split(": ", 1)[1].startswith("is nested deeper")
    assert word in sentence


@pytest.mark.parametrize(("n_lists", "is_too_deep"), [(7, False), (8, True)])
def test_tables_and_lists_are_at_most_eight_deep(n_lists, is_too_deep):
    """The file itself is the first of them."""
    told = sentences_of("x = " + "[" * n_lists + "1" + "]" * n_lists + "\n" + VALID)
    assert any("nested deeper" in sentence for sentence in told) is is_too_deep


@pytest.mark.parametrize(("n_chords", "is_good"), [(1, True), (64, True), (65, False)])
def test_written_chords_are_at_most_sixty_four(n_chords, is_good):
    chords = " ".join(["V7"] * n_chords)
    layer = '[[layers]]\nsource="pad"\nstart="exit"\nend="entry"\nsound="warm"\n'
    text = VALID + layer + f'harmony="written"\nchords="{chords}"\n'
    if is_good:
        parse_recipe(text, Path("x.toml"))
    else:
        assert any("are 65, more than 64" in sentence for sentence in sentences_of(text))


FILES_OF_BYTES = {
    "a megabyte": (b"# " + b"x" * 1_000_000, "larger than 64 KB"),
    "latin-1": ('# one\nname = "caf\xe9"'.encode("latin-1"), ":2: is not UTF-8 text"),
    "utf-16": (VALID.encode("utf-16"), "is not UTF-8 text"),
    "a null": (b"name = \x00", "is not valid TOML"),
    "a picture": (bytes(range(256)) * 10, "is not UTF-8 text"),
    "nothing": (b"", "schema_version is missing"),
}


@pytest.mark.parametrize(("raw", "words"), FILES_OF_BYTES.values(), ids=FILES_OF_BYTES.keys())
def test_a_file_that_is_no_text_gets_a_sentence(raw, words, tmp_path):
    path = tmp_path / "x.toml"
    path.write_bytes(raw)
    with pytest.raises(RecipeError, match=r"x\.toml") as caught:
        load_recipe(path)
    assert words in str(caught.value)


def test_a_folder_and_a_missing_file_get_a_sentence(tmp_path):
    with pytest.raises(RecipeError, match="Is a directory") as caught:
        load_recipe(tmp_path)
    assert str(caught.value).startswith(f"{tmp_path}: ")  # of no line in it
    with pytest.raises(RecipeError, match="No such file"):
        load_recipe(tmp_path / "none.toml")


def test_a_byte_order_mark_and_windows_line_ends_are_read_over(tmp_path):
    path = tmp_path / "x.toml"
    path.write_bytes(b"\xef\xbb\xbf" + VALID.replace("\n", "\r\n").encode())
    assert load_recipe(path).name == "short pad"


WORDS = [
    "3",
    "-1",
    "nan",
    "1e999",
    '"x"',
    "[]",
    "[[1]]",
    "{}",
    "true",
    "1979-05-27",
    "",
    "[",
    '"""',
]


@given(
    text=st.sampled_from(list(SHELF.values())),
    edits=st.lists(
        st.tuples(
            st.sampled_from(["value", "drop line", "repeat line", "swap", "sign", "cut"]),
            st.integers(0, 10_000),
            st.sampled_from(WORDS) | st.text(max_size=4),
        ),
        min_size=1,
        max_size=6,
    ),
)
def test_a_mutated_recipe_is_a_recipe_or_a_recipe_error(text, edits):
    for kind, where, word in edits:
        text = mutated(text, kind, where, word)
    try:
        result = parse_recipe(text, Path("x.toml"))
    except RecipeError as error:
        n_lines = text.count("\n") + 1
        for sentence in error.sentences:
            assert sentence.startswith("x.toml:")
            assert "\n" not in sentence
            line = sentence.split(":")[1]
            assert not line.isdigit() or 1 <= int(line) <= n_lines
    else:
        assert isinstance(result, Recipe)


def mutated(text, kind, where, word):
    lines = text.split("\n")
    n = where % len(lines)
    match kind:
        case "value":
            lines[n] = f"{lines[n].partition('=')[0]}= {word}"
        case "drop line":
            del lines[n]
        case "repeat line":
            lines.insert(n, lines[n])
        case "swap":
            lines[n], lines[-n] = lines[-n], lines[n]
        case "sign":
            at = where % (len(text) + 1)
            return text[:at] + word + text[at + 1 :]
        case "cut":
            return text[: where % (len(text) + 1)]
    return "\n".join(lines)


def test_every_source_has_its_fields():
    names = {field.name for field in fields(RecipeLayer)}
    assert set(FIELDS) == set(get_args(LayerSource))
    assert set().union(*FIELDS.values()) == names
    assert all(needed in FIELDS[source] for source, needed in NEEDED.items())


@pytest.mark.parametrize(
    "cls", [Suits, Length, Tempo, Pattern, RecipeLayer], ids=lambda c: c.__name__
)
def test_every_number_has_a_range(cls):
    for field in fields(cls):
        if (
            field.type.split("[")[0].split(" |")[0] in ("int", "float")
            or "tuple[float" in field.type
        ):
            assert field.name in RANGES
        if "Breakpoint" in field.type:
            assert field.name in CURVE_RANGES


def test_classes_refuse_what_files_are_refused_for():
    place = Position(anchor="exit")
    with pytest.raises(MisfitError, match="overlap_bars: -1"):
        Length(least=1, default=1, most=1, overlap_bars=-1)
    with pytest.raises(MisfitError, match="percent_a_beat: 7"):
        Tempo(percent_a_beat=7.0)
    with pytest.raises(MisfitError, match="bends_to: does not fit the source 'riser'"):
        RecipeLayer(
            source="riser", start=place, end=Position(anchor="entry"), bends_to="common tone"
        )
    with pytest.raises(MisfitError, match="pan, 0: -2 is outside -1 to 1"):
        RecipeLayer(
            source="swell",
            start=place,
            end=Position(anchor="entry"),
            pan=(Breakpoint(at=place, value=-2.0),),
        )


@given(
    anchor=st.sampled_from(["start", "exit", "entry", "end"]),
    quarters=st.integers(-1024, 1024),
)
def test_a_position_is_read_as_it_is_written(anchor, quarters):
    sign = {"start": 1, "end": -1}.get(anchor)
    bars = abs(quarters) * sign / 4 if sign else quarters / 4
    position = Position(anchor=anchor, bars=bars)
    assert parse_position(str(position)) == position
    assert tomllib.loads(f'at = "{position}"')["at"] == str(position)
