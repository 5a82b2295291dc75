"""A part that rests is told from a band that stops, by whose each moment of the plan is."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.review.findings import findings_of
from segue.review.parts import (
    HOP_S,
    LOW_NOTES,
    Parts,
    PlannedParts,
    _estimated_powers,
    _evened,
    part_rests,
    parts_heard,
)
from segue.review.report import Hole, Rest
from tests.review.test_findings import review

BAR_S, N_BARS, N_BANDS = 2.0, 8, 22
BARS = tuple(
    SimpleNamespace(
        number=n + 1,
        plan_s=n * BAR_S,
        section="outgoing" if n < N_BARS // 2 else "incoming",
        agreement=0.6,
    )
    for n in range(N_BARS)
)
DRUMS, BASS = slice(12, N_BANDS), slice(0, 6)
"""Bands in which a moment is the drums' or the bass's; between them both play."""


def _parts(changes=(), seed=0):
    """A take that differs from its plan by some decibels everywhere, and by more where told."""
    plan_s = np.arange(0.0, N_BARS * BAR_S, HOP_S)
    over = np.random.default_rng(seed).normal(0, 3, (len(plan_s), N_BANDS))
    for bands, first_bar, last_bar, change_db in changes:
        mine = (plan_s >= (first_bar - 1) * BAR_S) & (plan_s < last_bar * BAR_S)
        over[np.ix_(mine, np.arange(N_BANDS)[bands])] += change_db
    shares = {name: np.full(over.shape, 0.5) for name in ("drums", "bass")}
    for name, own, other in (("drums", DRUMS, BASS), ("bass", BASS, DRUMS)):
        shares[name][:, own], shares[name][:, other] = 0.98, 0.02
    return Parts(plan_s=plan_s, take_s=plan_s + 4.0, over_db=over, shares=shares)


def _rests(parts, holes=()):
    return part_rests(parts, BARS, N_BARS * BAR_S, holes)


def test_nobody_rests_in_a_take_that_is_as_planned():
    assert _rests(_parts()) == ()


@pytest.mark.parametrize(("bands", "name"), [(DRUMS, "drums"), (BASS, "bass")])
@pytest.mark.parametrize(("first", "last"), [(2, 2), (6, 7)], ids=["one bar", "two bars"])
def test_a_part_that_rests_is_named_with_its_bars(bands, name, first, last):
    told = _rests(_parts([(bands, first, last, -12.0)]))
    assert told == (Rest(bar=first, last_bar=last, part=name),)


def test_a_section_that_is_played_softer_is_no_rest():
    assert _rests(_parts([(slice(None), 1, 4, -12.0)])) == ()


def test_a_part_that_is_softer_all_through_is_no_rest():
    assert _rests(_parts([(BASS, 1, 8, -6.0)])) == ()


def test_a_part_that_is_missing_all_through_is_told_although_its_bands_have_no_other_level():
    parts = _parts()
    late = (
        parts.plan_s % BAR_S > BAR_S / 2
    )  # in the second half of each bar its bands are the drums'
    for name, share in (("bass", 0.02), ("drums", 0.98)):
        parts.shares[name][np.ix_(late, np.arange(N_BANDS)[BASS])] = share
    parts.over_db[np.ix_(~late, np.arange(N_BANDS)[BASS])] -= 15.0
    parts.over_db[:, BASS] -= np.median(parts.over_db[:, BASS], axis=0)
    assert _rests(parts) == (Rest(bar=1, last_bar=N_BARS, part="bass"),)


def test_a_band_that_stops_together_is_no_rest():
    assert _rests(_parts([(slice(None), 3, 3, -30.0)])) == ()


def test_a_gap_takes_no_part_away():
    parts = _parts([(DRUMS, 3, 3, -30.0)])
    hole = Hole(bar=3, start_s=4.0 + 2 * BAR_S, length_s=BAR_S)
    assert _rests(parts, holes=(hole,)) == ()


def test_what_noise_fills_tells_nothing():
    parts = _parts([(DRUMS, 3, 3, -30.0)])
    parts.over_db[:, DRUMS] = np.nan
    assert _rests(parts) == ()


def test_a_recorder_that_rides_the_gain_takes_no_part_away():
    # Loud bars are turned down by it, and only there does the bass play.
    parts = _parts()
    is_loud = (parts.plan_s // BAR_S) % 4 == 2
    over = parts.over_db - np.where(is_loud, 12.0, 0.0)[:, None]
    over[np.ix_(~is_loud, np.arange(N_BANDS)[BASS])] = np.nan
    over -= np.nanmedian(over, axis=0)
    assert _rests(replace(parts, over_db=over))
    assert _rests(replace(parts, over_db=_evened(over))) == ()


def _estimated(struck_db, low_db):
    """Without stems: in bar 3 what is struck and the low notes are less by some decibels."""
    parts = _parts([(DRUMS, 3, 3, struck_db), (BASS, 3, 3, low_db)])
    parts.shares[LOW_NOTES] = parts.shares.pop("bass")
    for share in parts.shares.values():
        share[share > 0.9] = 0.96
        share[share == 0.5] = 0.1  # between the two the others play
    return replace(parts, is_estimated=True)


@pytest.mark.parametrize(
    ("struck_db", "low_db", "part"),
    [(-9.0, 0.0, "drums"), (-4.5, -12.0, LOW_NOTES), (0.0, -15.0, LOW_NOTES)],
    ids=["drums", "a bass with its strokes", "a bass without"],
)
def test_who_rests_is_told_by_estimate_where_no_stem_tells(struck_db, low_db, part):
    parts = _estimated(struck_db, low_db)
    assert _rests(parts) == (Rest(bar=3, last_bar=3, part=part),)
    bridge = [replace_section(bar, "interlude") for bar in BARS]
    assert part_rests(parts, bridge, N_BARS * BAR_S, ()) == ()


def test_a_room_that_swallows_a_low_note_leaves_the_strokes_and_is_no_rest():
    assert _rests(_estimated(0.0, -7.5)) == ()


def replace_section(bar, section):
    return SimpleNamespace(**{**vars(bar), "section": section})


def test_the_player_is_named_with_what_to_agree_on():
    (told,) = findings_of(review(rests=(Rest(bar=2, last_bar=3, part="drums"),)), asked=1)
    assert told.words == "The drums rest in bars 2 to 3, the others go on: agree who plays there."
    (told,) = findings_of(review(rests=(Rest(bar=4, last_bar=4, part="low notes"),)), asked=1)
    assert told.sentence.startswith("One player rests in bar 4: the low notes are missing")


@pytest.mark.parametrize(("hertz", "is_low"), [(55.0, True), (196.0, True), (392.0, False)])
def test_what_a_bass_plays_on_all_its_strings_is_low(hertz, is_low):
    """The open G string of a bass guitar is at 98 Hz, its octave at 196 Hz (MIDI tuning)."""
    rate_hz = 16_000
    tone = 0.3 * np.sin(2 * np.pi * hertz * np.arange(4 * rate_hz) / rate_hz)
    clip = Clip(samples=np.stack([tone, tone], axis=1).astype(np.float32), rate_hz=rate_hz)
    powers = _estimated_powers(clip, np.arange(1.0, 3.0, HOP_S))
    low, other = (float(powers[name].sum()) for name in (LOW_NOTES, "mix"))
    assert (low > 10.0 * other) is is_low
    assert (other > 10.0 * low) is not is_low


def _even(changes=(), *, share=0.98, n_bands=N_BANDS):
    """As `_parts` without chance: the drums' bands, the bass's, and between them nobody's."""
    parts = _parts(changes)
    over = np.zeros(parts.over_db.shape)
    for bands, first_bar, last_bar, change_db in changes:
        mine = (parts.plan_s >= (first_bar - 1) * BAR_S) & (parts.plan_s < last_bar * BAR_S)
        over[np.ix_(mine, np.arange(N_BANDS)[bands])] = change_db
    for name, own in (("drums", DRUMS), ("bass", BASS)):
        parts.shares[name][:, own] = share
    return replace(parts, over_db=over)


