"""Known traps of stretching, on what bands play: hits over a bass, chords and a voice."""

from dataclasses import replace

import numpy as np
import pytest

from benchmarks import stretch as bench
from segue.audio.clip import Clip
from segue.plan.layer import MapPoint, SongLayer
from segue.render import render_candidate
from segue.render.stretch import sound_along
from segue.render.time_map import TimeMap
from tests.render.conftest import NEW_BPM, OLD_BPM, curve, music, song
from tests.render.made_songs import Score, hit_sound, made_song
from tests.render.measure import db, rms_db

NEAR_S = 0.03


def hit_errors_ms(ramp, *, key, kick_hz, rate_hz, folder):
    """Late (+) or early (-) of every hit of a band over a ramp, by its own noise."""
    time_map = bench.ramp_map(*ramp)
    n_bars = int(float(time_map.source_s[-1]) * ramp[0] / 240) + 2
    score = Score(
        edge="start", bpm=ramp[0], metre=4, n_bars=n_bars, kind="on the beat", key=key,
        kick_hz=kick_hz,
    )  # fmt: skip
    clip = made_song(score, rate_hz, folder).edge.mix
    on_hits = time_map.source_s + score.beats_s[4] - time_map.source_s[0]
    n_frames = round(float(time_map.plan_s[-1]) * rate_hz)
    moved = TimeMap(plan_s=time_map.plan_s, source_s=on_hits)
    sound = sound_along(clip, moved, first_frame=0, n_frames=n_frames).mean(axis=1)
    template, reach = np.diff(hit_sound(score, rate_hz)), round(NEAR_S * rate_hz)
    errors = []
    for second in time_map.plan_s[1:-1]:
        at = round(float(second) * rate_hz)
        heard = np.diff(sound[at - reach : at + reach + len(template) + 1])
        match = np.abs(np.correlate(heard, template, mode="valid"))
        errors.append((int(np.argmax(match)) - reach) * 1000 / rate_hz)
    return np.array(errors)


@pytest.mark.parametrize(
    ("ramp", "worst_ms"),
    [
        pytest.param((124.0, 96.0, 32), 1.0, id="124-to-96"),
        pytest.param((96.0, 124.0, 32), 1.0, id="96-to-124"),
        pytest.param((174.0, 87.0, 32), 2.0, id="174-to-87"),
    ],
)
@pytest.mark.parametrize(
    ("key", "kick_hz", "rate_hz"),
    [
        pytest.param("C major", 60.0, 22_050, id="low-kick"),
        pytest.param("F# minor", 90.0, 24_000, id="high-kick"),
    ],
)
def test_every_hit_of_a_band_lands_on_the_plan(ramp, worst_ms, key, kick_hz, rate_hz, tmp_path):
    """A bass or a kick, smeared by the separation, rises before its own attack."""
    errors = np.abs(hit_errors_ms(ramp, key=key, kick_hz=kick_hz, rate_hz=rate_hz, folder=tmp_path))
    assert np.median(errors) <= 0.3
    assert errors.max() <= worst_ms


@pytest.mark.parametrize("wanted_s", [2.2, 3.0, 3.9])
def test_a_map_shorter_or_longer_than_what_is_wanted_leaves_no_silence(wanted_s):
    """Beyond its last key frame the song goes on as it went."""
    rate_hz = 22_050
    time_map = TimeMap(plan_s=np.array([0.0, 1.5, 3.0]), source_s=np.array([0.5, 2.2, 3.5]))
    clip = Clip(samples=bench.chord(6 * rate_hz, rate_hz), rate_hz=rate_hz)
    n_frames = round(wanted_s * rate_hz)
    sound = sound_along(clip, time_map, first_frame=0, n_frames=n_frames)
    assert len(sound) == n_frames
    levels = [rms_db(part) for part in np.array_split(sound, 20)]
    assert min(levels) > rms_db(clip.samples) - 1.0


@pytest.mark.parametrize("n_beats", [0.25, 0.5, 1.0, 3.0, 7.0, 20.0])
def test_no_length_of_a_stretched_layer_is_off_by_a_frame(plan, n_beats, outgoing, incoming):
    """Real-time engines write up to thousands of frames too many."""
    rate_hz = outgoing.rate_hz
    layer = stretched_layer(n_beats)
    made = render_candidate(replace(plan, layers=(layer,)), outgoing, incoming)
    end = round(plan.seconds_at(n_beats) * rate_hz)
    heard = np.flatnonzero(np.abs(made.outgoing.samples).max(axis=1))
    assert made.music.n_frames == int(np.ceil(plan.duration_s * rate_hz))
    assert abs(int(heard[-1]) + 1 - end) <= 1
    ends = made.outgoing.samples[end - rate_hz // 20 : end - rate_hz // 50]
    assert rms_db(ends) > rms_db(outgoing.mix.samples) - 12.0


def stretched_layer(n_beats):
    """The old song a tenth faster than it was from the first frame on."""
    beat_s = 60 / OLD_BPM * 1.1
    points = tuple(
        MapPoint(beat=float(beat), source_s=1.0 + beat * beat_s) for beat in (0, n_beats, 21)
    )
    return SongLayer(
        name="old", song="outgoing", start_beat=0, end_beat=n_beats, time_map=points[:2]
    )


@pytest.mark.parametrize("quieter_db", [0.0, 90.0])
def test_level_and_peaks_come_through_a_whole_render(plan, incoming, quieter_db):
    """Peaks of 6 dB above full scale and music at -110 dBFS: no 16 bits, no clamp, no gain."""
    rate_hz = 22_050
    loud = 6.0 * 10 ** (-quieter_db / 20) * music(14.0, OLD_BPM, rate_hz=rate_hz)
    old = song(loud, rate_hz=rate_hz)
    new = song(music(14.0, NEW_BPM, rate_hz=rate_hz, seed=2), rate_hz=rate_hz)
    layer = replace(stretched_layer(12.0), gain_db=curve((0, -20.0)))
    made = render_candidate(replace(plan, layers=(layer,)), old, new).outgoing.samples
    low, high = (round(plan.seconds_at(beat) * rate_hz) for beat in (1, 11))
    wanted = loud[rate_hz : 7 * rate_hz]
    assert rms_db(made[low:high]) == pytest.approx(rms_db(wanted) - 20.0, abs=0.2)
    assert db(np.abs(made).max()) == pytest.approx(db(np.abs(wanted).max()) - 20.0, abs=2.0)
