"""Tempo, the entry and the bar told from beats and curves that are written by hand."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from segue.plan.layer import DrumHit, DrumLayer
from segue.score.cleanliness import clipping
from segue.score.overlap import low_end
from segue.score.rendered_pulse import Pulse
from segue.score.scorecard import NotMeasured
from segue.score.timekeeping import bar_line, entry_timing, steady_beats, tempo_change, tempo_curve
from segue.score.tones import HOP_S, Tones

ENTRY, END = 16, 32
JND = 1.015
"""One just-noticeable difference of a beat's length, Drake and Botte 1993."""


def heard(lengths_s, *, late_s=None, is_heard=None, octave=1.0, confidence=1.0):
    """A hearing of 32 beats of some lengths, of which the new song's begin with the 17th."""
    lengths_s = np.asarray(lengths_s, dtype=np.float64)
    starts_s = np.concatenate([[0.0], np.cumsum(lengths_s)])
    beats = np.arange(float(END))
    pulse = Pulse(
        beats=beats,
        times_s=starts_s[:-1],
        late_s=np.zeros(END) if late_s is None else np.asarray(late_s, dtype=np.float64),
        is_heard=np.ones(END, bool) if is_heard is None else np.asarray(is_heard, dtype=bool),
        low_accent=np.ones(END),
    )
    plan = SimpleNamespace(
        entry_beat=float(ENTRY),
        end_beat=float(END),
        tempo_octave=octave,
        layers=(),
        seconds_at=lambda beat: float(np.interp(beat, np.arange(END + 1), starts_s)),
        beat_at=lambda time_s: float(np.interp(time_s, starts_s, np.arange(END + 1))),
    )
    hops_s = np.arange(0.0, starts_s[-1], 0.17)
    return SimpleNamespace(
        plan=plan,
        pulse=pulse,
        beat_lengths_s=lengths_s,
        metre=4,
        entry_s=plan.seconds_at(ENTRY),
        facts=(None, SimpleNamespace(pulse=SimpleNamespace(confidence=confidence, is_known=True))),
        sides={"outgoing": SimpleNamespace(times_s=hops_s)},
        sounding=lambda _: np.ones(len(hops_s), dtype=bool),
        hits=lambda *_: 1.0,
        is_silent=False,
    )


@pytest.mark.parametrize(
    ("beat", "leads"), [(15.5, True), (12.0, True), (11.0, False), (4.0, False), (16.0, False)]
)
def test_drums_lead_in_where_they_play_in_the_last_bar_before_the_entry(beat, leads):
    """Where nothing else of the old song sounds, drums that stopped a bar ago are no pulse."""
    hearing = heard(np.full(END, 0.5))
    hearing.sounding = lambda _: np.zeros(len(hearing.sides["outgoing"].times_s), dtype=bool)
    hits = (DrumHit(beat=beat, drum="snare"),)
    drums = DrumLayer(name="drums", song="outgoing", start_beat=0.0, end_beat=16.0, hits=hits)
    hearing.plan.layers = (drums,)
    assert ("the pulse before" in entry_timing(hearing).sentence) is leads


@pytest.mark.parametrize(
    ("n_jnd", "score"),
    [(0.0, 1.0), (1.4, 1.0), (5.75, 0.55), (10.0, 0.1)],
    ids="{:g}".format,
)
def test_a_change_of_tempo_is_told_in_just_noticeable_differences(n_jnd, score):
    hearing = heard([0.5] * 20 + [0.5 * JND**n_jnd] * 12)
    told = tempo_change(hearing)
    assert told.value == pytest.approx(n_jnd, abs=0.01)
    assert told.score == pytest.approx(score, abs=0.01)
    assert f"{max(100 * (JND**n_jnd - 1), 1):.0f} %" in told.sentence
    assert ("jumps" in told.sentence) is (n_jnd > 1.5)
    if n_jnd:
        assert told.worst_beat == 20.0
    assert tempo_curve(hearing)[0].value == pytest.approx(120.0)
    assert tempo_curve(hearing)[-1].value == pytest.approx(120.0 / JND**n_jnd)


def test_a_change_behind_a_rest_is_spread_over_its_beats():
    is_heard = [True] * 16 + [False] * 4 + [True] * 12
    rested = tempo_change(heard([0.5] * 16 + [0.55] * 16, is_heard=is_heard))
    at_once = tempo_change(heard([0.5] * 16 + [0.55] * 16))
    # from the last whole beat before the rest, beat 14, to the first after it, beat 20
    assert rested.value == pytest.approx(at_once.value / 6, rel=0.01)
    one_missing = [True] * 8 + [False] + [True] * 23
    assert tempo_change(
        heard([0.5] * 16 + [0.55] * 16, is_heard=one_missing)
    ).value == pytest.approx(at_once.value)


def test_half_time_across_the_entry_is_no_change_of_tempo():
    hearing = heard([0.5] * 16 + [1.0] * 16, octave=2.0)
    assert tempo_change(hearing).value == pytest.approx(0.0, abs=0.01)
    assert steady_beats(hearing).value == pytest.approx(0.0, abs=0.01)
    assert tempo_change(heard([0.5] * 16 + [1.0] * 16)).value > 40


