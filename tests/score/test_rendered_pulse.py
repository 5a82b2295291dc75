"""Which beats sound, and how late, told from a curve of onsets that is written by hand."""

from types import SimpleNamespace

import numpy as np
import pytest

from segue.analysis.onsets import HOP_S
from segue.score import rendered_pulse
from segue.score.rendered_pulse import Pulse, beat_lengths_s, heard_pulse, slope

ENTRY, END = 16, 40
BEAT_S, LONG_S = 52 * HOP_S, 100 * HOP_S


@pytest.fixture
def pulse_of(monkeypatch):
    """The pulse of strikes (seconds, strength) over a ground of onsets, on beats of some length."""

    def told(strikes, *, ground=0.1, beat_s=BEAT_S, low=()):
        total = np.full(round(END * beat_s / HOP_S) + 50, ground)
        bands = np.zeros((len(total), 2))
        for time_s, strength in strikes:
            total[round(time_s / HOP_S)] = strength
        for time_s, strength in low:
            bands[round(time_s / HOP_S), 0] = strength
        curves = SimpleNamespace(total=total, bands=bands)
        monkeypatch.setattr(rendered_pulse, "_onset_sound", lambda _: None)
        monkeypatch.setattr(rendered_pulse, "onset_curves", lambda *_, **__: curves)
        plan = SimpleNamespace(
            end_beat=float(END), entry_beat=float(ENTRY), seconds_at=lambda beat: beat * beat_s
        )
        return heard_pulse(SimpleNamespace(plan=plan))

    return told


def row(late_s=0.0, strength=3.0, beats=range(1, END), beat_s=BEAT_S):
    return [(beat * beat_s + late_s, strength) for beat in beats]


def test_a_row_on_the_ruler_is_heard_and_not_late(pulse_of):
    pulse = pulse_of(row())
    assert pulse.beats.tolist() == list(range(END))
    assert np.allclose(pulse.times_s, BEAT_S * pulse.beats)
    assert pulse.is_heard[1:].all()
    assert np.allclose(pulse.late_s[1:], 0.0, atol=1e-9)
    assert pulse.row_late_s == 0.0


@pytest.mark.parametrize(
    ("strength", "ground", "is_heard"),
    [(0.91, 0.5, True), (0.89, 0.5, False), (0.81, 0.1, True), (0.79, 0.1, False)],
)
def test_a_beat_stands_out_of_what_lies_between_beats(pulse_of, strength, ground, is_heard):
    assert pulse_of(row(strength=strength), ground=ground).is_heard[1:].all() == is_heard


def test_what_lies_between_is_that_of_the_beats_nearby_on_the_same_side_of_bar_one(pulse_of):
    """A busy new song hides its own soft beats, none of the old one; six beats are near."""
    busy = [((beat + part) * BEAT_S, 1.0) for beat in range(ENTRY, END) for part in (1 / 3, 2 / 3)]
    heard = pulse_of(row(strength=1.5) + busy).is_heard
    assert heard[1:ENTRY].all()
    assert not heard[ENTRY:].any()
    busy = [((beat + part) * BEAT_S, 1.0) for beat in range(8) for part in (1 / 3, 2 / 3)]
    heard = pulse_of(row(strength=1.5) + busy).is_heard
    assert np.flatnonzero(heard)[0] == 8  # of 13 beats around it six are busy, and of the 7th seven


@pytest.mark.parametrize(
    ("late_hops", "beat_s", "is_found"),
    [
        pytest.param(11, BEAT_S, True, id="within 0.22 of a beat"),
        pytest.param(12, BEAT_S, False, id="beyond it"),
        pytest.param(-11, BEAT_S, True, id="early"),
        pytest.param(13, LONG_S, True, id="slow, within 0.13 s"),
        pytest.param(14, LONG_S, False, id="slow, beyond it"),
    ],
)
def test_a_hit_so_near_to_a_beat_is_its(pulse_of, late_hops, beat_s, is_found):
    late_s = late_hops * HOP_S
    pulse = pulse_of([(8 * beat_s + late_s, 3.0)], beat_s=beat_s)
    assert pulse.is_heard[8] == is_found
    assert not np.delete(pulse.is_heard, 8).any()
    if is_found:
        assert pulse.late_s[8] == pytest.approx(late_s)


def test_a_hit_is_placed_between_the_hops(pulse_of):
    strikes = [(8 * BEAT_S + n * HOP_S, size) for n, size in ((-1, 1.0), (0, 3.0), (1, 2.0))]
    assert pulse_of(strikes).late_s[8] == pytest.approx(HOP_S / 6)


@pytest.mark.parametrize(("strength", "late_hops"), [(1.6, 0), (1.7, 10)])
def test_of_two_hits_the_nearer_is_preferred_unless_it_is_far_softer(pulse_of, strength, late_hops):
    # a normal curve of 0.1 s: exp(-1 / 2) at 0.1 s, so 1.65 times as strong
    strikes = [(8 * BEAT_S, 1.0), (8 * BEAT_S + 10 * HOP_S, strength)]
    assert pulse_of(strikes).late_s[8] == pytest.approx(late_hops * HOP_S, abs=1e-9)


@pytest.mark.parametrize("percent", [-4.0, 4.0])
def test_drums_that_drift_from_the_ruler_are_followed(pulse_of, percent):
    late_s = [BEAT_S * percent / 100 * max(beat - 1, 0) for beat in range(ENTRY)]
    pulse = pulse_of([(BEAT_S * beat + late_s[beat], 3.0) for beat in range(1, 15)])
    assert pulse.is_heard[1:15].all()
    assert pulse.late_s[1:15] == pytest.approx(late_s[1:15], abs=0.011)
    plan = SimpleNamespace(entry_beat=float(ENTRY), seconds_at=lambda beat: BEAT_S * beat)
    lengths_s = beat_lengths_s(pulse, plan)
    assert lengths_s[4:12] == pytest.approx([BEAT_S * (1 + percent / 100)] * 8, rel=0.004)


