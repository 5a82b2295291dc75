"""Three that differ: invented listens, known answers."""

from dataclasses import replace
from itertools import pairwise

import pytest

from segue.analysis.structure_facts import BarFact
from segue.job.shortlist import (
    MOST_TRIED,
    QuickListen,
    carrier_of,
    climbs,
    difference,
    is_still,
    lifts,
    shortlist,
)
from segue.plan import Given
from segue.recipes import load_recipes, shelf_folder
from segue.score.bridge import BridgeSound
from tests.plan.song_facts import end_facts, start_facts, unheard

SHELF = load_recipes(shelf_folder())
BY_NAME = {recipe.name: recipe for recipe in SHELF}
PAIR = (end_facts("A minor", 100.0), start_facts("C major", 104.0))
PLAIN = BridgeSound(
    length_s=9.0,
    pulse=1.0,
    thinnest_pulse=0.9,
    onsets_a_s=4.0,
    below_lu=2.0,
    rise_lu=1.0,
    brighter=1.0,
    denser=1.0,
    dip_lu=0.0,
    air_db=0.0,
    curve_lu=(-2.0,) * 16,
)
STILL = replace(PLAIN, pulse=0.1, thinnest_pulse=0.0, onsets_a_s=0.5)


def listening(*, holes=None, **bridges):
    """A listener for whom held bridges are still and all others beat."""
    asked = []

    def listen(recipes):
        asked.extend(recipes)
        return {
            recipe.name: QuickListen(
                overall=0.8,
                bridge=bridges.get(recipe.name, STILL if carrier_of(recipe) == "held" else PLAIN),
                hole_s=(holes or {}).get(recipe.name, 0.0),
            )
            for recipe in recipes
        }

    return listen, asked


@pytest.mark.parametrize("purpose", [None, "lift", "dance"])
def test_at_most_one_of_three_is_still_where_a_song_has_a_beat(purpose):
    listen, asked = listening()
    three = shortlist(SHELF, PAIR, listen, Given(purpose=purpose))
    assert len(asked) <= MOST_TRIED
    assert len({recipe.family for recipe in three}) == len(three) == 3
    assert sum(carrier_of(recipe) == "held" for recipe in three) <= 1


@pytest.mark.parametrize("purpose", [None, "dance"])
def test_where_nothing_keeps_the_beat_of_one_song_more_is_listened_to(purpose):
    pair = (PAIR[0], unheard(start_facts(kind="free intro"), key=False))
    beats = dict.fromkeys(("drum break", "fill and go"), PLAIN)
    still = {recipe.name: STILL for recipe in SHELF} | beats
    listen, asked = listening(**still)
    three = shortlist(SHELF, pair, listen, Given(purpose=purpose))
    assert MOST_TRIED < len(asked) <= MOST_TRIED + 4
    assert beats.keys() & {recipe.name for recipe in three}
    no_more, only = listening(**still)
    shortlist(SHELF, pair, no_more, Given(purpose="calm"))
    assert len(only) <= MOST_TRIED


def test_no_drums_are_cut_out_of_the_notes_of_a_song_that_has_none():
    old, new = PAIR[0], unheard(start_facts(kind="free intro"), key=False)
    still = {recipe.name: STILL for recipe in SHELF}

    def drummed(presence):
        lines = old.pulse.downbeats_s
        bars = tuple(
            BarFact(start_s=a, end_s=b, level_lufs=-14.0, onsets_a_beat=1.0, voice=0.0, bass=1.0,
                    drums=presence, source="mix")
            for a, b in pairwise(lines)
        )  # fmt: skip
        listen, asked = listening(**still)
        shortlist(SHELF, (replace(old, bars=bars), new), listen, Given())
        return {recipe.name for recipe in asked}

    of_old_drums = {"drum break", "fill and go", "tempo ramp"}
    assert drummed(0.9) & of_old_drums
    assert not drummed(0.0) & of_old_drums


def test_two_songs_without_a_beat_get_no_ruler():
    listen, _ = listening()
    pair = (unheard(end_facts(), key=False), unheard(start_facts(), key=False))
    first, *_ = shortlist(SHELF, pair, listen, Given())
    assert first.tempo.move == "free"


