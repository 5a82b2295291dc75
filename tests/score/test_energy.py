"""Drive, fullness and room for words, told from bridges that are described by hand."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from segue.score.bridge import BridgeSound, Curve, RoomCurves
from segue.score.energy import drive, fullness, speech_level, speech_room, talk_length
from segue.score.scorecard import NotMeasured

EXIT_S, ENTRY_S, END_S, BEAT_S = 16.0, 40.0, 60.0, 0.5
LOUD = -16.0
BAND_HZ = np.array([40.0, 100.0, 300.0, 1_000.0, 2_000.0, 6_000.0])
BRIDGE = BridgeSound(
    length_s=ENTRY_S - EXIT_S,
    pulse=1.0,
    thinnest_pulse=1.0,
    onsets_a_s=2.0,
    below_lu=1.0,
    rise_lu=0.0,
    brighter=1.0,
    denser=1.0,
    dip_lu=0.0,
    air_db=0.0,
    curve_lu=(0.0,) * 16,
)


def heard(aim=None, *, loudness=None, bands=None, talk_s=None, **bridge):
    """A hearing: loudness and levels of bands are functions of time."""
    times_s = np.arange(0.0, END_S, 0.1)
    level = Curve(times_s, np.array([loudness(t) if loudness else LOUD for t in times_s]))
    bands_db = np.array([bands(t) if bands else np.zeros(len(BAND_HZ)) for t in times_s])
    plan = SimpleNamespace(
        seconds_at=lambda beat: beat * BEAT_S,
        beat_at=lambda time_s: time_s / BEAT_S,
        exit_beat=EXIT_S / BEAT_S,
        entry_beat=ENTRY_S / BEAT_S,
        talk_s=talk_s,
    )
    return SimpleNamespace(
        plan=plan,
        aim=aim,
        is_silent=False,
        metre=4,
        exit_s=EXIT_S,
        entry_s=ENTRY_S,
        songs_s=((EXIT_S - 8.0, EXIT_S), (ENTRY_S, ENTRY_S + 8.0)),
        level=level,
        room=RoomCurves(
            level=level,
            onsets=Curve(times_s, np.zeros(len(times_s))),
            bands_db=bands_db,
            band_hz=BAND_HZ,
        ),
        bridge=replace(BRIDGE, **bridge),
    )


@pytest.mark.parametrize(
    ("aim", "worse", "better"),
    [
        pytest.param("lift", {"rise_lu": 0.0}, {"rise_lu": 6.0}, id="a lift becomes louder"),
        pytest.param("lift", {"brighter": 1.0}, {"brighter": 1.5}, id="a lift becomes brighter"),
        pytest.param("lift", {"denser": 0.8}, {"denser": 1.6}, id="a lift becomes denser"),
        pytest.param("calm", {"rise_lu": 6.0}, {"rise_lu": 0.0}, id="calm does not swell"),
        pytest.param("calm", {"onsets_a_s": 6.0}, {"onsets_a_s": 1.0}, id="calm has few hits"),
        pytest.param(
            "dance",
            {"curve_lu": (0.0,) * 8 + (-9.0,) + (0.0,) * 7},
            {"curve_lu": (-3.0,) * 16},
            id="the floor is kept",
        ),
        pytest.param(None, {"dip_lu": 9.0}, {"dip_lu": 2.0}, id="it does not sag before bar one"),
    ],
)
def test_a_bridge_drives_where_its_purpose_wants(aim, worse, better):
    assert drive(heard(aim, **better)).score > drive(heard(aim, **worse)).score + 0.05


def test_a_bridge_that_dies_away_does_not_lift_by_becoming_denser():
    plain, denser = (drive(heard("lift", rise_lu=-14.0, denser=d)).score for d in (1.0, 3.0))
    assert plain == denser
    assert drive(heard("lift", denser=3.0)).score > drive(heard("lift")).score + 0.1


def test_a_rise_is_good_for_a_lift_and_bad_for_calm_and_a_talk_is_not_asked():
    rising = {"rise_lu": 8.0, "brighter": 1.8, "denser": 1.6}
    assert drive(heard("lift", **rising)).score == pytest.approx(1.0)
    assert "It lifts" in drive(heard("lift", **rising)).sentence
    assert "does not calm" in drive(heard("calm", **rising)).sentence
    assert "does not calm" in drive(heard("calm", rise_lu=0.0, onsets_a_s=4.0)).sentence
    assert "It calms" in drive(heard("calm", rise_lu=0.0, onsets_a_s=1.0)).sentence
    assert drive(heard("talk", **rising)) is None
    short = drive(heard("lift", length_s=1.0))
    assert isinstance(short, NotMeasured)


@pytest.mark.parametrize(
    ("aim", "below_lu", "is_full"),
    [
        (None, 3.0, True),
        (None, 9.0, False),
        (None, -6.0, False),
        ("calm", 8.0, True),
        ("dance", 4.5, False),
        ("lift", 5.5, True),
    ],
)
def test_a_bridge_is_as_full_as_its_purpose_wants(aim, below_lu, is_full):
    told = fullness(heard(aim, below_lu=below_lu))
    assert (told.score == pytest.approx(1.0)) is is_full
    assert f"{abs(below_lu):.1f} LU" in told.sentence


def test_a_bridge_without_low_end_or_with_odd_air_is_less_full():
    def thin(t):
        low_db = -30.0 if EXIT_S <= t < ENTRY_S else 0.0
        return np.where(BAND_HZ < 150.0, low_db, 0.0)

    told = fullness(heard(bands=thin))
    assert told.score < 0.75
    assert "without the songs' low end" in told.sentence
    assert "harsher" in fullness(heard(air_db=9.0)).sentence
    assert "duller" in fullness(heard(air_db=-9.0)).sentence
    assert fullness(heard(air_db=9.0)).score < 1.0
    assert fullness(heard("talk")) is None


def bed_at(below_lu):
    return lambda t: LOUD - below_lu * (EXIT_S <= t < ENTRY_S)


@pytest.mark.parametrize(
    ("below_lu", "words"),
    [(14.0, "under words"), (4.0, "Too loud"), (24.0, "Nearly silent")],
)
def test_a_bed_lies_under_words(below_lu, words):
    # 10 LU under speech: Torcoli et al., JAES 67(12), 2019; from memory
    told = speech_level(heard("talk", loudness=bed_at(below_lu)))
    assert words in told.sentence
    assert told.value == pytest.approx(below_lu, abs=0.1)
    assert (told.score > 0.95) is (below_lu == 14.0)
    assert speech_level(heard(None)) is None


def test_an_uneven_bed_is_marked_down():
    def uneven(t):
        return LOUD - (14.0 + 6.0 * np.sign(np.sin(t))) * (EXIT_S <= t < ENTRY_S)

    steady, restless = (
        speech_level(heard("talk", loudness=curve)) for curve in (bed_at(14.0), uneven)
    )
    assert restless.score < steady.score


def test_a_bed_half_as_uneven_as_may_be_loses_a_fifth_of_its_mark_at_most():
    """A quarter of the time each 6.36 LU up and down spreads by 6.36 / sqrt(2) = 4.5 LU.

    That lies half way from 2 LU, which is fine, to 7, where a tenth is left: 0.55 of the two
    fifths of the mark that unevenness takes.
    """

    def swaying(t):
        return bed_at(14.5)(t) + (0.0, 6.364, 0.0, -6.364)[int(t / 0.5) % 4]

    told = speech_level(heard("talk", loudness=swaying))
    assert told.value == pytest.approx(14.5, abs=0.1)
    assert told.score == pytest.approx(0.6 + 0.4 * 0.55, abs=0.005)
    assert told.sentence == "The bed is uneven (by 4.5 LU)."


def test_words_have_room_where_consonants_are():
    def shrill(t):
        mid_db = 20.0 if EXIT_S <= t < ENTRY_S else 0.0
        return np.where((BAND_HZ >= 1_000.0) & (BAND_HZ < 4_000.0), mid_db, 0.0)

    free, full, busy = (
        speech_room(heard("talk", onsets_a_s=1.0)),
        speech_room(heard("talk", bands=shrill, onsets_a_s=1.0)),
        speech_room(heard("talk", onsets_a_s=6.0)),
    )
    assert free.score == pytest.approx(1.0)
    assert free.sentence == "Words have room."
    assert full.score < free.score
    assert busy.score < free.score
    assert "6.0 attacks a second" in busy.sentence
    # a soft hit on every beat at 120 BPM is two a second, which a voice rides over
    on_every_beat = speech_room(heard("talk", onsets_a_s=2.0))
    assert on_every_beat.score == pytest.approx(1.0)
    assert on_every_beat.sentence == "Words have room."


@pytest.mark.parametrize(("talk_s", "fits"), [(24.0, True), (20.0, True), (40.0, False)])
def test_the_talk_fits_between_the_songs(talk_s, fits):
    told = talk_length(heard("talk", talk_s=talk_s))
    assert (told.score == pytest.approx(1.0)) is fits
    assert ("Too short" in told.sentence) is not fits
    assert talk_length(heard("talk")) is None


def on_the_way(value, worst, best):
    return min(max((value - worst) / (best - worst), 0.0), 1.0)


@pytest.mark.parametrize("rise_lu", [-20.0, -12.0, -8.0, -4.0, 0.0, 4.0, 7.0])
def test_a_lift_is_half_loudness_a_fifth_no_fall_and_the_rest_brighter_or_denser(rise_lu):
    half = 0.5 * on_the_way(rise_lu, -4.0, 7.0) + 0.2 * on_the_way(rise_lu, -16.0, -4.0)
    for bridge, octaves in (
        ({}, 0.0),
        ({"brighter": 2**0.5}, 0.5),
        ({"denser": 2**0.7, "brighter": 0.9}, 0.7),
        ({"brighter": 0.0, "denser": 0.02}, np.log2(0.1)),
    ):
        more = 0.3 * on_the_way(octaves, -0.3, 0.8) * on_the_way(rise_lu, -12.0, -4.0)
        assert drive(heard("lift", rise_lu=rise_lu, **bridge)).score == pytest.approx(half + more)


@pytest.mark.parametrize(
    ("rise_lu", "brighter", "denser", "lifts"),
    [
        (4.0, 1.3, 1.0, True),
        (4.0, 1.0, 1.3, True),
        (-9.0, 1.3, 1.3, True),
        (3.9, 1.3, 1.2, False),
        (4.0, 1.29, 1.29, False),
    ],
)
def test_two_of_louder_brighter_and_denser_are_a_lift(rise_lu, brighter, denser, lifts):
    told = drive(heard("lift", rise_lu=rise_lu, brighter=brighter, denser=denser)).sentence
    assert told.startswith("It lifts:" if lifts else "It does not lift:")


@pytest.mark.parametrize(
    ("rise_lu", "hits", "score", "calms"),
    [
        (1.0, 2.5, 1.0, True),
        (4.0, 2.5, 0.775, True),
        (4.4, 2.5, 0.745, False),
        (1.0, 3.75, 0.775, True),
        (7.0, 5.0, 0.1, False),
    ],
)
def test_calm_is_no_louder_and_has_few_hits(rise_lu, hits, score, calms):
    told = drive(heard("calm", rise_lu=rise_lu, onsets_a_s=hits))
    assert told.score == pytest.approx(score)
    assert told.sentence.startswith("It calms" if calms else "It does not calm")
    assert told.worst_beat == 56.0  # the middle of the bridge


@pytest.mark.parametrize(
    ("aim", "down_lu", "score", "words"),
    [
        ("dance", 4.0, 1.0, "It keeps going"),
        ("dance", 4.1, 0.991, "It lets the floor go"),
        ("dance", 9.0, 0.55, "It lets the floor go"),
        ("dance", -3.0, 1.0, "It keeps going: at its thinnest 0.0 LU"),
        (None, 3.0, 1.0, "It leads on, in its last second"),
        (None, 4.0, 0.9, "It leads on, in its last second"),
        (None, 4.1, 0.89, "It sags before bar one"),
        (None, 7.5, 0.55, "It sags before bar one"),
        (None, 0.5, 1.0, "It leads on, in its last second softer by up to 0.5 LU"),
        (None, 0.4, 1.0, "It leads on: no dip"),
    ],
)
def test_how_far_a_bridge_may_sag(aim, down_lu, score, words):
    told = drive(heard(aim, curve_lu=(0.5, -down_lu, 1.0), dip_lu=down_lu))
    assert told.score == pytest.approx(score)
    assert told.sentence.startswith(words)
    assert told.worst_beat == (56.0 if aim else 79.0)


@pytest.mark.parametrize(("length_s", "is_told"), [(1.9, False), (2.0, True)])
def test_a_bridge_shorter_than_two_seconds_goes_nowhere(length_s, is_told):
    for measure in (drive, fullness):
        assert isinstance(measure(heard(length_s=length_s)), NotMeasured) is not is_told


@pytest.mark.parametrize(
    ("aim", "low_lu", "high_lu"),
    [(None, -3.0, 4.5), ("lift", -2.0, 6.0), ("calm", -1.0, 9.0), ("dance", -3.0, 3.5)],
)
def test_how_soft_and_how_loud_a_bridge_may_be(aim, low_lu, high_lu):
    for below_lu, off_lu in (
        (low_lu, 0.0), (high_lu, 0.0), (low_lu - 4.5, 4.5), (high_lu + 4.5, 4.5),
        (low_lu - 9.0, 9.0),
    ):  # fmt: skip
        told = fullness(heard(aim, below_lu=below_lu))
        assert told.score == pytest.approx(1.0 - 0.5 * 0.9 * off_lu / 9.0)
        side = "softer" if below_lu >= 0 else "louder"
        assert f"{abs(below_lu):.1f} LU {side} than the quieter song" in told.sentence
    assert told.threshold.startswith(f"{-high_lu:+g} to {-low_lu:+g} LU")
    assert told.worst_beat == 56.0


@pytest.mark.parametrize(
    ("thin_db", "air_db", "score", "words"),
    [
        (6.0, 4.0, 1.0, "as loud as the quieter song."),
        (8.9, -5.0, 1 - 0.27 * 2.9 / 18 - 0.18 / 10, "as loud as the quieter song."),
        (9.1, 0.0, 1 - 0.27 * 3.1 / 18, "as loud as the quieter song, without the songs' low end."),
        (0.0, -5.1, 1 - 0.18 * 1.1 / 10, "as loud as the quieter song, duller."),
        (24.0, 14.0, 0.55, "as loud as the quieter song, without the songs' low end, harsher."),
    ],
)  # fmt: skip
def test_low_end_that_is_lost_and_air_that_is_not_the_songs_are_told(thin_db, air_db, score, words):
    def bands(t):
        lost = thin_db if EXIT_S + 0.3 <= t < ENTRY_S - 0.2 else 0.0
        more = 20.0 if t < EXIT_S else 0.0  # the song that has less of it is what counts
        return np.array([more - lost, more - lost, 60.0, 0.0, 0.0, 0.0])

    told = fullness(heard(bands=bands, below_lu=0.4, air_db=air_db))
    assert told.score == pytest.approx(score)
    assert told.sentence == f"The bridge is {words}"
    assert "as loud as" not in fullness(heard(below_lu=0.5)).sentence


BED_S = (EXIT_S + 1.0, ENTRY_S - 4.0)
"""From half a bar behind the exit to two bars before the entry, which call the singer."""


def bed(below_lu, *, outside_lu=0.0, uneven_lu=0.0):
    def loudness(t):
        if BED_S[0] <= t < BED_S[1]:
            return LOUD - below_lu + uneven_lu * (1 if round(10 * t) % 2 else -1)
        return LOUD - outside_lu if EXIT_S <= t < ENTRY_S else LOUD

    return speech_level(heard("talk", loudness=loudness))


@pytest.mark.parametrize(
    ("below_lu", "off_lu", "words"),
    [
        (12.0, 0.0, "Lies well under words"), (17.0, 0.0, "Lies well under words"),
        (11.9, 0.1, "Too loud to talk over"), (17.1, 0.1, "Nearly silent"),
        (7.5, 4.5, "Too loud to talk over"), (26.0, 9.0, "Nearly silent"),
    ],
)  # fmt: skip
def test_a_bed_lies_12_to_17_lu_below_the_songs(below_lu, off_lu, words):
    for outside_lu in (0.0, 60.0):
        told = bed(below_lu, outside_lu=outside_lu)
        assert told.value == pytest.approx(below_lu, abs=1e-6)
        assert told.score == pytest.approx(1.0 - 0.9 * off_lu / 9.0)
        assert told.sentence.startswith(words)
        assert told.worst_beat == pytest.approx(sum(BED_S) / 2 / BEAT_S)


@pytest.mark.parametrize(
    ("uneven_lu", "score", "words"),
    [(2.0, 1.0, "Lies"), (3.4, 1 - 0.36 * 1.4 / 5, "Lies"), (3.6, 1 - 0.36 * 1.6 / 5, "The bed is"),
     (7.0, 0.64, "The bed is uneven (by 7.0 LU)")],
)  # fmt: skip
def test_a_bed_is_steady(uneven_lu, score, words):
    told = bed(14.5, uneven_lu=uneven_lu)
    # of values that lie above and below by so much the middle is one of them or between
    assert told.score == pytest.approx(score, abs=0.01)
    assert told.sentence.startswith(words)


@pytest.mark.parametrize(
    ("mid_db", "hits", "score", "words"),
    [
        (0.0, 2.0, 1.0, "Words have room."),
        (3.0, 2.0, 1 - 0.54 * 3 / 9, "Words have room."),
        (3.1, 2.0, 1 - 0.54 * 3.1 / 9, "In the way of words: 3 dB more"),
        (0.0, 2.1, 1 - 0.36 * 0.1 / 5, "In the way of words: 2.1 attacks a second."),
        (9.0, 7.0, 0.1, "In the way of words: 9 dB more"),
    ],
)  # fmt: skip
def test_words_have_room_between_1_and_4_khz_and_between_hits(mid_db, hits, score, words):
    def bands(t):
        is_bed = BED_S[0] <= t < BED_S[1]
        level = np.full(len(BAND_HZ), -90.0)
        level[5] = 0.0  # far above the rest, so that shares are levels
        level[3:5] = -30.0 + mid_db * is_bed
        return level

    told = speech_room(heard("talk", bands=bands, onsets_a_s=hits))
    assert told.value == pytest.approx(mid_db, abs=0.07)
    assert told.score == pytest.approx(score, abs=0.006)
    assert told.sentence.startswith(words)


@pytest.mark.parametrize(
    ("talk_s", "score", "words"),
    [
        (24.0, 1.0, "24 s for 24 s"), (25.2, 1.0, "24 s for 25 s"), (25.3, 1.0, "Too short"),
        (24 / 0.725, 0.55, "Too short"), (15.0, 1.0, "24 s for 15 s"), (24 / 2.8, 0.55, "24 s"),
        (6.0, 0.1, "24 s for 6 s"),
    ],
)  # fmt: skip
def test_a_talk_fits_where_the_bridge_is_as_long_or_half_as_long_again(talk_s, score, words):
    told = talk_length(heard("talk", talk_s=talk_s))
    assert told.value == 24.0
    assert told.score == pytest.approx(score, abs=0.005)
    assert told.sentence.startswith(words)
    assert told.worst_beat == (80.0 if talk_s > 24.0 else None)