def _hops(bar):
    return slice(round((bar - 1) * BAR_S / HOP_S), round(bar * BAR_S / HOP_S))


@pytest.mark.parametrize(("change_db", "is_told"), [(-9.7, False), (-10.1, True)])
def test_a_part_rests_where_it_is_plainly_nearer_to_not_being_there(change_db, is_told):
    """Noise and room leave 3 % of it, -15.2 dB: .3 of the way from the middle is -9.9 dB."""
    assert bool(_rests(_even([(DRUMS, 3, 3, change_db)]))) is is_told


def test_of_a_part_of_which_more_is_left_less_must_be_gone():
    # of nine tenths a tenth is left, -10 dB: .3 of the way from the middle is -6.5 dB
    for change_db, is_told in ((-6.3, False), (-6.7, True)):
        assert bool(_rests(_even([(DRUMS, 3, 3, change_db)], share=0.9))) is is_told


@pytest.mark.parametrize(
    ("own", "others", "is_told"), [(12, 12, True), (11, 12, False), (12, 11, False)]
)
def test_twelve_moments_of_a_part_and_of_the_others_tell(own, others, is_told):
    parts = _even([(DRUMS, 3, 3, -20.0)])
    kept = np.full(parts.over_db[_hops(3)].shape, np.nan)
    kept[:own, DRUMS.start] = -20.0
    kept[:others, BASS.start] = 0.0
    parts.over_db[_hops(3)] = kept
    assert bool(_rests(parts)) is is_told