def test_with_talk_the_first_is_made_for_it():
    listen, _ = listening()
    first, *_ = shortlist(SHELF, PAIR, listen, Given(talk_s=20.0))
    assert first.suits.talk == "yes"


def test_what_has_a_hole_is_passed_over():
    listen, _ = listening()
    taken = shortlist(SHELF, PAIR, listen, Given())
    again = shortlist(SHELF, PAIR, listening(holes={taken[0].name: 2.0})[0], Given())
    assert taken[0].name not in {recipe.name for recipe in again}


def test_what_beats_a_little_or_not_all_the_time_counts_as_still():
    assert not is_still(PLAIN)
    assert is_still(STILL)
    assert is_still(replace(PLAIN, pulse=0.4))
    assert is_still(replace(PLAIN, thinnest_pulse=0.2))
    assert is_still(replace(PLAIN, pulse=0.6, thinnest_pulse=0.35))  # a stop, then a count-in


def test_a_lift_is_two_of_three():
    assert not lifts(replace(PLAIN, rise_lu=5.0))
    assert lifts(replace(PLAIN, rise_lu=5.0, denser=1.5))
    assert lifts(replace(PLAIN, brighter=1.5, denser=1.5))


def test_for_a_lift_one_that_climbs_and_lifts_is_among_the_three():
    rising = replace(PLAIN, rise_lu=5.0, brighter=1.5)
    _, asked = heard = listening()
    shortlist(SHELF, PAIR, heard[0], Given(purpose="lift"))
    climbing = [recipe.name for recipe in asked if climbs(recipe)]
    assert climbing
    for name in climbing:
        three = shortlist(SHELF, PAIR, listening(**{name: rising})[0], Given(purpose="lift"))
        assert name in {recipe.name for recipe in three}


def test_for_a_lift_what_is_made_to_lift_is_listened_to():
    listen, asked = listening()
    shortlist(SHELF, PAIR, listen, Given(purpose="lift"))
    assert {"build", "tease and drop"} <= {recipe.name for recipe in asked}


def test_for_a_calm_all_three_are_calm_if_so_many_are_heard():
    """However good a drum break is, and however unlike a pad."""
    listen, asked = listening()
    three = shortlist(SHELF, PAIR, listen, Given(purpose="calm"))
    assert sum(carrier_of(recipe) == "held" for recipe in asked) > 3
    assert [carrier_of(recipe) for recipe in three] == ["held"] * 3


def test_for_a_calm_between_restless_songs_what_is_least_restless_comes_first():
    """Where nothing is calm by the limit, a groove is not as good as a pad."""
    busy = {recipe.name: replace(PLAIN, onsets_a_s=12.0) for recipe in SHELF}
    calmer = {"pad in the new key": replace(PLAIN, onsets_a_s=6.0)}
    listen, _ = listening(**busy | calmer)
    three = shortlist(SHELF, PAIR, listen, Given(purpose="calm"))
    assert three[0].name == "pad in the new key"


def test_the_best_is_among_the_three_though_others_are_less_alike(monkeypatch):
    listen, asked = listening()
    shortlist(SHELF, PAIR, listen, Given())
    best = next(recipe.name for recipe in asked if carrier_of(recipe) == "drums")

    def apart(one, _a, other, _b):
        return 0.0 if best in (one.name, other.name) else 1.0

    def favouring(recipes):
        scores = {recipe.name: 0.98 if recipe.name == best else 0.8 for recipe in recipes}
        return {name: QuickListen(overall=score, bridge=PLAIN) for name, score in scores.items()}

    monkeypatch.setattr("segue.job.shortlist.difference", apart)
    assert best in {recipe.name for recipe in shortlist(SHELF, PAIR, favouring, Given())}


def test_difference_is_nought_for_the_same_and_grows_with_what_is_heard():
    one, other = BY_NAME["drum break"], BY_NAME["pad in the new key"]
    a, b = QuickListen(overall=0.8, bridge=PLAIN), QuickListen(overall=0.8, bridge=STILL)
    assert difference(one, a, one, a) == 0.0
    assert 0.35 < difference(one, a, other, b) <= 1.0
    assert difference(one, a, other, b) == difference(other, b, one, a)


def test_every_carrier_is_on_the_shelf():
    assert {carrier_of(recipe) for recipe in SHELF} == {"loop", "drums", "played", "held"}
