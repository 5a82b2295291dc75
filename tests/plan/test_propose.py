"""Which recipes suit a pair: each thing that does not fit costs what is said, and alone."""

from dataclasses import replace

import pytest

from segue.analysis.facts import KeyWeight
from segue.music.key import parse_key
from segue.music.tonal_space import key_distance
from segue.plan.propose import Given, breadth, energy, proposals, suitability, tempo_change
from tests.plan.song_facts import end_facts, start_facts, unheard

BAND = frozenset({"drums", "bass", "keys", "voice"})


@pytest.fixture(scope="module", name="pad")
def _pad(shelf):
    """A recipe that suits every pair; each test narrows it."""
    recipe = shelf["pad in the new key"]
    anything = replace(
        recipe.suits,
        key_distance=(0.0, 1.0),
        tempo_change=(1.0, 4.0),
        endings=(),
        openings=(),
        needs_pulse=(),
        energy="either",
        outgoing_stems=(),
        incoming_stems=(),
        talk="either",
    )
    return replace(recipe, suits=anything)


def narrowed(recipe, **suits):
    return replace(recipe, suits=replace(recipe.suits, **suits))


@pytest.mark.parametrize(
    ("old", "new", "going"),
    [
        pytest.param({}, {"bpm": 124.0}, "level", id="nothing moves"),
        pytest.param({}, {"bpm": 131.0}, "up", id="faster by 5 %"),
        pytest.param({}, {"bpm": 129.0}, "level", id="faster by less"),
        pytest.param({}, {"bpm": 117.0}, "down", id="slower by 5 %"),
        pytest.param({}, {"bpm": 124.0, "loudness_lufs": -12.0}, "up", id="louder by 2 LU"),
        pytest.param({}, {"bpm": 124.0, "loudness_lufs": -12.1}, "level", id="louder by less"),
        pytest.param({}, {"bpm": 124.0, "loudness_lufs": -16.0}, "down", id="softer by 2 LU"),
        pytest.param(
            {}, {"bpm": 131.0, "loudness_lufs": -17.0}, "level", id="faster and softer: a draw"
        ),
        pytest.param({}, {"bpm": 124.0, "key": "F minor"}, "up", id="a semitone up lifts"),
        pytest.param({}, {"bpm": 124.0, "key": "Eb minor"}, "down", id="a semitone down drops"),
        pytest.param(
            {}, {"bpm": 110.0, "key": "F minor", "loudness_lufs": -10.0}, "up", id="two of three"
        ),
    ],
)
def test_where_the_evening_goes_is_voted_by_tempo_level_and_key(old, new, going):
    new = {"key": "E minor", "loudness_lufs": -14.0} | new
    assert energy(end_facts(**old), start_facts(**new)) == going


@pytest.mark.parametrize(
    ("old_bpm", "new_bpm", "ratio"),
    [(100, 100, 1.0), (100, 120, 1.2), (120, 100, 1.2), (70, 140, 1.0), (150, 72, 150 / 144)],
)
def test_a_change_of_tempo_counts_half_and_double_time_as_one(old_bpm, new_bpm, ratio):
    told = tempo_change(end_facts(bpm=float(old_bpm)), start_facts(bpm=float(new_bpm)))
    assert told == pytest.approx(ratio)


def test_a_recipe_at_home_fits_fully(pad):
    assert suitability(pad, end_facts(), start_facts()) == 1.0


def test_a_key_outside_what_suits_falls_to_a_half_035_beyond(pad):
    old, new = end_facts(confidence=1.0), start_facts(confidence=1.0)
    distance = key_distance(old.key.key, new.key.key)
    for beyond, fit in ((0.0, 1.0), (0.35, 0.5), (0.7, 0.5**4)):
        near = narrowed(pad, key_distance=(0.0, distance - beyond))
        assert suitability(near, old, new) == pytest.approx(fit)


def test_a_tempo_outside_what_suits_falls_to_a_half_12_percent_beyond(pad):
    old, new = end_facts(bpm=120.0), start_facts(bpm=100.0)
    for beyond, fit in ((0.0, 1.0), (0.12, 0.5)):
        near = narrowed(pad, tempo_change=(1.0, 1.2 * 2.718281828459045 ** (-beyond)))
        assert suitability(near, old, new) == pytest.approx(fit)


