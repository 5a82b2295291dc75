"""The bridge at its level: laws of the fader, measured on what comes out."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.audio.clip import Clip
from segue.audio.loudness import momentary_lufs
from segue.plan.layer import DrumHit, DrumLayer, PlayedLayer, PlayedNote, SongLayer
from segue.render import render_candidate
from segue.render.bridge_colour import (
    DEEP_HZ,
    Spectra,
    bridge_shelf_db,
    deep_cut_db,
    room_for_a_voice,
    room_wanted_db,
    shelved,
    without_boom,
)
from segue.render.bridge_level import BED_LU, bed_above_lu
from segue.render.ride import fader_of, ride_of
from tests.render.conftest import curve, key_frames, music, song

RATE_HZ = 22_050
WITHIN_LU = 1.5
"""The fader follows the mean of a bar; a moment may lie off by this much."""


def songs(old_db=0.0, new_db=0.0):
    old = music(14.0, 120.0, rate_hz=RATE_HZ) * 10 ** (old_db / 20)
    new = music(14.0, 100.0, rate_hz=RATE_HZ, seed=2) * 10 ** (new_db / 20)
    return song(old, rate_hz=RATE_HZ), song(new, rate_hz=RATE_HZ)


def bridged(plan, bridge_lu, *, pad_db=-12.0):
    """The plan of two songs with a pad between them, at a level."""
    old, pad, new = plan.layers
    old = replace(old, end_beat=4.2, gain_db=(), time_map=key_frames(0, 5, 120.0))
    pad = replace(pad, gain_db=curve((4, pad_db)))
    return replace(plan, layers=(old, pad, new), bridge_lu=bridge_lu)


def levels(candidate, plan):
    """Loudness of the old song, the middle of the bridge, and the new song."""
    times_s, lufs = momentary_lufs(candidate.music, hop_s=0.1)
    exit_s, entry_s = plan.seconds_at(plan.exit_beat), plan.seconds_at(plan.entry_beat)

    def middle(low_s, high_s):
        return float(np.median(lufs[(times_s >= low_s) & (times_s < high_s)]))

    return (
        middle(0.3, exit_s - 0.3),
        middle(exit_s + 1.0, entry_s - 0.3),
        middle(entry_s + 0.3, plan.duration_s - 0.3),
    )


@pytest.mark.parametrize("bridge_lu", [-14.0, -6.0, -2.0, 1.0])
@pytest.mark.parametrize(("old_db", "new_db"), [(0.0, 0.0), (-6.0, 0.0), (0.0, -6.0)])
def test_a_bridge_lies_where_it_is_said_against_the_quieter_song(plan, bridge_lu, old_db, new_db):
    ridden = bridged(plan, curve((4, bridge_lu)))
    made = render_candidate(ridden, *songs(old_db, new_db))
    old, bridge, new = levels(made, ridden)
    slope = 3.0 if bridge_lu > BED_LU else bed_above_lu(old, new)  # to and from a louder song
    assert min(old, new) + bridge_lu - WITHIN_LU <= bridge
    assert bridge <= min(old, new) + bridge_lu + WITHIN_LU + (slope if old_db != new_db else 0.0)


@given(st.floats(-50.0, -8.0), st.floats(-50.0, -8.0))
def test_a_bed_is_held_to_both_songs(old, new):
    """12 to 16 LU under either where they are about as loud; else it can be heard by the louder."""
    bed = min(old, new) + BED_LU + bed_above_lu(old, new)
    assert bed_above_lu(old, new) == bed_above_lu(new, old)
    if abs(old - new) <= 4.0:
        assert min(old, new) - bed >= 12.0 - 1e-9
    assert 6.0 - 1e-9 <= min(old, new) - bed <= 14.0 + 1e-9
    assert max(old, new) - bed <= max(16.0, 6.0 + abs(old - new)) + 1e-9


def test_a_build_after_a_louder_song_rises_from_where_it_is_said_to_start(plan):
    """The first quarter does not hear the old song's level any more, so that the last is louder."""
    entry = plan.entry_beat
    ridden = bridged(plan, curve((plan.exit_beat, -6.0), (entry, 1.0)))
    made = render_candidate(ridden, *songs(0.0, -8.0))
    times_s, lufs = momentary_lufs(made.music, hop_s=0.1)
    exit_s, entry_s = plan.seconds_at(plan.exit_beat), plan.seconds_at(entry)
    quarter_s = (entry_s - exit_s) / 4
    first, last = (
        float(np.median(lufs[(times_s >= low_s) & (times_s < low_s + quarter_s)]))
        for low_s in (exit_s, entry_s - quarter_s)
    )
    assert last >= first + 3.0