def test_too_few_beats_have_no_tempo():
    assert tempo_change(heard([0.5] * 32, is_heard=[True] * 5 + [False] * 27)) is None
    assert steady_beats(heard([0.5] * 32, is_heard=[True] * 16 + [False] * 16)) is None


def test_the_two_beats_before_the_entry_give_its_tempo():
    for at, is_near in ((13, False), (14, True), (15, True)):
        lengths_s = [0.5] * 32
        lengths_s[at] = 0.5 * JND**4
        told = steady_beats(heard(lengths_s))
        assert told.value == pytest.approx(4.0 if is_near else 0.0, abs=0.01)
        assert told.score == pytest.approx(1 - 0.9 * 2.5 / 6.5 if is_near else 1.0, abs=0.01)


def test_beats_that_nobody_plays_have_no_mark():
    rests = [True] * 14 + [False] * 2 + [True] * 16
    told = steady_beats(heard([0.5] * 32, is_heard=rests))
    assert isinstance(told, NotMeasured)
    assert "nobody plays the last two beats" in told.why
    # the tempo changes where nothing beats for two bars and more: not heard, so no mark
    hidden = [True] * 8 + [False] * 12 + [True] * 12
    changed = tempo_change(heard([0.5] * 14 + [0.6] * 18, is_heard=hidden))
    assert isinstance(changed, NotMeasured)
    assert "120 to 100 BPM" in changed.why


@pytest.mark.parametrize(
    ("late_ms", "score"), [(0, 1.0), (11, 1.0), (-31, 0.55), (31, 0.55), (50, 0.1)]
)
def test_the_entry_is_late_against_the_pulse_before_it(late_ms, score):
    late_s = np.repeat([0.02, 0.02 + late_ms / 1000], 16)
    told = entry_timing(heard([0.5] * 32, late_s=late_s))
    assert told.value == pytest.approx(late_ms, abs=0.01)
    assert told.score == pytest.approx(score, abs=0.01)
    assert "against the pulse before it" in told.sentence
    if late_ms:
        assert f"{abs(late_ms)} ms {'late' if late_ms > 0 else 'early'}" in told.sentence


def test_of_beats_that_scatter_only_what_is_sure_is_told():
    scatter_s = np.tile([0.04, -0.04], 16)
    late_s = np.repeat([0.0, 0.06], 16) + scatter_s
    told = entry_timing(heard([0.5] * 32, late_s=late_s))
    # a median of eight, twice: 1.2533 sigma / sqrt(n), sigma 1.4826 of the median distance
    error_ms = np.hypot(1.0, 1.0) * 1.2533 * 1.4826 * 40.0 / np.sqrt(8)
    assert told.value == pytest.approx(60.0 - error_ms, abs=1.0)
    assert entry_timing(heard([0.5] * 32, late_s=scatter_s)).value == pytest.approx(0.0, abs=0.01)


def test_eight_beats_on_each_side_tell_the_lateness_and_a_drift_is_followed():
    late_s = np.full(32, 0.03)
    late_s[:8] = late_s[24:] = 0.3  # further off: no matter
    assert entry_timing(heard([0.5] * 32, late_s=late_s)).value == pytest.approx(0.0, abs=0.01)
    drifting = np.concatenate([0.002 * np.arange(-16, 0), np.zeros(16)])
    assert entry_timing(heard([0.5] * 32, late_s=drifting)).value == pytest.approx(0.0, abs=0.1)


def test_an_entry_without_a_pulse_has_no_mark_and_is_told_where_the_song_has_one():
    is_heard = [True] * 16 + [False] * 16
    sure = entry_timing(heard([0.5] * 32, is_heard=is_heard))
    assert isinstance(sure, NotMeasured)
    assert "hardly a beat is heard" in sure.why
    assert entry_timing(heard([0.5] * 32, is_heard=is_heard, confidence=0.4)) is None


def test_where_few_beats_are_heard_their_row_tells_the_lateness():
    hearing = heard([0.5] * 32, is_heard=[True] * 16 + [False] * 16)
    hearing.pulse = replace(hearing.pulse, row_late_s=0.09)
    # less half a hop of 10 ms, which is as sure as a row is
    assert entry_timing(hearing).value == pytest.approx(85.0, abs=0.1)


def test_four_beats_tell_no_drift_and_five_do():
    late_s = np.concatenate([np.zeros(16), np.linspace(0.04, 0.0, 8), np.zeros(8)])
    is_heard = np.array([True] * 16 + [False] * 16)
    is_heard[[16, 18, 21, 23]] = True
    few = entry_timing(heard([0.5] * 32, late_s=late_s, is_heard=is_heard))
    is_heard[19] = True
    five = entry_timing(heard([0.5] * 32, late_s=late_s, is_heard=is_heard))
    assert five.value == pytest.approx(40.0, abs=0.1)  # where the line has bar one
    assert few.value < 20.0  # their middle, less its error


