"""What a valid recipe is warned of."""

from pathlib import Path

import pytest

from segue.recipes.lint import recipe_warnings
from segue.recipes.recipe_file import load_recipes, parse_recipe, shelf_folder

HEAD = """schema_version = 1
name = "test"
family = "test"
summary = "A test."
why = "To {key_to}."
"""
LENGTH = "[length]\nleast = 2\ndefault = 4\nmost = 8\n"
OLD = '[[layers]]\nsource = "outgoing"\nname = "old"\nstart = "start"\nend = "entry + 4"\n'
NEW = '[[layers]]\nsource = "incoming"\nname = "new"\nstart = "entry"\nend = "end"\n'
OVERLAP = "carry_bars = -1\noverlap_bars = 4\n"


def warned(text, **options):
    recipe = parse_recipe(text, Path("x.toml"))
    return [(misfit.place, misfit.sentence) for misfit in recipe_warnings(recipe, **options)]


def overlapping(*, old="", new="", top="", length=OVERLAP):
    return warned(HEAD + top + LENGTH + length + OLD + old + NEW + new)


def test_the_shelf_is_warned_of_nothing():
    recipes = load_recipes(shelf_folder())
    assert {r.name: recipe_warnings(r) for r in recipes} == {r.name: () for r in recipes}


def test_whole_songs_that_overlap_have_two_singers_and_two_basses():
    told = overlapping()
    assert [place for place, _ in told] == [("layers", 1)] * 2
    assert told[0][1].startswith("two singers at once from 'entry' on, with 'old'")
    assert told[1][1].startswith("two bass lines at once from 'entry' on, with 'old'")


VOICES, BASSES = "two singers", "two bass lines"
KEPT_APART = {
    "on purpose": ({"top": "on_purpose = ['two vocals', 'two bass lines']\n"}, set()),
    "only singers on purpose": ({"top": "on_purpose = ['two vocals']\n"}, {BASSES}),
    "old bass cut": ({"old": 'highpass_hz = [["start", 150]]\n'}, {VOICES}),
    "new bass cut": ({"new": 'highpass_hz = [["start", 200]]\n'}, {VOICES}),
    "old bass not cut enough": ({"old": 'highpass_hz = [["start", 149]]\n'}, {VOICES, BASSES}),
    "bass cut too late": (
        {"old": 'highpass_hz = [["entry + 1", 20], ["entry + 2", 200]]\n'},
        {VOICES, BASSES},
    ),
    "old voice behind a filter": ({"old": 'lowpass_hz = [["start", 300]]\n'}, {BASSES}),
    "old song far down": (
        {"old": 'gain_db = [["entry - 1", 0], ["entry", -20], ["entry + 4", -60]]\n'},
        set(),
    ),
    "old song only rings": ({"length": ""}, set()),
    "old drums alone, with stems or a mix": (
        {"old": 'roles = ["drums"]\npart = "percussive"\n'},
        set(),
    ),
    "old drums alone, with stems": ({"old": 'roles = ["drums"]\nonly = "stems"\n'}, set()),
    "bass and voice in different songs": (
        {
            "old": 'roles = ["voice"]\nonly = "stems"\n',
            "new": 'roles = ["bass", "drums"]\nonly = "stems"\n',
        },
        set(),
    ),
    "lead against voice": (
        {"old": 'roles = ["lead"]\nonly = "stems"\n', "new": 'roles = ["voice"]\n'},
        {VOICES},
    ),
}


@pytest.mark.parametrize(("parts", "expected"), KEPT_APART.values(), ids=KEPT_APART.keys())
def test_two_at_once_are_told_where_they_are_heard(parts, expected):
    clashes = {
        word
        for word in (VOICES, BASSES)
        for _, told in overlapping(**parts)
        if told.startswith(word)
    }
    assert clashes == expected


def test_silence_before_the_entry_is_told():
    ((place, sentence),) = warned(
        HEAD + LENGTH + OLD.replace("entry + 4", "exit + 1") + NEW.replace('"new"', '"new song"')
    )
    assert place == ("layers",)
    assert sentence.startswith("leave silence after 'exit + 1' in 2 bars")


@pytest.mark.parametrize(
    ("curve", "is_told"),
    [('[["exit", 0], ["exit + 1", -59]]', False), ('[["exit", 0], ["exit + 1", -60]]', True)],
    ids=["just heard", "not heard"],
)
def test_a_layer_at_minus_sixty_is_silence(curve, is_told):
    old = OLD.replace("entry + 4", "entry") + f"gain_db = {curve}\n"
    told = warned(HEAD + LENGTH + old + NEW)
    assert any("silence" in sentence for _, sentence in told) == is_told


def test_a_click_is_no_sound_in_the_room():
    click = '[[layers]]\nsource = "click"\nstart = "exit"\nend = "entry"\n'
    told = warned(HEAD + LENGTH + OLD.replace("entry + 4", "exit") + click + NEW)
    assert any("leave silence" in sentence for _, sentence in told)


def test_songs_given_as_a_mix_need_a_layer_unless_stems_are_asked_for():
    old = OLD.replace("entry + 4", "entry") + 'only = "stems"\n'
    told = [sentence for _, sentence in warned(HEAD + LENGTH + old + NEW)]
    assert any("leave out the old song where it is given as a mix" in s for s in told)
    asked = "[suits]\noutgoing_stems = ['drums']\n"
    told = [sentence for _, sentence in warned(HEAD + asked + LENGTH + old + NEW)]
    assert told == []


def test_a_recipe_without_the_new_song_is_told():
    told = warned(HEAD + LENGTH + OLD.replace("entry + 4", "end"))
    assert told == [(("layers",), "never play the new song; add one with source 'incoming'")]


def test_a_why_for_every_pair_and_a_taken_name_are_told():
    text = HEAD.replace("{key_to}", "somewhere") + LENGTH + OLD.replace("entry + 4", "entry") + NEW
    assert [place for place, _ in warned(text, taken={"test"})] == [("name",), ("why",)]