def test_a_bridge_goes_on_from_the_level_at_which_a_fading_song_is_left(plan):
    """It does not jump back to how loud the old song once was."""
    exit_s = plan.seconds_at(plan.exit_beat)
    old, new = songs()
    time_s = np.arange(old.mix.n_frames)[:, None] / RATE_HZ
    down = np.interp(time_s, [0.5, exit_s], [1.0, 10 ** (-12 / 20)])
    faded = song(old.mix.samples * down, rate_hz=RATE_HZ)
    ridden = bridged(plan, curve((4, 0.0)))
    starts = []
    for edge in (old, faded):
        made = render_candidate(ridden, edge, new)
        times_s, lufs = momentary_lufs(made.music, hop_s=0.1)
        starts.append(float(np.interp(exit_s + 0.5, times_s, lufs)))
    assert starts[1] < starts[0] - 3.0


@pytest.mark.parametrize("pickup_beats", [0, 2])
def test_a_bridge_walks_up_to_a_far_louder_song_and_is_there_for_its_pick_up(plan, pickup_beats):
    first = 12 - pickup_beats
    ridden = bridged(plan, curve((4, -1.0)))
    old, pad, new = ridden.layers
    new = replace(new, start_beat=first, time_map=key_frames(first, 20, 100.0))
    ridden = replace(ridden, layers=(old, pad, new))
    made = render_candidate(ridden, *songs(-16.0, 0.0))
    times_s, lufs = momentary_lufs(made.music, hop_s=0.1)
    line_s, exit_s = ridden.seconds_at(first), ridden.seconds_at(ridden.exit_beat)
    last = np.median(lufs[(times_s > line_s - 0.5) & (times_s < line_s - 0.2)])
    early = np.median(lufs[(times_s > exit_s + 0.3) & (times_s < exit_s + 0.9)])
    there = np.median(lufs[(times_s > line_s + 0.3) & (times_s < line_s + 1.5)])
    assert there - 9.5 < last < there  # half the way would leave 12
    assert early < last - 4.0


@pytest.mark.parametrize(("bridge_lu", "least_lu"), [(-1.0, -18.0), (-14.0, -24.0)])
def test_a_bridge_out_of_a_song_that_has_died_away_is_heard_in_the_room(plan, bridge_lu, least_lu):
    ridden = bridged(plan, curve((4, bridge_lu)))
    starts = {}
    for old_db in (-24.0, -36.0):
        made = render_candidate(ridden, *songs(old_db, 0.0))
        times_s, lufs = momentary_lufs(made.music, hop_s=0.1)
        exit_s, (_, _, new) = ridden.seconds_at(ridden.exit_beat), levels(made, ridden)
        near = (times_s > exit_s + 0.8) & (times_s < exit_s + 2.0)
        starts[old_db] = float(np.median(lufs[near])) - new
        assert starts[old_db] >= least_lu
    assert starts[-36.0] == pytest.approx(starts[-24.0], abs=1.0)  # no softer for a softer end


@pytest.mark.parametrize("soft_db", [-6.0, -16.0])
def test_a_bridge_sinks_to_a_song_that_starts_softly(plan, soft_db):
    old, new = songs()
    samples = new.mix.samples.copy()
    n_soft = round(3.2 * RATE_HZ)
    samples[:n_soft] *= 10 ** (soft_db / 20)
    soft = song(samples, rate_hz=RATE_HZ)
    ridden = bridged(plan, curve((4, -2.0)))
    times_s, lufs = momentary_lufs(render_candidate(ridden, old, soft).music, hop_s=0.1)
    exit_s, entry_s = (ridden.seconds_at(beat) for beat in (ridden.exit_beat, ridden.entry_beat))
    last = np.median(lufs[(times_s > entry_s - 0.5) & (times_s < entry_s - 0.2)])
    early = np.median(lufs[(times_s > exit_s + 0.4) & (times_s < exit_s + 1.0)])
    first = np.median(lufs[(times_s > entry_s + 0.3) & (times_s < entry_s + 2.0)])
    assert last < first + 8.0  # a moment before bar one; without sinking it is 14
    assert early > last + (3.0 if soft_db < -10.0 else 0.0)


