"""A part that rests is told from a band that stops, by whose each moment of the plan is."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.review.findings import findings_of
from segue.review.parts import HOP_S, LOW_NOTES, Parts, _estimated_powers, _evened, part_rests
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