def test_onsets_of_a_cloud_are_no_steady_beats():
    hearing = heard([0.5] * 32)
    assert steady_beats(hearing).score == 1.0
    hearing.hits = lambda low_s, high_s: 0.1 if (low_s, high_s) == (6.0, 8.0) else 1.0
    assert "nobody plays" in steady_beats(hearing).why


def test_against_silence_the_entry_is_held_to_the_plan():
    hearing = heard([0.5] * 32, late_s=[0.02] * 32)
    hearing.sounding = lambda _: np.zeros(len(hearing.sides["outgoing"].times_s), dtype=bool)
    told = entry_timing(hearing)
    assert told.value == pytest.approx(20.0, abs=0.01)
    assert "against the plan" in told.sentence


@pytest.mark.parametrize("place", range(4))
def test_the_bar_begins_where_harmony_and_bass_do(place):
    hearing = heard([0.5] * 32)
    hearing.pulse.low_accent[ENTRY + place :: 4] = 5.0
    chords = np.zeros((32, 12))
    for beat in range(32):
        root = 5 * ((beat - place) // 4)
        chords[beat, [root % 12, (root + 4) % 12, (root + 7) % 12]] = 1 / 3
    chroma = np.repeat(chords, round(0.5 / HOP_S), axis=0)
    hearing.tones = Tones(times_s=(np.arange(len(chroma)) + 0.5) * HOP_S, chroma=chroma)
    told = bar_line(hearing)
    assert told.value == place
    assert (told.score == 1.0) is (place == 0)
    if place:
        assert told.score < 0.2
        assert f"on beat {place + 1}, not on 1" in told.sentence
    short = heard([0.5] * 32)
    short.plan.end_beat = float(ENTRY + 7)
    assert bar_line(short) is None
    hearing.facts[1].pulse.is_known = False
    assert bar_line(hearing) is None  # bars of a song without a pulse are a ruler


@pytest.mark.parametrize(
    ("n_flat", "runs", "value_ms", "score"),
    [
        pytest.param(2, 1, 0.0, 1.0, id="two equal frames are no flat top"),
        pytest.param(3, 1, 1 / 48, 1.0, id="three are the least, and nothing"),
        pytest.param(50, 50, 50.0, 0.1, id="a fault"),
    ],
)
def test_flat_tops_are_counted_in_milliseconds(n_flat, runs, value_ms, score):
    rate_hz = 48_000
    sound = 0.5 * np.sin(2 * np.pi * 100 * np.arange(rate_hz) / rate_hz + 0.1)
    for run in range(runs):
        first = 960 * run // max(runs // 48, 1) + 100
        sound[first : first + n_flat] = 0.9
    hearing = heard([0.5] * 32)
    hearing.candidate = SimpleNamespace(
        music=SimpleNamespace(samples=np.stack([sound, sound], axis=1), rate_hz=rate_hz)
    )
    told = clipping(hearing)
    assert told.value == pytest.approx(value_ms, rel=0.03, abs=1e-9)
    assert told.score == pytest.approx(score, abs=0.02)
    quiet = 0.1 * np.ones((100, 2))
    hearing.candidate.music.samples = np.concatenate([quiet, sound[:, None] * [1, 1]])
    assert clipping(hearing).value == pytest.approx(value_ms, rel=0.03, abs=1e-9)


@pytest.mark.parametrize(("n_hops", "is_told"), [(2, False), (12, True)])
def test_the_low_end_counts_where_both_songs_fill_it(n_hops, is_told):
    hearing = heard([0.5] * 32)
    n_all = len(hearing.sides["outgoing"].times_s)
    low_db = {"outgoing": np.full(n_all, -60.0), "incoming": np.full(n_all, -60.0)}
    low_db["outgoing"][: 40 + n_hops] = -20.0
    low_db["incoming"][40:] = -25.0
    times_s = hearing.sides["outgoing"].times_s
    hearing.sides = {side: SimpleNamespace(times_s=times_s, low_db=low_db[side]) for side in low_db}
    hearing.loud_db = -15.0
    told = low_end(hearing)
    assert told.value == pytest.approx(n_hops * 0.17 / 0.5, abs=0.01)
    assert (told.score == 1.0) is not is_told
    assert ("Both songs fill" in told.sentence) is is_told
    low_db["incoming"][40:] = -31.0  # more than 10 dB below: a trace and no second bass
    assert low_end(hearing).value == 0.0


@pytest.mark.parametrize(("n_silent", "is_heard"), [(6, True), (7, False)])
def test_behind_eight_beats_a_tempo_is_still_compared_and_behind_nine_it_is_new(n_silent, is_heard):
    """From the last length that is heard to the next it is two beats more than nobody plays."""
    plays = np.ones(END, bool)
    plays[11 : 11 + n_silent] = False
    told = tempo_change(heard([0.5] * 12 + [0.55] * 20, is_heard=plays))
    assert isinstance(told, NotMeasured) is not is_heard
    if not is_heard:
        assert told.why == "nobody plays the beat while the tempo changes (120 to 109 BPM)"