def test_a_key_and_a_tempo_that_are_both_outside_cost_both(pad):
    old, new = end_facts(bpm=120.0, confidence=1.0), start_facts(bpm=100.0, confidence=1.0)
    far_key, far_tempo = {"key_distance": (0.0, 0.3)}, {"tempo_change": (1.0, 1.1)}
    key, tempo = (suitability(narrowed(pad, **far), old, new) for far in (far_key, far_tempo))
    assert 0 < key < 1
    assert 0 < tempo < 1
    both = suitability(narrowed(pad, **far_key, **far_tempo), old, new)
    assert both == pytest.approx(key * tempo)


def test_runners_up_of_the_key_count_by_their_weight(pad):
    near = narrowed(pad, key_distance=(0.0, 0.0))
    old = end_facts("E minor", confidence=1.0)
    new = start_facts("E minor", confidence=0.6)
    other = KeyWeight(key=parse_key("G minor"), weight=0.3)
    unsure = replace(new, key=replace(new.key, runners_up=(other,)))
    apart = 0.5 ** ((key_distance(old.key.key, other.key) / 0.35) ** 2)
    assert suitability(near, old, new) == pytest.approx(1.0)
    assert suitability(near, old, unsure) == pytest.approx((0.6 + 0.3 * apart) / 0.9)


@pytest.mark.parametrize(
    ("suits", "fit"),
    [
        pytest.param({"endings": ("ring-out",)}, 0.5, id="another ending"),
        pytest.param({"endings": ("ring-out", "keeps going")}, 1.0, id="one of the endings"),
        pytest.param({"openings": ("pick-up",)}, 0.5, id="another opening"),
        pytest.param({"endings": ("fade",), "openings": ("pick-up",)}, 0.25, id="both"),
        pytest.param({"energy": "down"}, 1.0, id="the way it goes"),
        pytest.param({"energy": "up"}, 0.5, id="the other way"),
        pytest.param({"needs_pulse": ("outgoing", "incoming")}, 1.0, id="pulses are there"),
        pytest.param({"tempo_change": (1.1, 4.0)}, 1.0, id="a change that is there"),
    ],
)
def test_what_does_not_fit_costs_its_factor(suits, fit, pad):
    old, new = end_facts(bpm=124.0), start_facts("E minor", bpm=96.0)  # slower and softer: down
    assert suitability(narrowed(pad, **suits), old, new) == pytest.approx(fit)


@pytest.mark.parametrize(
    ("new_lufs", "purpose", "fit"),
    [(-14.0, None, 0.9), (-19.0, None, 0.5), (-21.0, None, 0.25), (-21.0, "lift", 1.0)],
)
def test_nothing_climbs_into_a_song_that_is_far_softer_unless_it_is_wished(
    pad, new_lufs, purpose, fit
):
    """A riser promises a hit that a song half as loud does not give."""
    old = end_facts(bpm=124.0)
    new = start_facts("E minor", bpm=124.0, loudness_lufs=new_lufs)
    wished = Given(purpose=purpose)
    assert suitability(narrowed(pad, energy="up"), old, new, wished) == pytest.approx(fit)
    assert suitability(narrowed(pad, energy="either"), old, new, wished) == pytest.approx(1.0)


def test_a_room_that_stays_as_it_is_hardly_minds(pad):
    old = end_facts(bpm=124.0)
    new = start_facts("E minor", bpm=124.0, loudness_lufs=-14.0)
    assert suitability(narrowed(pad, energy="up"), old, new) == pytest.approx(0.9)


def test_a_pulse_that_is_needed_and_not_there_is_nearly_ruled_out(pad):
    old, new = unheard(end_facts(), key=False), start_facts()
    assert suitability(narrowed(pad, needs_pulse=("outgoing",)), old, new) == pytest.approx(0.1)
    assert suitability(narrowed(pad, needs_pulse=("incoming",)), old, new) == pytest.approx(1.0)