@pytest.mark.parametrize(("share", "is_told"), [(0.61, True), (0.59, False)])
def test_a_moment_is_a_parts_from_three_fifths_of_its_power_on(share, is_told):
    parts = _even([(DRUMS, 3, 3, -20.0)], share=share)
    parts.shares["bass"][:, DRUMS] = 0.02
    assert bool(_rests(parts)) is is_told


@pytest.mark.parametrize(("share", "is_told"), [(0.29, True), (0.31, False)])
def test_a_moment_is_the_others_up_to_three_tenths(share, is_told):
    parts = _even([(DRUMS, 3, 3, -20.0)])
    parts.shares["drums"][:, BASS] = share
    assert bool(_rests(parts)) is is_told


@pytest.mark.parametrize(("agreement", "is_told"), [(0.12, True), (0.119, False)])
def test_a_bar_that_is_lost_tells_no_rest(agreement, is_told):
    bars = list(BARS)
    bars[2] = SimpleNamespace(**{**vars(bars[2]), "agreement": agreement})
    found = part_rests(_even([(DRUMS, 3, 3, -20.0)]), bars, N_BARS * BAR_S, ())
    assert bool(found) is is_told


def test_a_rest_may_be_in_the_last_bar_and_ends_with_it():
    parts = _even([(DRUMS, 8, 8, -20.0)])
    assert _rests(parts) == (Rest(bar=8, last_bar=8, part="drums"),)
    found = part_rests(parts, BARS, (N_BARS - 1) * BAR_S + 0.015, ())
    assert found == ()  # of a single hop too few moments tell: ten of twelve
    both = _even([(DRUMS, 2, 3, -20.0), (DRUMS, 6, 6, -20.0)])
    assert [(rest.bar, rest.last_bar, rest.part) for rest in _rests(both)] == [
        (2, 3, "drums"), (6, 6, "drums"),
    ]  # fmt: skip


