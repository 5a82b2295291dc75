"""Orders: optimal against brute force, pins kept, bounds that hold."""

import math
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.errors import OptionError
from segue.music.key import ALL_KEYS
from segue.music.tonal_space import key_distance
from segue.setlist.cautions import broken_pins
from segue.setlist.order import (
    DROP_WEIGHT,
    ENERGY_WEIGHT,
    HALF_TIME,
    KEY_WEIGHT,
    PEAK_ENERGY,
    SAME_VOICE_WEIGHT,
    TEMPO_WEIGHT,
    THREE_IN_A_KEY,
    OrderProblem,
    energy_at,
    neighbour_cost,
    order_problem,
    pinned,
)
from segue.setlist.order.better_order import (
    BetterOrder,
    _kicked,
    _moves,
    better_order,
    chained,
    cheap_order,
)
from segue.setlist.order.exact import cheapest_order, lower_bound
from segue.setlist.set_list import SetSong
from tests.plan.song_facts import end_facts, start_facts


def song(n, **fields):
    return SetSong(path=Path(f"{n}.wav"), title=f"Song {n}", **fields)


def edges_of(keys, tempos):
    return [
        (start_facts(str(ALL_KEYS[key]), bpm=bpm), end_facts(str(ALL_KEYS[key]), bpm=bpm))
        for key, bpm in zip(keys, tempos, strict=True)
    ]


@st.composite
def sets(draw, least=2, most=6):
    """Songs in few keys, so that three in one happen, with pins that may contradict each other."""
    n = draw(st.integers(least, most))
    titles = [f"Song {k}" for k in range(n)]
    ends = draw(st.sampled_from([(None, None), (0, n - 1), (n - 1, None), (None, 0)]))
    songs = [
        song(
            k,
            energy=draw(st.none() | st.integers(1, 5)),
            voice=draw(st.sampled_from([None, "Mara", "Jo"])),
            opens=k == ends[0],
            closes=k == ends[1],
            at=draw(st.sampled_from([None] * 6 + list(range(1, n + 1)))),
            after=draw(st.sampled_from([None] * 8 + [t for t in titles if t != titles[k]])),
            not_beside=tuple(
                draw(st.lists(st.sampled_from([t for t in titles if t != titles[k]]), max_size=1))
            ),
        )
        for k in range(n)
    ]
    keys = draw(st.lists(st.sampled_from([0, 1, 5]), min_size=n, max_size=n))
    tempos = draw(st.lists(st.sampled_from([70.0, 96.0, 124.0, 140.0]), min_size=n, max_size=n))
    return tuple(songs), edges_of(keys, tempos)


def cost_between(old, new, *, keys=(0, 0), tempos=(100.0, 100.0)):
    edges = edges_of(keys, tempos)
    return neighbour_cost(old, edges[0][1], new, edges[1][0])


def test_each_term_of_the_cost_of_neighbours_counts():
    plain = cost_between(song(0), song(1))
    assert plain == pytest.approx(KEY_WEIGHT * key_distance(ALL_KEYS[0], ALL_KEYS[0])) == 0.0
    far = key_distance(ALL_KEYS[0], ALL_KEYS[1])
    assert far > 0.0
    assert cost_between(song(0), song(1), keys=(0, 1)) == pytest.approx(KEY_WEIGHT * far)
    third = TEMPO_WEIGHT * math.log2(4 / 3)
    assert cost_between(song(0), song(1), tempos=(90.0, 120.0)) == pytest.approx(third)
    assert cost_between(song(0), song(1), tempos=(120.0, 90.0)) == pytest.approx(third)
    assert cost_between(song(0), song(1), tempos=(70.0, 140.0)) == pytest.approx(HALF_TIME)
    one_singer = song(0, voice="Mara"), song(1, voice="Mara")
    assert cost_between(*one_singer) == pytest.approx(SAME_VOICE_WEIGHT)
    assert cost_between(song(0, voice="Mara"), song(1, voice="Jo")) == 0.0
    drop = TEMPO_WEIGHT * math.log2(140 / 100)
    for energy, more in ((PEAK_ENERGY, DROP_WEIGHT), (PEAK_ENERGY - 1, 0.0), (None, 0.0)):
        cost = cost_between(song(0, energy=energy), song(1), tempos=(140.0, 100.0))
        assert cost == pytest.approx(drop + more)
    no_drop = cost_between(song(0, energy=5), song(1), tempos=(140.0, 106.0))
    assert no_drop == pytest.approx(TEMPO_WEIGHT * math.log2(140 / 106))


