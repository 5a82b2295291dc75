"""Ways to count, judged by evidence that is made by hand."""

from importlib import resources

import numpy as np
import pytest

from segue.analysis.beat_net import FRAME_HOPS, N_METRES, N_TEMPI, Opinion
from segue.analysis.heard_part import Evidence
from segue.analysis.metre import METRES, bar_names, beat_names, levels_of
from segue.analysis.metre_net import NET_COLUMNS
from segue.analysis.metre_odds import (
    Model,
    column_numbers,
    evidence_columns,
    tree_sum,
    way_columns,
    ways_of,
)
from segue.analysis.onsets import HOP_S, N_BANDS


def no_opinion(n_hops):
    """A net that holds no beat for likelier than another."""
    even = np.zeros(n_hops // FRAME_HOPS, dtype=np.float32)
    return Opinion(
        beat=even,
        downbeat=even,
        tempo=np.zeros(N_TEMPI, dtype=np.float32),
        metre=np.zeros(N_METRES, dtype=np.float32),
    )


def evidence_of(times_s, *, length_s=20.0):
    """Onsets of one hop, alike in every band."""
    bands = np.zeros((round(length_s / HOP_S), N_BANDS))
    bands[np.round(np.asarray(times_s) / HOP_S).astype(int)] = 1.0
    return Evidence(
        bands=bands,
        changes=np.ones((len(bands), 3)),
        accent=bands[:, 0],
        first_s=float(times_s[0]),
        last_s=None,
        notes=1.0,
        opinion=no_opinion(len(bands)),
    )


def test_the_same_beats_are_counted_once():
    evidence = evidence_of(np.arange(0.5, 19.5, 0.5))
    pulse_s, halves_s = np.arange(0.5, 19.5, 0.5), np.arange(0.5, 19.3, 0.25)
    once = levels_of(evidence, [pulse_s])
    assert len(levels_of(evidence, [pulse_s, pulse_s + 0.005])) == len(once)
    both = levels_of(evidence, [pulse_s, halves_s])
    for one in both:
        same = [other for other in both if other.beat_s == pytest.approx(one.beat_s, rel=0.01)]
        starts = np.array([other.beats_s[0] % one.beat_s for other in same])
        apart = np.abs(starts - one.beats_s[0] % one.beat_s)
        assert np.count_nonzero(np.minimum(apart, one.beat_s - apart) < 0.005) == 1


def test_evidence_has_a_value_for_every_name():
    level = levels_of(evidence_of(np.arange(0.5, 19.5, 0.5)), [np.arange(0.5, 19.5, 0.5)])[0]
    assert len(level.for_beats) == len(beat_names())
    for metre in METRES:
        assert level.for_bars[metre].shape == (metre, len(bar_names(metre)))


def test_evidence_stands_under_its_own_name():
    """Beats of half a second that repeat in every way: what each name must hold is known."""
    beats_s = np.arange(0.5, 19.5, 0.5)
    level, *_ = levels_of(evidence_of(beats_s), [beats_s], given_bpm=120.0)
    told = dict(zip(beat_names(), level.for_beats, strict=True))
    assert told["tempo"] == pytest.approx(np.log2(1.2), abs=0.01)
    assert told["tempo 120"] == pytest.approx(1.0, abs=0.02)
    assert told["onsets a beat"] == pytest.approx(np.log2(0.95), abs=0.02)
    assert told["onsets at 0/12"] > 0.9 > 0.1 > told["onsets at 6/12"]
    assert told["low at 0/12"] > 10 * told["low at 6/12"]


def test_the_model_was_learned_on_the_evidence_that_is_named():
    place = resources.files("segue.analysis").joinpath("metre_model.npz")
    with place.open("rb") as file, np.load(file, allow_pickle=False) as table:
        assert table["names"].tolist() == list(column_numbers())
        assert len(table["weights"]) == len(column_numbers())
    columns = set(column_numbers())
    for metre in METRES:
        assert columns >= {*beat_names(), *bar_names(metre)}


@pytest.mark.parametrize("metre", [1, 7, 9, 12], ids="{} beats a bar".format)
def test_rare_metres_have_evidence_too(metre):
    evidence = evidence_of(np.arange(0.5, 19.5, 0.5))
    level, _ = levels_of(evidence, [np.arange(0.5, 19.5, 0.5)], metres=(metre,), given_bpm=120.0)
    places, columns = evidence_columns([level])
    assert len(places) == len(columns) == metre
    assert np.isfinite(columns).all()


def test_first_sound_is_placed_in_the_bar():
    beats_s = np.arange(0.5, 19.5, 0.5)
    evidence = evidence_of(beats_s[1:])
    level, _ = levels_of(evidence, [beats_s], metres=(4,), given_bpm=120.0)
    names = bar_names(4)
    downbeat_on_second = level.for_bars[4][1]
    downbeat_on_first = level.for_bars[4][0]
    assert downbeat_on_second[names.index("any first")] == pytest.approx(1.0)
    assert downbeat_on_first[names.index("any first")] == pytest.approx(0.0)
    assert downbeat_on_first[names.index("4 first 1")] == pytest.approx(1.0)


def test_onset_rate_counts_onsets():
    assert evidence_of(np.arange(0.5, 19.5, 0.5)).onset_rate_hz == pytest.approx(38 / 20, rel=0.01)


def test_trees_add_up_their_leaves():
    """Two trees by hand: column 0 up to 1.5 gives 1, else 2; column 1 likewise 10 and 20."""
    itself = np.array([[0, 1, 2], [0, 1, 2]], dtype=np.int16)
    left, right = itself.copy(), itself.copy()
    left[:, 0], right[:, 0] = 1, 2
    model = Model(
        weights=np.zeros(2, np.float32),
        column=np.array([[0, 0, 0], [1, 0, 0]], dtype=np.int16),
        left=left,
        right=right,
        threshold=np.array([[1.5, 0, 0], [0.5, 0, 0]], dtype=np.float32),
        value=np.array([[0, 1, 2], [0, 10, 20]], dtype=np.float32),
    )
    rows = np.array([[1.5, 0.0], [1.6, 0.6], [0.0, 9.0]], dtype=np.float32)
    assert tree_sum(model, rows).tolist() == [11.0, 22.0, 21.0]


def test_trees_see_ways_against_the_best_of_them():
    beats_s = np.arange(0.5, 19.5, 0.5)
    ways = ways_of(levels_of(evidence_of(beats_s), [beats_s]))
    summed = np.linspace(3.0, 5.0, len(ways.places))
    likely = np.arange(0, len(ways.places), 3)
    seen = way_columns(ways, summed, likely)
    n_net = len(NET_COLUMNS)
    assert seen[:, :2].max(axis=0) == pytest.approx(0.0)
    assert seen[:, 2].tolist() == [ways.places[number][1] for number in likely]
    assert seen[:, 3 + n_net : 3 + 2 * n_net].max(axis=0) == pytest.approx(0.0)
    place = resources.files("segue.analysis").joinpath("metre_ways.npz")
    with place.open("rb") as file, np.load(file, allow_pickle=False) as table:
        assert table["names"].tolist() == list(column_numbers())
        assert 0 <= table["column"].min() <= table["column"].max() < seen.shape[1]
