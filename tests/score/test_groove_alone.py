"""A beat and a fill told from numbers of the bridge that are written by hand."""

from types import SimpleNamespace

import numpy as np
import pytest

from segue.score import groove
from segue.score.groove import fill, pulse
from segue.score.scorecard import NotMeasured, falling

EXIT, ENTRY, BEAT_S = 16.0, 32.0, 0.5
HAS_PULSE = SimpleNamespace(pulse=SimpleNamespace(is_known=True))


def heard(
    *, hits=lambda *_: 1.0, is_heard=None, late_s=None, strong=lambda *_: 1.0, dense=lambda *_: 2.0,
    aim=None, exit_beat=EXIT, songs_hits_db=5.0, is_static=False,
):  # fmt: skip
    """A bridge of four bars at 120 BPM: what stands out, which beats are heard, how late."""
    beats = np.arange(48.0)
    plan = SimpleNamespace(
        exit_beat=exit_beat,
        entry_beat=ENTRY,
        seconds_at=lambda beat: beat * BEAT_S,
        beat_at=lambda time_s: time_s / BEAT_S,
    )
    onsets = SimpleNamespace(
        strong=lambda low_s, high_s, _: strong(low_s, high_s),
        onsets_a_s=lambda low_s, high_s, _: dense(low_s, high_s),
    )
    return SimpleNamespace(
        plan=plan,
        aim=aim,
        metre=4,
        exit_s=exit_beat * BEAT_S,
        entry_s=ENTRY * BEAT_S,
        facts=(HAS_PULSE, HAS_PULSE),
        bridge=SimpleNamespace(length_s=(ENTRY - exit_beat) * BEAT_S, is_static=is_static),
        songs_hits_db=songs_hits_db,
        hits=hits,
        room=SimpleNamespace(onsets=onsets),
        pulse=SimpleNamespace(
            beats=beats,
            is_heard=np.ones(48, bool) if is_heard is None else is_heard,
            late_s=np.zeros(48) if late_s is None else late_s,
        ),
    )


@pytest.fixture(autouse=True)
def _have_pulses(monkeypatch):
    monkeypatch.setattr(groove, "have_pulses", lambda facts: facts.pulse.is_known)


def some(share):
    """So many of the sixteen beats of the bridge, and all outside it."""
    heard_beats = np.ones(48, bool)
    heard_beats[16 : 32 - round(16 * share)] = False
    return heard_beats


@pytest.mark.parametrize(
    ("thin", "share", "score"),
    [
        (0.6, 0.75, 1.0),
        (0.05, 0.75, 0.3),
        (0.325, 0.75, 0.65),
        (0.6, 0.125, 0.7 + 0.3 * 0.025 / 0.65),
        (0.6, 0.5, 0.7 + 0.3 * 0.4 / 0.65),
    ],
)
def test_a_beat_is_six_tenths_of_the_songs_on_three_beats_in_four(thin, share, score):
    told = pulse(heard(hits=lambda *_: thin, is_heard=some(share)))
    assert told.value == thin
    assert told.score == pytest.approx(score)


@pytest.mark.parametrize(("off_ms", "share"), [(20.0, 1.0), (45.0, 0.55), (70.0, 0.1)])
def test_a_beat_is_even_within_20_ms(off_ms, share):
    """Each beat early or late by so much is an evenness of that; the whole row late is none."""
    late_s = 0.3 + off_ms / 1000 * np.tile([1.0, -1.0], 24)
    late_s[:16] = late_s[32:] = 9.0
    assert pulse(heard(late_s=late_s)).score == pytest.approx(0.4 + 0.6 * share)
    assert pulse(heard(late_s=np.full(48, 0.3))).score == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("thin", "share", "off_ms", "words"),
    [
        (0.19, 0.75, 0.0, "The beat is faint against the songs', for 8 s."),
        (0.19, 0.5, 0.0, "Nobody plays a beat for 8 s."),
        (0.34, 0.75, 0.0, "The beat drops out on the way."),
        (0.36, 0.75, 36.0, "The beat is uneven (by 36 ms)."),
        (0.36, 0.5, 34.0, "A hit stands out on only 50 % of the beats."),
        (0.36, 0.0, 0.0, "A hit stands out on none of the beats."),
        (0.36, 0.75, 34.0, "The beat runs through, a little uneven (by 34 ms)."),
        (0.36, 0.75, 19.0, "The beat runs through."),
    ],
)
def test_what_is_said_of_a_beat(thin, share, off_ms, words):
    late_s = off_ms / 1000 * np.tile([1.0, -1.0], 24)
    found = pulse(heard(hits=lambda *_: thin, is_heard=some(share), late_s=late_s))
    assert found.sentence == words