@pytest.mark.parametrize(("late_s", "is_told"), [(-0.01, False), (0.07, True)])
def test_what_lies_within_a_tenth_of_a_second_of_a_gap_is_the_gaps(late_s, is_told):
    """A gap ends so long before the bar does; what is left of the bar is three hops or none."""
    parts = _even([(DRUMS, 3, 3, -20.0)])
    hole = Hole(bar=3, start_s=4.0 + 2 * BAR_S, length_s=BAR_S - 0.1 - late_s)
    assert bool(_rests(parts, holes=(hole,))) is is_told
    before = Hole(bar=3, start_s=4.0 + 2 * BAR_S + 0.1 + late_s, length_s=BAR_S)
    assert bool(_rests(parts, holes=(before,))) is is_told


def _missing_all(n_own, n_others):
    """A bass that never plays: in the first of its bands so many moments are the others'."""
    parts = _even()
    share = parts.shares["bass"]
    share[:, :] = 0.02
    share[:, DRUMS.start - 1] = 0.98
    share[:n_others, DRUMS.start - 1] = 0.1
    over = parts.over_db
    over[:, DRUMS.start - 1] = -20.0
    over[n_others + n_own :, DRUMS.start - 1] = np.nan
    over[:n_others, DRUMS.start - 1] = 0.0
    return _rests(parts)


@pytest.mark.parametrize(
    ("n_own", "n_others", "is_told"), [(100, 50, True), (99, 50, False), (100, 49, False)]
)
def test_a_hundred_moments_tell_that_a_part_never_plays(n_own, n_others, is_told):
    all_through = Rest(bar=1, last_bar=N_BARS, part="bass")
    assert (all_through in _missing_all(n_own, n_others)) is is_told


def _guessed(struck_db, low_db, n_struck=None, n_low=None):
    """Parts told apart by estimate, without chance: a moment of theirs is 96 % theirs."""
    parts = _even()
    over, shares = parts.over_db, {name: np.full(parts.over_db.shape, 0.1) for name in GUESSED}
    for (name, bands), change_db, n_moments in zip(
        GUESSED.items(), (struck_db, low_db), (n_struck, n_low), strict=True
    ):
        shares[name][:, bands] = 0.96
        part = np.full(over[_hops(3), bands].size, np.nan)
        part[:n_moments] = change_db
        over[_hops(3), bands] = part.reshape(over[_hops(3), bands].shape)
    told = replace(parts, shares=shares, is_estimated=True)
    return {rest.part for rest in _rests(told)}


GUESSED = {"drums": slice(18, N_BANDS), LOW_NOTES: slice(0, 4)}


@pytest.mark.parametrize(
    ("struck_db", "low_db", "part"),
    [
        # 96 % leaves -14 dB: a tenth before the middle of the way is -6.3 dB, the middle -7
        pytest.param(-6.1, 0.0, None, id="struck, too little"),
        pytest.param(-6.5, 0.0, "drums", id="struck"),
        pytest.param(-4.0, -6.8, None, id="low, too little"),
        pytest.param(-4.0, -7.2, LOW_NOTES, id="low"),
        pytest.param(-2.1, -7.2, None, id="the strokes stay: a room swallows a note"),
        pytest.param(-2.6, -7.2, LOW_NOTES, id="and go along, as of a bass"),
        pytest.param(-9.0, -8.0, "drums", id="what is struck the more"),
        pytest.param(-8.0, -9.0, LOW_NOTES, id="what is low the more"),
    ],
)
def test_by_estimate_a_bass_takes_its_strokes_along(struck_db, low_db, part):
    assert _guessed(struck_db, low_db) == ({part} if part else set())


@pytest.mark.parametrize(
    ("n_struck", "n_low", "parts"),
    [
        (100, None, {"drums"}), (99, None, set()), (None, 140, {LOW_NOTES}), (None, 139, set()),
    ],
)  # fmt: skip
def test_by_estimate_more_moments_must_tell(n_struck, n_low, parts):
    struck_db, low_db = (-12.0, 0.0) if n_struck else (0.0, -14.0)
    assert _guessed(struck_db, low_db, n_struck=n_struck, n_low=n_low) == parts