def test_each_term_of_the_cost_of_an_order_counts():
    # Three in one key, of one energy and no voice: places and the run in a key are what costs.
    songs = tuple(song(n, energy=3) for n in range(4))
    problem = order_problem(songs, edges_of([0, 0, 0, 7], [100.0] * 4))
    places = sum(ENERGY_WEIGHT * (3 - energy_at(k, 4)) ** 2 for k in range(4))
    assert places > 1.0
    far = KEY_WEIGHT * key_distance(ALL_KEYS[0], ALL_KEYS[7])
    assert problem.cost((0, 1, 2, 3)) == pytest.approx(places + far + THREE_IN_A_KEY)
    back = KEY_WEIGHT * key_distance(ALL_KEYS[7], ALL_KEYS[0])
    assert problem.cost((0, 1, 3, 2)) == pytest.approx(places + far + back)
    assert order_problem(songs[:2], edges_of([0, 0], [100.0] * 2)).same_key.tolist() == [
        [False, True],
        [True, False],
    ]


def cheapest_by_trying_all(problem):
    return min(problem.cost(order) for order in permutations(range(problem.n_songs)))


@given(sets())
def test_exact_order_is_the_cheapest_of_all(drawn):
    songs, edges = drawn
    problem = order_problem(songs, edges)
    order = cheapest_order(problem)
    least = cheapest_by_trying_all(problem)
    if order is None:
        assert math.isinf(least)
    else:
        assert sorted(order) == list(range(len(songs)))
        assert problem.cost(order) == pytest.approx(least)


@pytest.mark.parametrize("seed", range(3))
def test_exact_order_of_eight_songs_is_the_cheapest_of_all_40320(seed):
    problem = random_problem(8, seed)
    order = cheapest_order(problem)
    assert problem.cost(order) == pytest.approx(cheapest_by_trying_all(problem))


@pytest.mark.parametrize(
    "pins",
    [
        pytest.param({2: {"opens": True}, 5: {"after": "Song 0"}}, id="opener and chain"),
        pytest.param({4: {"at": 3}, 1: {"not_beside": ("Song 4", "Song 6")}}, id="place and apart"),
        pytest.param({7: {"closes": True}, 3: {"after": "Song 7"}}, id="contradiction"),
    ],
)
def test_exact_order_of_eight_songs_with_pins_is_the_cheapest_of_all_40320(pins):
    songs = tuple(song(n, **pins.get(n, {})) for n in range(8))
    problem = pinned(random_problem(8, seed=11), songs)
    order = cheapest_order(problem)
    least = cheapest_by_trying_all(problem)
    if order is None:
        assert math.isinf(least)
        return
    assert problem.cost(order) == pytest.approx(least)
    assert not [*broken_pins([songs[n] for n in order])]
    assert lower_bound(problem, upper=least) <= least + 1e-9


@given(sets(least=3, most=7))
def test_search_keeps_pins_and_the_bound_holds(drawn):
    songs, edges = drawn
    problem = order_problem(songs, edges)
    exact = cheapest_order(problem)
    found = cheap_order(problem, songs, n_kicks=5)
    if exact is None:
        assert found is None
        return
    least = problem.cost(exact)
    assert lower_bound(problem, upper=least) <= least + 1e-9
    if found is not None:
        assert problem.cost(found) >= least - 1e-9


