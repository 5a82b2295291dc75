"""Where a render lies in a recording, told from features that are drawn."""

import numpy as np
import pytest

from segue.review.find import SPEEDS, bridge_match, find_parts, find_transition, try_spans_s
from segue.review.listening import CHROMA_HOP_S, ONSET_HOP_S, Listening

LENGTH_S = 20.0
HALF_A_HOP_S = 0.51 * ONSET_HOP_S


def heard(length_s, seed):
    rng = np.random.default_rng(seed)
    onsets = np.abs(rng.normal(size=(round(length_s / ONSET_HOP_S), 4))) ** 3
    return Listening(
        onsets=onsets, chroma=rng.random((round(length_s / CHROMA_HOP_S), 12)), duration_s=length_s
    )


def joined(*parts):
    return Listening(
        onsets=np.concatenate([part.onsets for part in parts]),
        chroma=np.concatenate([part.chroma for part in parts]),
        duration_s=sum(part.duration_s for part in parts),
    )


@pytest.fixture(scope="module", name="render")
def _render():
    return heard(LENGTH_S, 1)


@pytest.mark.parametrize("offset_s", [0.0, 3.2, 11.1])
def test_a_render_within_other_sound_is_found_to_the_hop(offset_s, render):
    before, after = heard(offset_s, 2), heard(6.0, 3)
    found = find_transition(render, joined(before, render, after))
    assert found.offset_s == pytest.approx(offset_s, abs=HALF_A_HOP_S)
    assert found.speed == 1.0
    assert found.match == pytest.approx(1.0, abs=0.05)


def test_a_recording_that_starts_late_has_a_negative_offset(render):
    found = find_transition(render, joined(render.part(4.0, LENGTH_S), heard(5.0, 4)))
    assert found.offset_s == pytest.approx(-4.0, abs=HALF_A_HOP_S)
    assert found.match > 0.9


def test_half_of_the_render_must_be_there(render):
    least = find_transition(render, render.part(0.0, 0.5 * LENGTH_S + 0.2))
    assert least.offset_s == pytest.approx(0.0, abs=HALF_A_HOP_S)
    assert least.match > 0.9
    less = find_transition(render, render.part(0.0, 0.5 * LENGTH_S - 0.4))
    assert less.match == -1.0


@pytest.mark.parametrize("speed", SPEEDS)
def test_a_recorder_that_runs_off_is_found_at_its_speed(speed, render):
    places = np.arange(round(len(render.onsets) * speed)) / speed
    onsets = [np.interp(places, np.arange(len(render.onsets)), c) for c in render.onsets.T]
    places = np.arange(round(len(render.chroma) * speed)) / speed
    chroma = [np.interp(places, np.arange(len(render.chroma)), c) for c in render.chroma.T]
    take = Listening(
        onsets=np.stack(onsets, axis=1),
        chroma=np.stack(chroma, axis=1),
        duration_s=LENGTH_S * speed,
    )
    found = find_transition(render, take)
    assert found.speed == speed
    assert found.match == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize(
    ("wait_s", "n_parts"),
    [
        pytest.param(0.0, 1, id="no wait"),
        pytest.param(0.1, 1, id="a tenth is no wait"),
        pytest.param(0.4, 2, id="a breath"),
        pytest.param(9.5, 2, id="a speech"),
        pytest.param(10.5, 1, id="another song"),
    ],
)
def test_a_band_that_waits_before_the_new_song_has_two_places(wait_s, n_parts, render):
    take = joined(
        heard(2.0, 5), render.part(0.0, 9.0), heard(wait_s, 6), render.part(9.0, LENGTH_S)
    )
    parts = find_parts(render, take, find_transition(render, take), 9.0)
    assert len(parts) == n_parts
    if n_parts == 2:
        assert [part.from_s for part in parts] == [0.0, 9.0]
        assert parts[0].offset_s == pytest.approx(2.0, abs=HALF_A_HOP_S)
        assert parts[1].offset_s == pytest.approx(2.0 + wait_s, abs=ONSET_HOP_S)


@pytest.mark.parametrize("split_s", [5.9, LENGTH_S - 5.9])
def test_a_part_too_short_is_not_looked_for_by_itself(split_s, render):
    take = joined(render.part(0.0, split_s), heard(1.0, 7), render.part(split_s, LENGTH_S))
    assert len(find_parts(render, take, find_transition(render, take), split_s)) == 1


def test_every_try_has_a_span_of_its_own_and_talk_goes_to_the_next(render):
    talk = heard(8.0, 3)
    take = joined(heard(5.0, 2), render, talk, render, heard(4.0, 6))
    found = find_transition(render, take)
    first, second = try_spans_s(render, take, found, split_s=12.0, least_match=0.4)
    assert first[0] == 0.0
    assert second[1] == take.duration_s
    assert first[1] == second[0] == pytest.approx(5.0 + LENGTH_S + 8.0 - 2.0, abs=0.05)


def test_tries_that_follow_at_once_part_where_the_second_starts(render):
    take = joined(render, render)
    found = find_transition(render, take)
    first, second = try_spans_s(render, take, found, split_s=12.0, least_match=0.4)
    assert first[1] == second[0] == pytest.approx(LENGTH_S, abs=0.05)


@pytest.mark.parametrize(("split_s", "n_tries"), [(12.0, 2), (7.0, 1)])
def test_a_try_that_is_broken_off_before_the_new_song_counts_where_enough_is_played(
    split_s, n_tries, render
):
    take = joined(render.part(0.0, split_s), heard(15.0, 8), render)
    found = find_transition(render, take)
    assert len(try_spans_s(render, take, found, split_s=split_s, least_match=0.6)) == n_tries


def test_a_bridge_is_looked_for_near_its_place_alone(render):
    bridge_s = (8.0, 12.0)
    take = joined(heard(3.0, 2), render)
    place = find_transition(render, take)
    assert bridge_match(render, take, place, bridge_s) > 0.9
    without = joined(
        heard(3.0, 2), render.part(0.0, 7.0), heard(6.0, 5), render.part(13.0, LENGTH_S)
    )
    assert bridge_match(render, without, place, bridge_s) < 0.4
    elsewhere = joined(without, heard(10.0, 9), render.part(7.0, 13.0))
    assert bridge_match(render, elsewhere, place, bridge_s) < 0.4