def test_a_change_of_tempo_is_not_made_where_there_is_none(pad):
    old, new = end_facts(bpm=100.0), start_facts(bpm=100.4)
    ramp = narrowed(pad, tempo_change=(1.01, 4.0))
    assert suitability(ramp, old, new) < 0.1
    assert suitability(pad, old, new) == 1.0


@pytest.mark.parametrize(
    ("suits", "given", "fit"),
    [
        pytest.param({"outgoing_stems": ("drums",)}, Given(), 0.1, id="of a mix"),
        pytest.param(
            {"outgoing_stems": ("drums",)}, Given(outgoing_roles=BAND), 1.0, id="it is there"
        ),
        pytest.param(
            {"incoming_stems": ("voice", "guitar")},
            Given(incoming_roles=BAND),
            0.1,
            id="one of two",
        ),
    ],
)
def test_stems_that_are_needed(suits, given, fit, pad):
    assert suitability(narrowed(pad, **suits), end_facts(), start_facts(), given) == (
        pytest.approx(fit)
    )


def test_a_bridge_on_drums_needs_them_among_the_stems_but_may_cut_them_from_a_mix(shelf):
    bridge = shelf["drum break"]
    pair = end_facts(), start_facts(bpm=118.0)
    with_drums, without, mix = (
        suitability(bridge, *pair, Given(outgoing_roles=roles))
        for roles in (BAND, BAND - {"drums"}, frozenset())
    )
    assert without == pytest.approx(0.1 * with_drums)
    assert mix == pytest.approx(with_drums)


def test_two_songs_at_once_need_one_metre_and_one_tuning(shelf):
    both = shelf["bar-aligned overlap"]
    old, new = end_facts("A minor", 100.0), start_facts("A minor", 100.0)
    fit = suitability(both, old, new)
    in_three = start_facts("A minor", 100.0, metre=3)
    sharp = replace(new, tuning_cents=30.0)
    assert fit > 0.5
    assert suitability(both, old, sharp) == pytest.approx(0.3 * fit)
    assert suitability(both, old, in_three) == pytest.approx(0.1 * fit, rel=0.3)


def test_talk_is_for_recipes_that_leave_room_for_it(shelf, pad):
    pair = end_facts(), start_facts()
    bed = shelf["talk bed"]
    assert suitability(bed, *pair) == 0.0
    assert suitability(bed, *pair, Given(talk_s=20.0)) > 0.0
    assert suitability(narrowed(pad, talk="no"), *pair, Given(talk_s=20.0)) == 0.0


def test_proposals_differ_in_family_and_the_best_come_first(shelf):
    recipes, pair = tuple(shelf.values()), (end_facts(), start_facts())
    chosen = proposals(recipes, *pair)
    assert len(chosen) == len({recipe.family for recipe in chosen}) == 3
    fits = [suitability(recipe, *pair) for recipe in chosen]
    assert fits == sorted(fits, reverse=True)
    everything = proposals(recipes, *pair, n_proposals=99)
    assert [recipe.name for recipe in everything[:3]] == [recipe.name for recipe in chosen]
    assert proposals(recipes, *pair, given=Given(talk_s=20.0))[0].suits.talk == "yes"


def test_a_recipe_for_fewer_pairs_goes_before_one_for_all(pad):
    special = replace(narrowed(pad, key_distance=(0.5, 1.0)), name="special", family="stop")
    chosen = proposals((pad, special), end_facts(), start_facts())
    assert [recipe.name for recipe in chosen] == ["special", pad.name]


def test_breadth_is_a_share_of_all_pairs(pad):
    whole = breadth(pad.suits)
    assert whole == pytest.approx(1.0)
    assert breadth(replace(pad.suits, key_distance=(0.25, 0.5))) == pytest.approx(0.25)
    assert breadth(replace(pad.suits, tempo_change=(1.0, 2**0.5))) == pytest.approx(0.5)
    assert breadth(replace(pad.suits, energy="up")) == pytest.approx(0.5)
    assert breadth(replace(pad.suits, endings=("fade", "ring-out"))) == pytest.approx(0.5)
    assert breadth(replace(pad.suits, openings=("pick-up",))) == pytest.approx(1 / 3)