def _taken(monkeypatch, plan_db, take_db, powers_db, *, late_s=1.0, length_s=60.0):
    """A take in bands whose levels are written by hand."""
    monkeypatch.setattr("segue.review.parts.band_powers", lambda *_: 10 ** (take_db / 10))
    planned = PlannedParts(
        plan_s=HOP_S * np.arange(len(plan_db)),
        plan_db=plan_db,
        powers={name: 10 ** (power_db / 10) for name, power_db in powers_db.items()},
        is_estimated=False,
    )
    take = SimpleNamespace(duration_s=length_s)
    return parts_heard(planned, take, lambda plan_s: plan_s + late_s)


def _levels(n_hops=400):
    """A plan that is loud but for a tenth of the time, at which only noise is in the take."""
    plan_db = np.zeros((n_hops, 3))
    plan_db[::10] = -60.0
    return plan_db


def test_the_take_is_told_over_the_plan_about_the_middle_of_each_band(monkeypatch):
    plan_db = _levels()
    plan_db[3] = -9.0
    take_db = np.maximum(plan_db + np.array([3.0, -5.0, 0.0]), -40.0)
    take_db[7, 1] -= 4.0
    found = _taken(monkeypatch, plan_db, take_db, {"drums": plan_db - 3.0, "voice": plan_db - 3.0})
    assert list(found.shares) == ["drums"]  # a singer is told by name
    assert np.allclose(found.shares["drums"][1], 0.5)
    assert np.allclose(found.over_db[[1, 2, 3]], 0.0, atol=1e-6)
    assert found.over_db[7, 1] == pytest.approx(-4.0, abs=1e-6)
    assert np.isnan(found.over_db[10]).all()
    assert found.take_s[5] - found.plan_s[5] == pytest.approx(1.0)


@pytest.mark.parametrize(("above_db", "tells"), [(7.5, False), (8.5, True)])
def test_what_hardly_stands_above_the_floor_of_the_take_tells_nothing(monkeypatch, above_db, tells):
    plan_db = _levels()
    plan_db[5] = -20.0 + above_db
    found = _taken(monkeypatch, plan_db, np.maximum(plan_db, -20.0), {"drums": plan_db})
    assert bool(np.isfinite(found.over_db[5]).all()) is tells


@pytest.mark.parametrize(("apart_db", "tells"), [(3.5, True), (4.5, False)])
def test_where_the_stems_do_not_add_up_to_the_render_nothing_is_told(monkeypatch, apart_db, tells):
    plan_db = _levels()
    stems_db = plan_db + 10.0  # at another gain all along
    stems_db[5] += apart_db
    found = _taken(monkeypatch, plan_db, np.maximum(plan_db, -40.0), {"drums": stems_db})
    assert bool(np.isfinite(found.over_db[5]).all()) is tells


def test_only_what_is_in_the_recording_is_told(monkeypatch):
    plan_db = _levels()
    take_db = np.maximum(plan_db, -40.0)
    part = _taken(monkeypatch, plan_db[:300], take_db[:199], {"drums": plan_db[:300]}, late_s=-2.01)
    assert part is not None
    assert part.take_s.min() > 0
    assert _taken(monkeypatch, plan_db, take_db, {"drums": plan_db}, late_s=-99.0) is None
    assert _taken(monkeypatch, plan_db, take_db, {"drums": plan_db}, late_s=99.0) is None


def test_a_gain_that_is_turned_for_a_second_or_more_is_taken_out_and_a_stroke_is_not():
    over = np.zeros((1_000, 5))
    over[300:600] += 6.0
    over[100:110] += 6.0  # a fifth of a second
    over[:, 2] -= 3.0
    even = _evened(over)
    assert np.allclose(even[[0, 320, 580, 900]], 0.0, atol=1e-6)
    assert np.allclose(even[105], 6.0, atol=1e-6)
    nothing = np.full((4, 5), np.nan)
    assert np.isnan(_evened(nothing)).all()