def test_a_calm_bridge_leaves_no_more_than_a_step_to_a_far_louder_song(plan):
    """It stays low for half of its length and is half the way up at bar one, without a leap."""
    entry = plan.entry_beat
    ridden = bridged(plan, curve((plan.exit_beat, -3.0), (entry, -4.0)))
    made = render_candidate(ridden, *songs(-16.0, 0.0))
    times_s, lufs = momentary_lufs(made.music, hop_s=0.1)
    exit_s, entry_s = ridden.seconds_at(ridden.exit_beat), ridden.seconds_at(entry)
    old, _, new = levels(made, ridden)
    inside = (times_s > exit_s + 0.4) & (times_s < entry_s - 0.3)
    middle = float(np.interp((exit_s + entry_s) / 2, times_s, lufs))
    last = float(np.interp(entry_s - 0.3, times_s, lufs))
    assert middle < old + 1.5
    assert new - 14.0 < last < new - 6.0  # without walking up it is 20 below
    assert np.diff(lufs[inside][::10]).max() < 5.5  # in a second


def test_a_bed_comes_up_to_a_far_louder_song_with_its_own_last_bars_and_not_before(plan):
    entry = plan.entry_beat
    beds = []
    for new_db in (-16.0, 0.0):
        ridden = bridged(plan, curve((entry - 3.0, -14.0), (entry, -4.0)))
        made = render_candidate(ridden, *songs(-16.0, new_db))
        times_s, lufs = momentary_lufs(made.music, hop_s=0.1)
        places_s = [ridden.seconds_at(beat) - 0.3 for beat in (entry - 3.0, entry)]
        beds.append([float(np.interp(place_s, times_s, lufs)) for place_s in places_s])
    (low, up), (louder_low, louder_up) = beds
    assert louder_up > up + 5.0
    assert louder_low <= low + 9.0  # it lies between the songs, as beds do


@pytest.mark.parametrize("pad_db", [-30.0, -18.0, 0.0])
def test_the_layers_own_level_does_not_change_that_of_the_bridge(plan, pad_db):
    loud, soft = (bridged(plan, curve((4, -3.0)), pad_db=db) for db in (-6.0, pad_db))
    one, other = (render_candidate(p, *songs()) for p in (loud, soft))
    assert levels(one, loud)[1] == pytest.approx(levels(other, soft)[1], abs=0.2)


def test_a_bridge_that_rises_ends_above_where_it_began(plan):
    ridden = bridged(plan, curve((4, -6.0), (12, 2.0)))
    made = render_candidate(ridden, *songs())
    times_s, lufs = momentary_lufs(made.music, hop_s=0.1)
    early, late = (float(np.interp(plan.seconds_at(b), times_s, lufs)) for b in (5.5, 11.3))
    assert late - early >= 4.0


def test_the_songs_themselves_do_not_move(plan):
    ridden = bridged(plan, curve((4, -10.0)))
    as_it_is = replace(ridden, bridge_lu=())
    with_ride, without = (render_candidate(p, *songs()) for p in (ridden, as_it_is))
    assert np.array_equal(with_ride.outgoing.samples, without.outgoing.samples)
    assert np.array_equal(with_ride.incoming.samples, without.incoming.samples)


def test_layers_are_on_the_fader_of_what_they_are_made_of(plan):
    ridden = replace(plan, bridge_lu=curve((4, -2.0)))
    drums = DrumLayer(
        name="d", song="incoming", start_beat=4, end_beat=12, hits=(DrumHit(beat=5, drum="kick"),)
    )

    def loop(**changes):
        made = SongLayer(
            name="loop", song="incoming", start_beat=4, end_beat=12, time_map=key_frames(4, 12, 100)
        )
        return fader_of(replace(made, **changes), ridden)

    old, pad, new = ridden.layers
    assert [fader_of(layer, ridden) for layer in (old, pad, new, drums)] == [
        "carried",
        "synth",
        "songs",
        "kit",
    ]
    assert (loop(), loop(part="percussive"), loop(roles=("drums",))) == ("band", "kit", "kit")
    assert {fader_of(layer, plan) for layer in (old, pad, new, drums)} == {"songs"}


def test_an_old_song_that_carries_most_of_the_bridge_is_ridden_also_before_a_pick_up(plan):
    old, _, _ = replace(plan, bridge_lu=curve((4, -2.0))).layers
    ridden = replace(plan, bridge_lu=curve((4, -2.0)))
    assert fader_of(replace(old, end_beat=10.0), ridden) == "carried"
    assert fader_of(replace(old, end_beat=6.0), ridden) == "songs"