def test_the_quarter_of_the_bridge_that_has_least_of_a_beat_counts_and_is_named():
    for quarter in range(4):
        span = (8.0 + 2.0 * quarter, 10.0 + 2.0 * quarter)
        found = pulse(
            heard(
                hits=lambda *asked, span=span: 0.4 if asked == span else 1.0,
                strong=lambda *asked, span=span: 0.4 if asked == span else 1.0,
            )
        )
        assert found.value == 0.4
        assert found.worst_beat == 18.0 + 4.0 * quarter
    whole = pulse(heard(hits=lambda *asked: 0.3 if asked == (8.5, 15.8) else 1.0))
    assert whole.value == 0.3  # from half a second behind the exit to a fifth before the entry


@pytest.mark.parametrize(
    ("aim", "hits", "is_told"),
    [("calm", 0.19, False), ("calm", 0.2, True), ("talk", 0.19, False), (None, 0.19, True)],
)
def test_where_no_beat_is_wanted_none_is_asked_for(aim, hits, is_told):
    found = pulse(heard(aim=aim, hits=lambda *_: hits))
    assert isinstance(found, NotMeasured) is not is_told


@pytest.mark.parametrize(
    ("songs_hits_db", "is_static", "is_told"), [(0.24, True, False), (0.26, True, True),
                                                (0.24, False, True)],
)  # fmt: skip
def test_songs_without_hits_ask_for_none(songs_hits_db, is_static, is_told):
    found = pulse(heard(songs_hits_db=songs_hits_db, is_static=is_static))
    assert isinstance(found, NotMeasured) is not is_told


def last_bar(strength, density):
    """The fill of a bridge whose last bar has so much of the strength and of the hits before."""
    line_s = (ENTRY - 4) * BEAT_S
    return fill(
        heard(
            strong=lambda low_s, _: 3.0 * (strength if low_s == line_s else 1.0),
            dense=lambda low_s, _: 2.25 * density - 0.25 if low_s == line_s else 2.0,
        )
    )


@pytest.mark.parametrize(
    ("strength", "density", "score", "words"),
    [
        (0.8, 1.2, 1.0, "The last bar carries the beat into bar one."),
        (0.2, 1.2, 0.3, "The beat is gone in the last bar before bar one."),
        (0.5, 0.8, 0.5, "The beat thins out in the last bar before bar one."),
        (0.49, 1.5, 0.7 * 0.29 / 0.6 + 0.3, "The beat is gone in the last bar before bar one."),
        (0.8, 0.4, 0.7, "The beat thins out in the last bar before bar one."),
        (0.8, 0.6, 0.775, "The last bar carries the beat into bar one."),
        (0.8, 1.39, 1.0, "The last bar carries the beat into bar one."),
        (0.5, 1.41, 0.65, "A fill leads into bar one."),
    ],
)
def test_a_last_bar_carries_the_beat_or_fills_or_loses_it(strength, density, score, words):
    told = last_bar(strength, density)
    assert told.value == pytest.approx(strength)
    assert told.score == pytest.approx(score)
    assert told.sentence == words
    assert told.worst_beat == 30.0


@pytest.mark.parametrize(("n_bars", "is_told"), [(1.4, False), (1.5, True)])
def test_a_bridge_of_a_bar_has_no_last_bar(n_bars, is_told):
    found = fill(heard(exit_beat=ENTRY - 4.0 * n_bars))
    assert isinstance(found, NotMeasured) is not is_told
    if not is_told:
        assert "too short" in found.why


def test_where_nobody_plays_a_beat_there_is_no_fill():
    assert fill(heard(hits=lambda *_: 0.19)).why == groove.NOBODY
    assert not isinstance(fill(heard(hits=lambda *_: 0.2)), NotMeasured)
    assert fill(heard(aim="calm")) is None
    assert fill(heard(aim="dance")) is not None


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (None, "One groove at a time."),
        (0.5, "Two grooves play as one."),
        (0.51, "Two grooves rub: many of their hits fall just beside each other."),
        (0.74, "Two grooves rub: many of their hits fall just beside each other."),
        (0.75, "Two grooves do not meet: they play past each other like two bands."),
    ],
)
def test_two_grooves_play_as_one_or_rub_or_do_not_meet(monkeypatch, found, words):
    pairs = {("outgoing", "incoming"): found and (found, 10.0)}
    monkeypatch.setattr(groove, "_apart", lambda _, *sides: pairs.get(sides))
    told = groove.clash(heard())
    assert told.sentence == words
    assert told.score == pytest.approx(falling(found or 0.0, good=0.5, bad=0.75))
    assert told.worst_beat == (20.0 if found else None)
