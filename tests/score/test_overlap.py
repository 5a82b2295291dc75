"""Where two sides sound at once: harmony, low end, voices."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from segue.music.key import parse_key
from segue.plan.layer import MapPoint, SongLayer
from segue.score import score_candidate
from segue.score.overlap import (
    CRITICAL_BAND_HZ,
    _roughest,
    consonance,
    low_end,
    pair_roughness,
    voices,
)
from segue.score.scorecard import falling
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


HOP_S, BEAT_S = 0.17, 0.5


def sounding(spans, **changes):
    """A hearing of 40 s in which sides sound, from when to when; a layer of each song to match."""
    times_s = HOP_S * np.arange(236)
    layers = tuple(
        SongLayer(
            name=side,
            song=side,
            start_beat=start_s / BEAT_S,
            end_beat=end_s / BEAT_S,
            roles=changes.get("roles", {}).get(side, ()),
            time_map=(
                MapPoint(beat=start_s / BEAT_S, source_s=0.0),
                MapPoint(beat=end_s / BEAT_S, source_s=end_s - start_s),
            ),
        )
        for side, (start_s, end_s) in spans.items()
        if side != "interlude"
    )
    on = {side: (times_s >= a) & (times_s < b) for side, (a, b) in spans.items()}
    sides = {
        side: SimpleNamespace(
            times_s=times_s,
            low_db=np.where(is_on, changes.get("low_db", {}).get(side, -20.0), -90.0),
            partial_hz=np.full((236, 1), changes.get("hz", {}).get(side, 440.0)),
            partial_amplitude=np.where(is_on, 1.0, 0.0)[:, None],
        )
        for side, is_on in on.items()
    }
    plan = SimpleNamespace(
        layers=layers,
        seconds_at=lambda beat: beat * BEAT_S,
        beat_at=lambda time_s: time_s / BEAT_S,
        singer_beat=changes.get("singer_beat"),
    )
    nobody = np.zeros(len(times_s), dtype=bool)
    return SimpleNamespace(
        plan=plan,
        sides=sides,
        sounding=lambda side: on.get(side, nobody),
        together=lambda one, other, _: on.get(one, nobody) & on.get(other, nobody),
        is_silent=False,
        loud_db=changes.get("loud_db", -20.0),
    )


def test_two_known_voices_overlap_for_as_long_as_both_sound():
    both = {"outgoing": ("voice",), "incoming": ("voice", "drums")}
    for ends_s, seconds in ((20.0, 0.0), (20.34, 0.34), (22.0, 12 * HOP_S), (24.0, 24 * HOP_S)):
        told = voices(sounding({"outgoing": (0.0, ends_s), "incoming": (20.0, 40.0)}, roles=both))
        assert told.value == pytest.approx(seconds, abs=1e-6)
        # a breath of 0.3 s is nothing, four seconds a fault
        assert told.score == pytest.approx(falling(seconds, good=0.3, bad=4.0))
        assert told.worst_beat == (pytest.approx(40.12, abs=0.1) if seconds else None)


@pytest.mark.parametrize(
    ("old", "new", "singer_beat", "seconds"),
    [
        pytest.param((), (), None, None, id="of two mixes nothing is known"),
        pytest.param(("voice",), (), None, 24 * HOP_S, id="a mix may sing against a voice"),
        pytest.param((), ("voice",), None, 24 * HOP_S, id="and so may the old one"),
        pytest.param(("drums",), (), None, 0.0, id="a band without a singer"),
        pytest.param((), (), 44.0, 12 * HOP_S, id="from where the new singer comes in"),
        pytest.param(("voice",), ("voice",), 44.0, 12 * HOP_S, id="of stems as well"),
    ],
)
def test_who_may_be_singing(old, new, singer_beat, seconds):
    spans = {"outgoing": (0.0, 24.0), "incoming": (20.0, 40.0)}
    told = voices(
        sounding(spans, roles={"outgoing": old, "incoming": new}, singer_beat=singer_beat)
    )
    if seconds is None:
        assert told is None
    else:
        assert told.value == pytest.approx(seconds, abs=HOP_S / 2)


@pytest.mark.parametrize(
    ("bands", "words"),
    [(0.0, " and blend."), (0.25, ", and clash."), (0.47, ", slightly rough.")],
)
def test_sides_blend_rub_or_clash(bands, words):
    # two partials of one strength a quarter of a critical band apart: 1, over the power of both
    apart_hz = bands * CRITICAL_BAND_HZ[0] * 440.0 ** CRITICAL_BAND_HZ[1]
    spans = {"outgoing": (0.0, 24.0), "interlude": (0.0, 0.0), "incoming": (20.0, 40.0)}
    partials = {"outgoing": 440.0 - apart_hz / 2, "incoming": 440.0 + apart_hz / 2}
    told = consonance(sounding(spans, hz=partials))
    rough = 0.5 * float(pair_roughness(*partials.values()))
    assert told.value == pytest.approx(rough)
    assert told.sentence == f"{24 * HOP_S:.1f} s overlap{words}"
    assert told.score == pytest.approx(falling(rough, good=0.2, bad=0.45))
    if rough:
        assert told.worst_beat == pytest.approx(40.12, abs=0.01)


@pytest.mark.parametrize(("n_hops", "is_told"), [(3, False), (4, True)])
def test_less_than_six_tenths_of_a_second_is_no_overlap(n_hops, is_told):
    ends_s = 20.0 + n_hops * HOP_S
    spans = {"outgoing": (0.0, ends_s), "interlude": (0.0, 0.0), "incoming": (20.0, 40.0)}
    told = consonance(sounding(spans))
    assert (told is not None) is is_told


@pytest.mark.parametrize(
    ("roughness", "words"),
    [(0.2, " and blend."), (0.21, ", slightly rough."), (0.44, ", slightly rough."),
     (0.46, ", and clash.")],
)  # fmt: skip
def test_limits_of_roughness_are_those_of_bands_on_one_chord_and_a_semitone_apart(
    monkeypatch, roughness, words
):
    monkeypatch.setattr("segue.score.overlap._roughest", lambda *_: roughness)
    spans = {"outgoing": (0.0, 24.0), "interlude": (0.0, 0.0), "incoming": (20.0, 40.0)}
    told = consonance(sounding(spans))
    assert told.sentence.endswith(f"overlap{words}")
    assert told.score == pytest.approx(falling(roughness, good=0.2, bad=0.45))


@pytest.mark.parametrize(
    ("low_db", "loud_db", "beats"),
    [
        pytest.param((-20.0, -29.0), -20.0, 8.16, id="within 10 dB"),
        pytest.param((-20.0, -31.0), -20.0, 0.0, id="more than 10 dB below is a trace"),
        pytest.param((-54.0, -54.0), -20.0, 8.16, id="as low as 36 dB below the music"),
        pytest.param((-57.0, -57.0), -20.0, 0.0, id="lower is no low end"),
    ],
)
def test_both_fill_the_low_end_where_both_are_strong_in_it(low_db, loud_db, beats):
    spans = {"outgoing": (0.0, 24.0), "incoming": (20.0, 40.0)}
    levels = dict(zip(spans, low_db, strict=True))
    told = low_end(sounding(spans, low_db=levels, loud_db=loud_db))
    assert told.value == pytest.approx(beats, abs=0.01)  # 24 hops of a third of a beat
    assert told.score == pytest.approx(falling(beats, good=1.0, bad=6.0))
    assert told.worst_beat == (pytest.approx(44.2, abs=0.2) if beats else None)
    assert ("for 8.2 beats" in told.sentence) is bool(beats)


@pytest.mark.parametrize(
    ("n_hops", "score"), [(2, 1.0), (3, 1 - 0.9 * 0.02 / 5), (10, 1 - 0.9 * 2.4 / 5)]
)
def test_up_to_a_beat_of_both_is_fine(n_hops, score):
    spans = {"outgoing": (0.0, 20.0 + n_hops * HOP_S), "incoming": (20.0, 40.0)}
    told = low_end(sounding(spans))
    assert told.score == pytest.approx(score, abs=0.001)
    assert ("one song at a time" in told.sentence) is (n_hops == 2)