def test_a_single_stray_hit_leads_nobody_away(pulse_of):
    pulse = pulse_of(
        [*row(beats=range(1, 8)), (8 * BEAT_S + 8 * HOP_S, 3.0), *row(beats=range(9, ENTRY))]
    )
    assert pulse.late_s[8] == pytest.approx(8 * HOP_S)
    assert np.allclose(pulse.late_s[9:ENTRY], 0.0, atol=1e-9)


@pytest.mark.parametrize("late_s", [9 * HOP_S, -9 * HOP_S])
def test_a_row_that_comes_late_as_a_whole_is_told(pulse_of, late_s):
    old, new = row(beats=range(1, ENTRY)), row(late_s, beats=range(ENTRY + 1, END))
    pulse = pulse_of(old + new)
    assert pulse.row_late_s == pytest.approx(late_s)
    assert pulse.late_s[ENTRY + 1 :] == pytest.approx([late_s] * (END - ENTRY - 1))


@pytest.mark.parametrize(("lead", "late_s"), [(1.04, 0.0), (1.06, 8 * HOP_S)])
def test_a_row_beside_the_ruler_must_be_stronger_than_one_on_it(pulse_of, lead, late_s):
    beats = range(ENTRY, END)
    strikes = row(0.0, 2.0, beats) + row(8 * HOP_S, 2.0 * lead, beats)
    assert pulse_of(strikes).row_late_s == pytest.approx(late_s)


@pytest.mark.parametrize(("hops", "told_hops"), [(3, 3), (4, 0)])
def test_a_row_so_near_to_the_ruler_is_on_it(pulse_of, hops, told_hops):
    """The stronger of the two is taken where both are on the ruler, however small its lead."""
    beats = range(ENTRY, END)
    found = pulse_of(row(0.0, 2.0, beats) + row(hops * HOP_S, 2.04, beats))
    assert found.row_late_s == pytest.approx(told_hops * HOP_S)


def test_a_row_is_told_by_four_bars_and_no_single_hit_outweighs_it(pulse_of):
    first, later = range(ENTRY, ENTRY + 16), range(ENTRY + 16, END)
    assert pulse_of(row(0.0, 2.0, first) + row(8 * HOP_S, 3.9, later)).row_late_s == 0.0
    half = row(0.0, 2.0, first[:8]) + row(8 * HOP_S, 3.9, first[8:])
    assert pulse_of(half).row_late_s == pytest.approx(8 * HOP_S)
    loud = [(ENTRY * BEAT_S + 8 * HOP_S, 500.0)]
    assert pulse_of(row(0.0, 1.0, first) + loud).row_late_s == 0.0
    some = row(
        8 * HOP_S, 4.0, range(ENTRY, ENTRY + 5)
    )  # 5 of 16 hits of 4, each as strong as four of 1
    assert pulse_of(row(0.0, 1.0, first) + some).row_late_s == pytest.approx(8 * HOP_S)


@pytest.mark.parametrize(
    ("strength", "ground", "is_row"),
    [(0.91, 0.5, True), (0.89, 0.5, False), (0.81, 0.1, True), (0.79, 0.1, False)],
)
def test_beats_that_do_not_stand_out_make_no_row(pulse_of, strength, ground, is_row):
    found = pulse_of(row(0.0, strength, range(ENTRY, END)), ground=ground).row_late_s
    assert (found == 0.0) if is_row else (found is None)


@pytest.mark.parametrize(("hops", "accent"), [(3, 2.0), (4, 0.0), (-3, 2.0)])
def test_the_low_accent_of_a_beat_is_the_strongest_near_its_hit(pulse_of, hops, accent):
    pulse = pulse_of(row(), low=[(8 * BEAT_S + hops * HOP_S, 2.0)])
    assert pulse.low_accent[8] == accent
    assert not np.delete(pulse.low_accent, 8).any()


def drifting(n_heard, *, drift=0.02):
    """Eight beats before bar one and eight after, the first `n_heard` of each heard, drifting."""
    beats = np.arange(16.0)
    return Pulse(
        beats=beats,
        times_s=0.5 * beats,
        late_s=np.where(beats < 8, drift * 0.5 * beats, 0.1),
        is_heard=beats % 8 < n_heard,
        low_accent=np.ones(16),
    )


@pytest.mark.parametrize(("n_heard", "is_told"), [(4, True), (3, False)])
def test_four_beats_nearby_tell_how_long_a_beat_is(n_heard, is_told):
    plan = SimpleNamespace(entry_beat=8.0, seconds_at=lambda beat: 0.5 * beat)
    lengths_s = beat_lengths_s(drifting(n_heard), plan)
    assert lengths_s[0] == pytest.approx(0.51 if is_told else 0.5)
    assert lengths_s[4] == pytest.approx(0.51 if is_told else 0.5)  # four beats back are near
    assert lengths_s[5] == pytest.approx(0.5)  # of five back three are
    assert lengths_s[8:] == pytest.approx([0.5] * 8)  # bar one is no drift


def test_one_stray_onset_changes_no_slope():
    times_s = np.arange(6.0)
    late_s = 0.01 * times_s
    late_s[3] = 9.0
    assert slope(times_s, late_s) == pytest.approx(0.01)
    assert slope(times_s[:2], late_s[:2]) == pytest.approx(0.01)