@given(sets(), st.booleans())
def test_a_proposed_order_breaks_no_pin(drawn, is_searched):
    songs, edges = drawn
    problem = order_problem(songs, edges)
    most_exact = 0 if is_searched else 14
    if math.isinf(cheapest_by_trying_all(problem)):
        with pytest.raises(OptionError):
            better_order(problem, songs, most_exact=most_exact)
        return
    try:
        better = better_order(problem, songs, most_exact=most_exact)
    except OptionError:
        if not is_searched:
            raise
        return
    assert not [*broken_pins([songs[n] for n in better.order])]
    assert better.new_cost <= better.old_cost
    assert better.least_cost <= better.new_cost


@given(sets())
def test_infinite_cost_and_broken_pins_are_the_same(drawn):
    songs, edges = drawn
    problem = order_problem(songs, edges)
    is_broken = any(broken_pins(songs))
    assert math.isinf(problem.cost(range(len(songs)))) == is_broken


def random_problem(n, seed):
    random = np.random.default_rng(seed)
    pair = random.uniform(0, 2, (n, n))
    np.fill_diagonal(pair, np.inf)
    keys = random.integers(0, 3, n)
    same = (keys[:, None] == keys) & ~np.eye(n, dtype=bool)
    return OrderProblem(pair_cost=pair, place_cost=random.uniform(0, 1, (n, n)), same_key=same)


@pytest.mark.parametrize("most_exact", [14, 0], ids=["exact", "searched"])
def test_an_order_that_nothing_beats_stays_as_written(most_exact):
    # All in one key at one tempo: whatever the order, it costs the same.
    songs = tuple(song(n) for n in range(5))
    problem = order_problem(songs, edges_of([0] * 5, [100.0] * 5))
    cost = problem.cost(range(5))
    assert problem.cost((4, 3, 2, 1, 0)) == cost == cheapest_by_trying_all(problem)
    assert cheapest_order(problem) != (0, 1, 2, 3, 4)
    better = better_order(problem, songs, most_exact=most_exact)
    assert better.order == (0, 1, 2, 3, 4)
    assert better.new_cost == better.old_cost == cost


def test_search_of_a_long_set_is_near_the_bound():
    n = 20
    songs = tuple(song(k, opens=k == 4, at=7 if k == 2 else None) for k in range(n))
    problem = pinned(random_problem(n, 1), songs)
    better = better_order(problem, songs)
    assert not better.is_exact
    assert not [*broken_pins([songs[k] for k in better.order])]
    assert 0 < better.least_cost <= better.new_cost
    assert better.gap < 0.15


@pytest.mark.parametrize(
    ("songs", "named"),
    [
        ((song(0, after="Song 1"), song(1, after="Song 0")), "circle"),
        ((song(0), song(1, after="Song 0"), song(2, after="Song 0")), "both"),
        (
            (song(0, at=2), song(1, at=2)),
            r"'Song 0' \('at = 2'\) and 'Song 1' \('at = 2'\) both want place 2",
        ),
        (
            (song(0, at=1), song(1, opens=True)),
            r"'Song 0' \('at = 1'\) and 'Song 1' \('opens'\) both want place 1",
        ),
        ((song(0, at=2, opens=True), song(1)), "'Song 0' has both 'opens' and 'at = 2'"),
        ((song(0, at=2), song(1, closes=True, at=2)), "both want place 2"),
        ((song(0, not_beside=("Song 1",)), song(1)), "'not_beside' of 'Song 0'"),
    ],
)
def test_pins_that_no_order_keeps_are_told_in_a_sentence(songs, named):
    problem = order_problem(songs, edges_of([0] * len(songs), [100.0] * len(songs)))
    with pytest.raises(OptionError, match=named):
        better_order(problem, songs)


def moved(order):
    """Every order that is one move away: up to three songs elsewhere, or a stretch backwards."""
    n = len(order)
    for length in (1, 2, 3):
        for start in range(n - length + 1):
            rest = order[:start] + order[start + length :]
            for to in range(len(rest) + 1):
                yield rest[:to] + order[start : start + length] + rest[to:]
    for start in range(n):
        for end in range(start + 2, n + 1):
            yield order[:start] + order[start:end][::-1] + order[end:]


