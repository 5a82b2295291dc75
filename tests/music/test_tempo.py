"""Tempo curves against worked figures and their own inverse."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.music.tempo import TempoCurve, TempoSpan

bpms = st.floats(40, 220)


@st.composite
def curves(draw):
    spans = []
    for _ in range(draw(st.integers(1, 4))):
        law = draw(st.sampled_from(["hold", "linear", "geometric"]))
        start = draw(bpms)
        end = start if law == "hold" else draw(bpms)
        beats = draw(st.floats(0.5, 64))
        spans.append(TempoSpan(n_beats=beats, start_bpm=start, end_bpm=end, law=law))
    return TempoCurve(spans=tuple(spans))


@pytest.mark.parametrize(
    ("law", "n_beats", "seconds"),
    [
        # 120 -> 140 BPM, by integrating 60 / tempo over beats:
        # linear in beats 60 B ln(b1/b0) / (b1 - b0); geometric 60 B (1/b0 - 1/b1) / ln(b1/b0).
        pytest.param("linear", 16, 7.399233, id="linear, 16 beats"),
        pytest.param("linear", 32, 14.798465, id="linear, 32 beats"),
        pytest.param("geometric", 16, 7.413896, id="geometric, 16 beats"),
        pytest.param("geometric", 32, 14.827792, id="geometric, 32 beats"),
    ],
)
def test_ramp_lasts_as_long_as_its_formula_says(law, n_beats, seconds):
    span = TempoSpan(n_beats=n_beats, start_bpm=120, end_bpm=140, law=law)
    assert span.duration_s == pytest.approx(seconds, abs=1e-6)


@given(curve=curves(), share=st.floats(-0.2, 1.2))
def test_beats_and_seconds_are_inverse(curve, share):
    beat = share * curve.n_beats
    assert curve.beat_at(curve.seconds_at(beat)) == pytest.approx(beat, abs=1e-7)


@given(curve=curves(), share=st.floats(0.01, 0.98))
def test_tempo_is_the_slope_of_beats_over_seconds(curve, share):
    beat, step = share * curve.n_beats, 1e-5
    slope = 60 * step / (curve.seconds_at(beat + step) - curve.seconds_at(beat))
    near = {round(curve.bpm_at(beat), 2), round(curve.bpm_at(beat + step), 2)}
    assert min(near) - 0.05 <= slope <= max(near) + 0.05


@given(curve=curves())
def test_seconds_ascend_with_beats(curve):
    times = [curve.seconds_at(n * curve.n_beats / 50) for n in range(51)]
    assert all(b > a for a, b in itertools.pairwise(times))


def test_a_hold_cannot_change_tempo():
    with pytest.raises(ValueError, match="cannot go from 100 to 101"):
        TempoSpan(n_beats=1, start_bpm=100, end_bpm=101)


@pytest.mark.parametrize("wrong", [{"n_beats": 0}, {"start_bpm": 0}, {"end_bpm": -1}])
def test_a_span_needs_beats_and_tempi(wrong):
    with pytest.raises(ValueError, match="positive beats and tempi"):
        TempoSpan(**({"n_beats": 4, "start_bpm": 100, "end_bpm": 100} | wrong))


def test_a_curve_needs_a_span_and_lasts_as_long_as_all_of_them():
    with pytest.raises(ValueError, match="at least one span"):
        TempoCurve(spans=())
    slow = TempoSpan(n_beats=4, start_bpm=60, end_bpm=60)
    fast = TempoSpan(n_beats=4, start_bpm=120, end_bpm=120)
    curve = TempoCurve(spans=(slow, fast))
    assert curve.duration_s == pytest.approx(4.0 + 2.0)
    # before the first and after the last beat the tempo there goes on
    assert curve.seconds_at(-1.0) == pytest.approx(-1.0)
    assert curve.seconds_at(10.0) == pytest.approx(7.0)
    assert (curve.beat_at(-1.0), curve.beat_at(7.0)) == pytest.approx((-1.0, 10.0))
    assert [curve.bpm_at(beat) for beat in (0.0, 3.9, 4.1, 8.0)] == [60, 60, 120, 120]
