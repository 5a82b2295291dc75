"""How soon a new key counts as clear, on chords without any sound around them."""

from types import SimpleNamespace

import numpy as np
import pytest

from segue.music.key import parse_key
from segue.score.arrival import clear_since_s, old_key
from segue.score.listening_to import Listened
from segue.score.tonal import cadence
from segue.score.tones import HOP_S, Tones

CHORD_S = 1.0
TRIAD = (0, 4, 7)
CADENCE = (0, 5, 7, 0)
"""Tonic, subdominant, dominant, tonic: roots above the tonic."""


def _chords(roots):
    """Chroma of major triads of a second each."""
    rows = np.zeros((len(roots), 12))
    for row, root in zip(rows, roots, strict=True):
        row[[(root + degree) % 12 for degree in TRIAD]] = 1 / len(TRIAD)
    chroma = np.repeat(rows, round(CHORD_S / HOP_S), axis=0)
    return Tones(times_s=(np.arange(len(chroma)) + 0.5) * HOP_S, chroma=chroma)


def _chords_until_clear(old, new):
    """How many chords of the new key sound until it is clear."""
    before = [old.tonic + root for root in 2 * CADENCE]
    tones = _chords(before + [new.tonic + root for root in 2 * CADENCE])
    heard = SimpleNamespace(tones=tones, plan=SimpleNamespace(key_from=old, key_to=new))
    return clear_since_s(heard, len(tones.chroma) * HOP_S) / CHORD_S - len(before)


@pytest.mark.parametrize("name", ["F# major", "D major", "Eb major", "A major"])
def test_a_new_key_rises_over_two_or_three_chords(name):
    # Krumhansl and Kessler 1982, Psychological Review 89(4): a new key is established within
    # the second and third chord; one chord is not enough, a fourth is not needed
    assert 1.0 < _chords_until_clear(parse_key("C major"), parse_key(name)) <= 3.0


def _last_bar(*chords, key="F minor"):
    """A hearing whose bar before the entry has a chord a beat: pitch classes above the tonic."""
    key = parse_key(key)
    rows = np.zeros((12, 12))
    for row, chord in zip(rows, [(0, 3, 7)] * 4 + list(chords) + [(0, 3, 7)] * 4, strict=True):
        for degree in chord:
            row[(key.tonic + degree) % 12] = 1 / len(chord)
    chroma = np.repeat(rows, round(CHORD_S / HOP_S), axis=0)
    tones = Tones(times_s=(np.arange(len(chroma)) + 0.5) * HOP_S, chroma=chroma)
    plan = SimpleNamespace(key_to=key, entry_beat=8.0, seconds_at=lambda beat: beat * CHORD_S)
    return SimpleNamespace(tones=tones, plan=plan, metre=4)


V, V7, IV, HOME, FAR = (7, 11, 2), (7, 11, 2, 5), (5, 8, 0), (0, 3, 7), (6, 10, 1)


@pytest.mark.parametrize(
    ("chords", "share", "words"),
    [
        # Common practice, no source: authentic and plagal chords lead home, others do not.
        pytest.param([V7] * 4, 1.0, "A dominant seventh chord of F minor leads", id="V7"),
        pytest.param([V] * 4, 1.0, "A dominant chord of F minor leads", id="V"),
        pytest.param([IV] * 4, 1.0, "A subdominant chord of F minor leads", id="iv"),
        pytest.param([HOME] * 4, 0.0, "No chord leads to F minor", id="the tonic itself"),
        pytest.param([FAR] * 4, 0.0, "No chord leads to F minor", id="a tritone away"),
        # the nearer to the entry, the more: 1, 2, 3 and 4 of 10
        pytest.param([V7, FAR, FAR, FAR], 0.1, "leads only in part", id="on beat one"),
        pytest.param([FAR, FAR, FAR, V7], 0.4, "leads only in part", id="on the last beat"),
        pytest.param([FAR, FAR, V7, V7], 0.7, "leads into", id="in the half bar"),
        # beats without a chord do not count
        pytest.param([(), (), FAR, V7], 4 / 7, "leads only in part", id="after a rest"),
    ],
)
def test_a_chord_that_leads_home_is_worth_what_it_fills_of_the_last_bar(chords, share, words):
    told = cadence(_last_bar(*chords))
    assert told.value == pytest.approx(share, abs=0.01)
    assert told.score == pytest.approx(0.5 + 0.5 * share, abs=0.01)
    assert words in told.sentence
    if share > 0.6:
        assert chords[int(told.worst_beat) - 4] in (V, V7, IV)


def test_a_last_bar_of_rests_says_nothing_of_a_cadence():
    assert cadence(_last_bar((), (), (), ())) is None


@pytest.mark.parametrize("mode", ["major", "minor"])
def test_the_subdominant_is_that_of_the_mode(mode):
    third = 9 if mode == "major" else 8
    assert cadence(_last_bar(*[(5, third, 0)] * 4, key=f"D {mode}")).value == pytest.approx(1.0)


def test_a_key_that_was_left_is_clear_only_since_it_came_back():
    """Eight chords of the new key, six of the old, and then the new key again."""
    old, new = parse_key("C major"), parse_key("F# major")
    there, away = [new.tonic + root for root in 2 * CADENCE], [old.tonic] * 6
    tones = _chords([old.tonic + root for root in 2 * CADENCE] + there + away + there)
    heard = SimpleNamespace(tones=tones, plan=SimpleNamespace(key_from=old, key_to=new))
    since = clear_since_s(heard, len(tones.chroma) * HOP_S) / CHORD_S
    assert 22.0 < since <= 26.0