def tones(plan, levels_db):
    """Sines of some levels, by their frequency."""
    time_s = np.arange(round(plan.duration_s * RATE_HZ))[:, None] / RATE_HZ
    made = sum(10 ** (db / 20) * np.sin(2 * np.pi * hz * time_s) for hz, db in levels_db.items())
    return np.repeat(made, 2, axis=1).astype(np.float32)


@pytest.mark.parametrize(
    ("bass_db", "cut_db"), [(-20.0, 0.0), (-2.0, 0.0), (6.0, 4.0), (40.0, 15.0)]
)
def test_a_bass_deeper_than_the_songs_is_cut_to_2_db_over_theirs(plan, bass_db, cut_db):
    ridden = replace(plan, bridge_lu=curve((4, -2.0)))
    buses = {
        "songs": tones(plan, {50: 0.0, 400: 0.0}),
        "synth": tones(plan, {50: bass_db, 400: 0.0}),
    }
    assert deep_cut_db(Spectra(buses, RATE_HZ), ridden) == pytest.approx(cut_db, abs=0.4)
    assert deep_cut_db(Spectra({"songs": buses["songs"]}, RATE_HZ), ridden) == 0.0


def test_what_lies_above_a_bass_is_not_cut_with_it(plan):
    for hertz in (15.0, 60.0, 1_500.0):
        tone = tones(plan, {hertz: 0.0})
        shelf = 1 + (10 ** (-12 / 20) - 1) / (1 + 1j * hertz / DEEP_HZ)  # of first order
        wanted_db = 20 * np.log10(abs(shelf))
        out = tone.copy()
        without_boom(out, 12.0, RATE_HZ)
        got_db = 20 * np.log10(np.std(out[5000:]) / np.std(tone[5000:]))
        assert got_db == pytest.approx(wanted_db, abs=0.3)
    assert wanted_db > -0.2


def test_drums_that_have_only_a_bass_beside_them_are_not_held_back(plan):
    """Next to soft songs drums stay behind chords, but not behind a bass alone."""
    loop = SongLayer(
        name="loop",
        song="incoming",
        part="percussive",
        start_beat=4,
        end_beat=12,
        time_map=key_frames(4, 12, 100),
    )
    note = PlayedNote(start_beat=4, end_beat=12, midi=33)
    old, pad, new = bridged(plan, curve((4, -2.0))).layers

    def kit_db(sound):
        played = PlayedLayer(name="p", voicings=pad.voicings, notes=(note,), sound=sound)
        ridden = replace(plan, layers=(old, loop, played, new), bridge_lu=curve((4, -2.0)))
        soft = {name: np.float32(0.05) * noises(plan)["songs"] for name in ("kit", "synth")}
        songs = noises(plan)["songs"]
        exit_s, entry_s = plan.seconds_at(plan.exit_beat), plan.seconds_at(plan.entry_beat)
        songs[round(exit_s * RATE_HZ) : round(entry_s * RATE_HZ)] = 0.0
        ride = ride_of({"songs": songs, **soft}, ridden, RATE_HZ, hardness=0.0)
        return float(ride.gains_db["kit"].mean())

    assert kit_db("bass") == pytest.approx(3.0, abs=0.2)
    assert kit_db("keys") == pytest.approx(-6.0, abs=0.2)


def test_silence_around_moves_nothing(plan):
    ridden = bridged(plan, curve((4, -3.0)))
    silent = song(np.zeros((14 * RATE_HZ, 2)), rate_hz=RATE_HZ)
    made = render_candidate(ridden, silent, silent)
    plain = render_candidate(replace(ridden, bridge_lu=()), silent, silent)
    assert np.array_equal(made.music.samples, plain.music.samples)


@pytest.mark.parametrize("gain_db", [-8.0, 6.0, 12.0])
def test_a_shelf_raises_what_lies_above_and_leaves_the_bass(gain_db):
    time_s = np.arange(RATE_HZ)[:, None] / RATE_HZ
    for hertz, wanted_db in ((60.0, 0.0), (6_000.0, gain_db)):
        tone = np.repeat(0.1 * np.sin(2 * np.pi * hertz * time_s), 2, axis=1).astype(np.float32)
        out = tone.copy()
        shelved(out, gain_db, RATE_HZ)
        got_db = 20 * np.log10(np.std(out[5000:]) / np.std(tone[5000:]))
        assert got_db == pytest.approx(wanted_db, abs=1.0)