@pytest.mark.parametrize("seed", range(6))
def test_no_single_move_makes_a_searched_order_cheaper(seed):
    problem = random_problem(9, seed)
    order = cheap_order(problem, tuple(song(k) for k in range(9)), n_kicks=1)
    assert min(problem.cost(other) for other in moved(order)) >= problem.cost(order) - 1e-9


def test_a_search_mostly_finds_the_best_and_the_bound_lies_close_below_it():
    found, bounds = [], []
    for seed in range(12):
        problem = random_problem(7, seed)
        least = problem.cost(cheapest_order(problem))
        found.append(problem.cost(cheap_order(problem, tuple(song(k) for k in range(7)))) / least)
        bounds.append(lower_bound(problem, upper=least) / least)
    # What it finds is never below the best, nor the bound above it.
    assert min(found) >= 1.0 - 1e-9
    assert max(bounds) <= 1.0 + 1e-9
    assert sum(ratio < 1.0 + 1e-9 for ratio in found) >= 10
    assert max(found) < 1.1
    assert sum(ratio > 0.99 for ratio in bounds) >= 8
    assert min(bounds) > 0.9


def test_two_pins_that_say_the_same_do_not_contradict_each_other():
    songs = (song(0), song(1, opens=True, at=1), song(2, closes=True, at=3))
    order = better_order(order_problem(songs, edges_of([0] * 3, [100.0] * 3)), songs).order
    assert order == (1, 0, 2)


def test_a_gap_is_a_share_of_the_cost_and_none_where_nothing_costs_or_all_is_known():
    made = {"order": (0, 1), "old_cost": 9.0, "new_cost": 4.0, "least_cost": 3.0}
    assert BetterOrder(**made, is_exact=False).gap == pytest.approx(0.25)
    assert BetterOrder(**made, is_exact=True).gap == 0.0
    assert BetterOrder(**(made | {"new_cost": 0.0, "least_cost": -1.0}), is_exact=False).gap == 0.0
    assert BetterOrder(**(made | {"least_cost": -1.0}), is_exact=False).gap == 1.0


@pytest.mark.parametrize(
    ("new_cost", "least_cost", "is_exact", "gap"),
    [
        (4.0, 3.0, False, 0.25),
        (4.0, 4.0, False, 0.0),
        (4.0, 4.1, False, 0.0),
        (4.0, -1.0, False, 1.0),
        (0.0, -1.0, False, 0.0),
        (-1.0, -2.0, False, 0.0),
        (4.0, 3.0, True, 0.0),
    ],
)
def test_a_gap_is_what_an_order_may_cost_too_much_as_a_share_of_it(
    new_cost, least_cost, is_exact, gap
):
    order = BetterOrder(
        order=(0, 1), old_cost=5.0, new_cost=new_cost, least_cost=least_cost, is_exact=is_exact
    )
    assert order.gap == pytest.approx(gap)


def test_songs_that_must_follow_each_other_are_one_block():
    after = {1: "Song 3", 3: "Song 0", 4: "Song 4"}
    songs = tuple(song(n, after=after.get(n)) for n in range(5))
    assert chained(songs) == [(0, 3, 1), (2,)]  # 4 follows itself, and is in none


def test_moves_are_of_up_to_three_blocks_turned_round_and_changed_places():
    found = [tuple(moved) for moved in _moves(list("abcde"))]
    assert len(found) == 5 * 4 + 4 * 3 + 3 * 2 + 10 + 3
    assert all(sorted(moved) == list("abcde") for moved in found)
    assert tuple("abcde") not in found
    for moved in ("bacde", "bcade", "deabc", "cdeab", "edcba", "abedc", "dbcae", "aecdb", "ebcda"):
        assert tuple(moved) in found
    assert tuple("aebcd"[::-1]) not in found


def test_an_order_is_kicked_into_four_stretches_of_which_two_change_places():
    blocks = [(n,) for n in range(12)]
    for seed in range(5):
        cuts = sorted(np.random.default_rng(seed).integers(0, 13, size=3))
        kicked = _kicked(blocks, np.random.default_rng(seed))
        a, b, c = cuts
        assert kicked == blocks[:a] + blocks[b:c] + blocks[a:b] + blocks[c:]