@pytest.mark.parametrize(
    ("last", "cloud", "keeps"),
    [([7, 11, 2], 0.0, True), ([7, 11, 2], 0.25, True), ([6, 10, 1], 0.25, False)],
    ids=["dominant", "dominant under drums", "a semitone below it under drums"],
)
def test_drums_over_the_last_dominant_do_not_end_a_key_that_is_clear(last, cloud, keeps):
    """Chords of the old key, then of the new under drums; the dominant has its overtones, too.

    The fifths of its third and fifth lie outside the scale of a minor key.
    """
    old, new = parse_key("Bb major"), parse_key("C minor")
    chords = [[0, 3, 7], [5, 8, 0], [0, 3, 7], [5, 8, 0], [0, 3, 7], last]
    rows = np.zeros((8 + len(chords), 12))
    for n in range(8):
        rows[n, [(old.tonic + CADENCE[n % 4] + degree) % 12 for degree in TRIAD]] = 1 / 3
    for row, chord in zip(rows[8:], chords, strict=True):
        row[chord] = 0.25
    rows[8:] += 0.01
    rows[-1, [6, 9]] += [0.09, 0.11]
    rows /= rows.sum(axis=1, keepdims=True)
    rows[8:] = (1.0 - cloud) * rows[8:] + cloud / 12  # every note alike, as noise has
    chroma = np.repeat(rows, round(2.5 / HOP_S), axis=0)
    tones = Tones(times_s=(np.arange(len(chroma)) + 0.5) * HOP_S, chroma=chroma)
    heard = SimpleNamespace(tones=tones, plan=SimpleNamespace(key_from=old, key_to=new))
    end_s = len(chroma) * HOP_S
    assert (end_s - clear_since_s(heard, end_s) > 5.0) is keeps


@pytest.mark.parametrize("metres", [(4, 3), (3, 4), (4, 6)])
def test_bars_after_the_entry_are_those_of_the_new_song(metres):
    lines = [SimpleNamespace(beat=12.0 * n, metre=metres[n // 2]) for n in range(4)]
    plan = SimpleNamespace(bar_lines=lines, entry_beat=24.0)
    assert Listened.metre.fget(SimpleNamespace(plan=plan)) == metres[1]


def _heard(rows, old, new, chord_s):
    chroma = np.repeat(np.array(rows), round(chord_s / HOP_S), axis=0)
    tones = Tones(times_s=(np.arange(len(chroma)) + 0.5) * HOP_S, chroma=chroma)
    heard = SimpleNamespace(tones=tones, plan=SimpleNamespace(key_from=old, key_to=new))
    end_s = len(chroma) * HOP_S
    return end_s - clear_since_s(heard, end_s)


def _row(classes, cloud=0.0):
    row = np.zeros(12)
    row[[c % 12 for c in classes]] = 1 / len(classes)
    return (1.0 - cloud) * row + cloud / 12


def test_a_key_is_clear_for_less_and_less_time_as_more_sounds_beside_it():
    """No jump where a limit is passed: a little more of every pitch costs a little time."""
    old, new = parse_key("E minor"), parse_key("F minor")
    before = [_row([4, 7, 11]), _row([9, 0, 4])] * 4
    seconds = [
        _heard(
            before + [_row([5, 8, 0], c), _row([10, 1, 5], c), _row([5, 8, 0], c)] * 2,
            old,
            new,
            CHORD_S,
        )
        for c in np.arange(0.0, 0.9, 0.01)
    ]
    assert seconds[0] > 3.0
    assert seconds[-1] < 0.5
    assert max(-np.diff(seconds)) < 0.6  # of six seconds
    assert max(np.diff(seconds)) < 0.05


@pytest.mark.parametrize("chord_s", [2.0, 8.0])
def test_the_old_tonic_passes_for_the_dominant_of_a_clear_key_for_a_while(chord_s):
    old, new = parse_key("F major"), parse_key("Bb minor")
    before = [_row([5, 9, 0]), _row([10, 2, 5])] * 4
    there = [_row([10, 1, 5]), _row([3, 6, 10]), _row([10, 1, 5])]
    rows = np.repeat(np.array(before + there), 8, axis=0)
    dominant = 0.66 * _row([5, 9, 0]) + 0.34 * _row([4, 7])  # with its overtones
    last = np.repeat(dominant[np.newaxis], round(chord_s / HOP_S), axis=0)
    seconds = _heard([*rows, *last], old, new, HOP_S)
    whole = 4.0 + chord_s
    assert seconds > 0.6 * whole if chord_s < 4.0 else seconds < 0.55 * whole


def _old_key_of(*chords, old, new):
    """What is said of the old key where chords of a beat each lead up to bar one."""
    rows = [_row(chord) for chord in chords]
    chroma = np.repeat(np.array(rows), round(CHORD_S / HOP_S), axis=0)
    tones = Tones(times_s=(np.arange(len(chroma)) + 0.5) * HOP_S, chroma=chroma)
    plan = SimpleNamespace(
        key_from=parse_key(old),
        key_to=parse_key(new),
        entry_beat=float(len(chords)),
        seconds_at=lambda beat: beat * CHORD_S,
    )
    return old_key(SimpleNamespace(tones=tones, plan=plan, entry_s=len(chords) * CHORD_S, metre=4))


def test_an_old_tonic_that_leads_to_the_new_key_is_not_in_the_way():
    in_f = [(5, 9, 0), (10, 2, 5), (5, 9, 0), (5, 9, 0)]
    leads = _old_key_of(*in_f, old="F major", new="Bb minor")
    lingers = _old_key_of(*in_f, old="F major", new="F# minor")
    assert leads.score == pytest.approx(1.0)
    assert leads.sentence == "The last chord is home in F major and leads to Bb minor."
    assert lingers.score < 0.2