def test_a_dull_pad_is_made_as_bright_as_the_songs(plan):
    ridden = replace(plan, bridge_lu=curve((4, -2.0)))
    time_s = np.arange(round(plan.duration_s * RATE_HZ))[:, None] / RATE_HZ

    def two_tones(high_db):
        high = 10 ** (high_db / 20) * np.sin(2 * np.pi * 2_000 * time_s)
        return np.repeat(np.sin(2 * np.pi * 200 * time_s) + high, 2, axis=1).astype(np.float32)

    bright, dull = two_tones(-10.0), two_tones(-16.0)
    brighter_db = bridge_shelf_db(Spectra({"songs": bright, "synth": dull}, RATE_HZ), ridden)
    assert brighter_db == pytest.approx(6.0, abs=0.5)
    darker_db = bridge_shelf_db(Spectra({"songs": dull, "synth": bright}, RATE_HZ), ridden)
    assert darker_db == pytest.approx(-6.0, abs=0.5)
    assert bridge_shelf_db(Spectra({"songs": bright}, RATE_HZ), ridden) == 0.0


def noises(plan, *, bridge_db=0.0):
    """The same noise on two faders; the bridge's with its 1 to 4 kHz at another level."""
    n_frames = round(plan.duration_s * RATE_HZ)
    noise = np.random.default_rng(3).standard_normal((n_frames, 2)) * 0.05
    spectrum = np.fft.rfft(noise, axis=0)
    hertz = np.fft.rfftfreq(n_frames, 1 / RATE_HZ)
    spectrum[(hertz > 1_000) & (hertz < 4_000)] *= 10 ** (bridge_db / 20)
    bridge = np.fft.irfft(spectrum, n_frames, axis=0)
    return {"songs": noise.astype(np.float32), "synth": bridge.astype(np.float32)}


def change_db(before, after, part, low_hz, high_hz):
    """What was done to a band of a stretch of sound."""
    hertz = np.fft.rfftfreq(part.stop - part.start, 1 / RATE_HZ)
    is_in = (hertz > low_hz) & (hertz < high_hz)
    powers = [np.square(np.abs(np.fft.rfft(x[part, 0])))[is_in].sum() for x in (before, after)]
    return float(10 * np.log10(powers[1] / powers[0]))


def test_a_bed_leaves_room_for_a_voice_and_takes_it_back_in_its_last_bars(plan):
    ridden = replace(plan, bridge_lu=curve((8, -14.0), (12, -4.0)))
    buses = noises(ridden)
    before = buses["synth"].copy()
    depth_db = room_wanted_db(Spectra(buses, RATE_HZ), ridden)
    room_for_a_voice(buses["synth"], ridden, RATE_HZ, depth_db)
    low, high, end = (round(plan.seconds_at(beat) * RATE_HZ) for beat in (4.5, 8, 12))
    bed, last = slice(low, high), slice(end - RATE_HZ // 4, end)
    assert -6.0 <= change_db(before, buses["synth"], bed, 1_000, 4_000) <= -3.0
    assert change_db(before, buses["synth"], bed, 60, 400) > -0.7
    assert change_db(before, buses["synth"], bed, 7_000, 11_000) > -1.5
    assert change_db(before, buses["synth"], last, 1_000, 4_000) > -0.5
    assert np.array_equal(before[end:], buses["synth"][end:])


def test_a_bed_that_is_dark_by_itself_is_not_dipped_and_a_bright_one_by_no_more_than_12_db(plan):
    ridden = replace(plan, bridge_lu=curve((8, -14.0), (12, -4.0)))
    depths = [
        room_wanted_db(Spectra(noises(ridden, bridge_db=db), RATE_HZ), ridden)
        for db in (-12, 0, 20)
    ]
    assert depths[0] == 0.0
    assert 4.5 <= depths[1] <= 6.0  # a share of 3.75 dB less, of noise that has a quarter there
    assert depths[2] == 12.0
    loud = replace(plan, bridge_lu=curve((4, -2.0)))
    assert room_wanted_db(Spectra(noises(loud), RATE_HZ), loud) == 0.0


def test_clips_are_as_long_as_ever(plan):
    ridden = bridged(plan, curve((4, -2.0)))
    made = render_candidate(ridden, *songs())
    assert isinstance(made.music, Clip)
    assert made.music.n_frames == int(np.ceil(ridden.duration_s * RATE_HZ - 1e-6))
