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
