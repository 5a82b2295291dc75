"""Advice on moving a song, and what it costs."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.music.key import ALL_KEYS, parse_key
from segue.music.tonal_space import key_distance
from segue.music.transposition import (
    MOVES_SEMITONES,
    costs_of_moving,
    n_open_chords,
    signature,
    transposition_advice,
)

keys = st.sampled_from(ALL_KEYS)


def cost_of(who, key, semitones, first_midi=None):
    costs = costs_of_moving(parse_key(key), semitones, first_midi=first_midi)
    (found,) = [cost for cost in costs if cost.who == who]
    return found


@given(old=keys, new=keys)
def test_every_move_tells_the_distance_after_it(old, new):
    advice = transposition_advice(old, new)
    assert [move.semitones for move in advice.moves] == list(MOVES_SEMITONES)
    for move in advice.moves:
        assert move.key == new.transposed(move.semitones)
        assert move.distance == pytest.approx(key_distance(old, move.key))
    assert advice.best.distance == min(move.distance for move in advice.moves)


def test_a_semitone_apart_the_best_move_is_the_same_key():
    advice = transposition_advice(parse_key("E minor"), parse_key("F minor"))
    assert advice.best.semitones == -1
    assert advice.sentence == (
        "With the new song a semitone down, in E minor, the change is easy (0.00, not 0.84)."
    )


def test_a_pair_in_one_key_is_left_alone():
    advice = transposition_advice(parse_key("G major"), parse_key("G major"))
    assert advice.best.costs == ()
    assert advice.sentence == "Moving the new song by up to a whole tone brings it no nearer."


@pytest.mark.parametrize(
    ("key", "n_open"),
    [
        # Common practice, no source: keys that guitarists like and those they take a capo for.
        pytest.param("G major", 3, id="G: G C D"),
        pytest.param("D major", 3, id="D: D G A"),
        pytest.param("A major", 3, id="A: A D E"),
        pytest.param("A minor", 3, id="Am: Am Dm E"),
        pytest.param("E minor", 2, id="Em: Em Am"),
        pytest.param("F major", 1, id="F: C"),
        pytest.param("F# major", 0, id="F#"),
        pytest.param("Ab major", 0, id="Ab"),
        pytest.param("Eb major", 0, id="Eb"),
    ],
)
def test_open_chords_of_a_key(key, n_open):
    assert n_open_chords(parse_key(key)) == n_open


@pytest.mark.parametrize(
    ("semitones", "remedy"),
    [
        pytest.param(1, "a capo on fret 1 keeps the shapes of G major", id="up"),
        pytest.param(-1, "tuning a semitone down keeps the shapes of G major", id="down"),
    ],
)
def test_guitars_that_lose_their_open_chords_are_told_the_remedy(semitones, remedy):
    cost = cost_of("guitars", "G major", semitones)
    assert remedy in cost.sentence
    assert cost.weight > 0


def test_guitars_that_gain_open_chords_pay_nothing():
    assert cost_of("guitars", "Ab major", -1).weight == 0


@pytest.mark.parametrize(
    ("semitones", "first_midi", "sentence"),
    [
        pytest.param(
            1,
            57,
            "Every sung note rises a semitone, the top one too; the first from A3 to Bb3.",
            id="first note known",
        ),
        pytest.param(
            -2,
            52,
            "Every sung note sinks a whole tone, the lowest one too; the first from E3 to D3.",
            id="first note known, down",
        ),
        pytest.param(
            2, None, "Every sung note rises a whole tone, the top one too.", id="no note known"
        ),
    ],
)
def test_the_singer_is_told_which_note_moves_where(semitones, first_midi, sentence):
    assert cost_of("singer", "E major", semitones, first_midi).sentence == sentence


@given(key=keys)
def test_wider_moves_cost_the_singer_more_and_nothing_costs_nothing(key):
    singer = [costs_of_moving(key, n)[0].weight for n in (1, 2)]
    assert 0 < singer[0] < singer[1]
    assert costs_of_moving(key, 0) == ()


def test_more_accidentals_cost_the_readers_and_fewer_do_not():
    worse = cost_of("horns and keys", "G major", -1)
    assert worse.sentence == "Horns and keys play in 6 sharps instead of 1 sharp."
    assert worse.weight > 0
    assert cost_of("horns and keys", "F# major", 1).weight == 0


def test_signatures_in_words():
    names = [signature(parse_key(name)) for name in ("C major", "F major", "Eb minor", "B major")]
    assert names == ["no accidentals", "1 flat", "6 flats", "5 sharps"]


def test_moves_wider_than_a_whole_tone_are_refused():
    with pytest.raises(ValueError, match="wider than a whole tone"):
        costs_of_moving(parse_key("C major"), 3)


def test_what_a_move_costs_is_in_the_order_that_bands_feel_it():
    """Common practice, no source: up is harder to sing than down, and learning anew is the band's.

    No cost is of another order than the singer's: none alone decides.
    """
    up, down = (cost_of("singer", "G major", semitones).weight for semitones in (1, -1))
    assert cost_of("singer", "G major", 2).weight == pytest.approx(2 * up)
    assert 0 < down < cost_of("band", "G major", 1).weight < up < 2 * down
    chord = cost_of("guitars", "G major", 1).weight / n_open_chords(parse_key("G major"))
    assert 0 < cost_of("horns and keys", "C major", 2).weight / 2 < chord < down
    assert cost_of("horns and keys", "D major", -2).weight == 0
