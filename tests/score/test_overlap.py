"""Where two sides sound at once: harmony, low end, voices."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from segue.music.key import parse_key
from segue.score import score_candidate
from segue.score.overlap import _roughest
from tests.score.synthetic import Recipe, facts_of, make_candidate

OVERLAP = {"outgoing_overlap_beats": 24, "bpm_to": 124.0}


def with_roles(candidate, outgoing, incoming):
    roles = {"outgoing": outgoing, "incoming": incoming}
    layers = tuple(
        replace(layer, roles=roles[layer.song]) if hasattr(layer, "song") else layer
        for layer in candidate.plan.layers
    )
    return replace(candidate, plan=replace(candidate.plan, layers=layers))


def test_consonance_orders_keys_as_musicians_do(score_of):
    # common practice, no source: the same key blends, a fifth rubs, a semitone clashes
    keys = ("E minor", "B minor", "F minor")
    scores = [score_of(key_to=parse_key(k), **OVERLAP).measure("consonance").score for k in keys]
    assert scores[0] > scores[1] > scores[2]


def test_sides_that_never_meet_have_no_consonance(score_of):
    with pytest.raises(KeyError, match="consonance"):
        score_of().measure("consonance")


def test_more_of_an_overlap_is_never_less_rough():
    # two thirds of a second that rub, and then ten that blend
    rubs, blends = np.full(4, 0.6), np.full(60, 0.1)
    alone = _roughest(np.concatenate([np.zeros(30), rubs]), 12)
    assert alone == pytest.approx(4 * 0.6 / 12)
    assert _roughest(np.concatenate([np.zeros(30), rubs, np.zeros(30), blends]), 12) == alone
    assert _roughest(np.concatenate([blends, rubs]), 12) == pytest.approx((4 * 0.6 + 0.8) / 12)


def test_low_end_counts_the_beats_that_both_songs_fill(score_of):
    # the songs overlap from beat 32 to beat 40
    assert score_of(**OVERLAP).measure("low_end").value == pytest.approx(8.0, abs=1.0)
    assert score_of().measure("low_end").value == 0.0


def test_voices_of_two_mixes_are_unknown():
    recipe = Recipe(**OVERLAP, singer_beat=None)
    card = score_candidate(make_candidate(recipe), *facts_of(recipe))
    with pytest.raises(KeyError, match="voices"):
        card.measure("voices")


def test_a_mix_may_sing_against_a_singer_who_is_known():
    # the singer comes in at beat 36, the old song's mix ends at beat 40
    recipe = Recipe(**OVERLAP)
    card = score_candidate(make_candidate(recipe), *facts_of(recipe))
    assert card.measure("voices").value == pytest.approx(4 * 60 / 124, abs=0.35)


def test_a_layer_of_other_parts_is_no_voice():
    recipe = Recipe(**OVERLAP)
    candidate = with_roles(make_candidate(recipe), ("drums", "bass"), ())
    assert score_candidate(candidate, *facts_of(recipe)).measure("voices").value == 0.0


@pytest.mark.parametrize(
    ("incoming", "seconds"),
    [
        # the voice comes in at beat 36, the old song ends at beat 40: 4 beats at 124
        pytest.param(("voice", "drums"), 4 * 60 / 124, id="two voices"),
        pytest.param(("drums", "bass"), 0.0, id="one voice"),
    ],
)
def test_voices_of_stems_are_counted(incoming, seconds):
    recipe = Recipe(**OVERLAP)
    candidate = with_roles(make_candidate(recipe), ("voice", "bass"), incoming)
    measure = score_candidate(candidate, *facts_of(recipe)).measure("voices")
    assert measure.value == pytest.approx(seconds, abs=0.35)
    assert (measure.score == 1.0) == (seconds == 0.0)
    assert measure.sentence.startswith("Two singers overlap" if seconds else "No two singers")
