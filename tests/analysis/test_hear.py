"""All facts of an edge together: the promised object, and what changes with what."""

from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from segue.analysis.hear import hear_edge
from segue.audio.clip import Clip, Overrides, SongEdge, Stem
from segue.cli.tables import facts_report
from tests.analysis.pulse_sounds import RATE_HZ, drum_loop

BPM = 100.0
SHIFT_S = 1e-3
TUNING_CENTS = 0.3
LEVEL_DB = 0.15  # silence and a cut chord take part of a gating block
CHORDS = ((0, (0, 4, 7)), (9, (0, 3, 7)), (5, (0, 4, 7)), (7, (0, 4, 7)))
EVERY_EDGE = {
    "file", "edge", "key", "tuning_cents", "tempo_bpm", "tempo_alternatives_bpm", "metre",
    "beats_s", "downbeats_s", "beat_confidence", "loudness_lufs", "true_peak_dbtp", "first_note",
}  # fmt: skip
"""What every object of ``segue analyse --json`` has; with it goes either ending or opening."""


@cache
def song(semitones=0.0):
    """Eight bars of drums, bass and chords in a major key that ends on its tonic."""
    drums, beats_s = drum_loop(BPM, n_bars=8)
    sound = drums.copy()
    time_s = np.arange(round(4 * 60 / BPM * RATE_HZ)) / RATE_HZ
    for bar, at_s in enumerate(beats_s[::4]):
        root, above = CHORDS[bar % 4] if bar < 7 else CHORDS[0]
        notes = [36 + root, *(60 + root + n for n in above)]
        hz = 440 * 2 ** ((np.array(notes) + semitones - 69) / 12)
        tone = sum(0.5**k * np.sin(2 * np.pi * f * (k + 1) * time_s) for f in hz for k in range(5))
        first = round(at_s * RATE_HZ)
        piece = 0.04 * tone * np.minimum(time_s / 0.005, 1) * np.exp(-time_s / 2)
        sound[first : first + len(piece)] += piece[: len(sound) - first]
    return sound


def edge_of(sound, *, edge="start", start_s=0.0, rate_hz=RATE_HZ, role="mix"):
    samples = np.stack([sound, sound], axis=1).astype(np.float32)
    clip = Clip(samples=samples, rate_hz=rate_hz, start_s=start_s)
    stem = Stem(role=role, file="song.wav", clip=clip)
    return SongEdge(
        path=Path("song.wav"), title="song", edge=edge, stems=(stem,), duration_s=clip.end_s
    )


@pytest.fixture(scope="module", name="plain")
def _plain():
    return hear_edge(edge_of(song()))


@pytest.fixture(scope="module", name="ended")
def _ended():
    return hear_edge(edge_of(song(), edge="end"))


@pytest.mark.parametrize(("edge", "side"), [("start", "opening"), ("end", "ending")])
def test_report_has_the_promised_names(edge, side, plain, ended):
    report = facts_report({"start": plain, "end": ended}[edge])
    other = {"opening": "ending", "ending": "opening"}[side]
    assert set(report) >= EVERY_EDGE | {side}
    assert other not in report
    assert (report["file"], report["edge"]) == ("song.wav", edge)
    assert set(report["key"]) == {"tonic", "mode", "confidence", "runners_up"}
    assert report["key"]["runners_up"]
    assert all(set(k) == {"tonic", "mode", "weight"} for k in report["key"]["runners_up"])
    assert report["first_note"] is None


def test_times_count_from_the_start_of_the_file(ended):
    start_s = 120.0
    near = facts_report(ended)
    far = facts_report(hear_edge(edge_of(song(), edge="end", start_s=start_s)))
    for name in ("beats_s", "downbeats_s"):
        np.testing.assert_allclose(np.array(near[name]) + start_s, far[name], atol=SHIFT_S)
    for name in ("last_hit_s", "sound_end_s"):
        assert far["ending"][name] == pytest.approx(near["ending"][name] + start_s, abs=SHIFT_S)


def test_first_note_comes_from_the_lead_that_is_given():
    time_s = np.arange(RATE_HZ) / RATE_HZ
    note = 0.2 * np.sin(2 * np.pi * 440 * time_s) + 0.1 * np.sin(2 * np.pi * 880 * time_s)
    lead = edge_of(np.concatenate([np.zeros(2 * RATE_HZ), note])).mix
    heard = facts_report(hear_edge(edge_of(song()), lead=lead))["first_note"]
    assert set(heard) == {"midi", "time_s"}
    assert heard["midi"] == pytest.approx(69.0, abs=0.1)  # ISO 16: A4 = 440 Hz
    assert heard["time_s"] == pytest.approx(2.0, abs=0.05)


@pytest.mark.parametrize("semitones", [-4, 3, 6])
def test_transposing_transposes_the_key_and_nothing_else(plain, semitones):
    heard = hear_edge(edge_of(song(semitones)))
    assert (heard.key.key.tonic - plain.key.key.tonic) % 12 == semitones % 12
    assert heard.key.key.mode == plain.key.key.mode
    assert heard.tuning_cents == pytest.approx(plain.tuning_cents, abs=TUNING_CENTS)
    assert heard.pulse.tempo_bpm == pytest.approx(plain.pulse.tempo_bpm, rel=1e-4)
    np.testing.assert_allclose(heard.pulse.beats_s, plain.pulse.beats_s, atol=0.002)
    assert len(heard.pulse.downbeats_s) == len(plain.pulse.downbeats_s)
    assert heard.opening.kind == plain.opening.kind


@pytest.mark.parametrize("semitones", [-2, 1])
def test_playing_faster_raises_tempo_and_key_by_the_same_ratio(plain, semitones):
    ratio = 2 ** (semitones / 12)
    heard = hear_edge(edge_of(song(), rate_hz=round(RATE_HZ * ratio)))
    assert heard.pulse.tempo_bpm == pytest.approx(plain.pulse.tempo_bpm * ratio, rel=1e-4)
    assert (heard.key.key.tonic - plain.key.key.tonic) % 12 == semitones % 12
    assert heard.tuning_cents == pytest.approx(plain.tuning_cents, abs=TUNING_CENTS)


@pytest.mark.parametrize("silence_s", [0.7, 2.3])
def test_silence_at_the_front_shifts_times_and_nothing_else(plain, silence_s):
    sound = np.concatenate([np.zeros(round(silence_s * RATE_HZ)), song()])
    heard = hear_edge(edge_of(sound))
    np.testing.assert_allclose(
        heard.pulse.beats_s, np.array(plain.pulse.beats_s) + silence_s, atol=SHIFT_S
    )
    assert len(heard.pulse.downbeats_s) == len(plain.pulse.downbeats_s)
    assert heard.opening.kind == plain.opening.kind
    assert heard.opening.sound_start_s == pytest.approx(
        plain.opening.sound_start_s + silence_s, abs=0.002
    )
    assert heard.key.key == plain.key.key
    assert heard.tuning_cents == pytest.approx(plain.tuning_cents, abs=TUNING_CENTS)
    assert heard.level.true_peak_dbtp == pytest.approx(plain.level.true_peak_dbtp, abs=1e-3)
    assert heard.level.loudness_lufs == pytest.approx(plain.level.loudness_lufs, abs=LEVEL_DB)


@pytest.mark.parametrize("gain_db", [-24.0, 6.0])
def test_gain_changes_the_level_and_nothing_else(plain, gain_db):
    heard = hear_edge(edge_of(song() * 10 ** (gain_db / 20)))
    assert heard.level.loudness_lufs - plain.level.loudness_lufs == pytest.approx(gain_db, abs=0.1)
    assert heard.level.true_peak_dbtp - plain.level.true_peak_dbtp == pytest.approx(
        gain_db, abs=0.01
    )
    assert heard.key.key == plain.key.key
    assert heard.key.confidence == pytest.approx(plain.key.confidence, abs=0.02)
    assert heard.tuning_cents == pytest.approx(plain.tuning_cents, abs=TUNING_CENTS)
    np.testing.assert_allclose(heard.pulse.beats_s, plain.pulse.beats_s, atol=SHIFT_S)
    assert heard.opening.kind == plain.opening.kind


def test_beats_and_bars_of_the_song_are_its_own(plain):
    _, beats_s = drum_loop(BPM, n_bars=8)
    heard_s = np.array(plain.pulse.beats_s)
    assert max(np.abs(beats_s - time_s).min() for time_s in heard_s) < 0.005
    assert all(later > earlier for earlier, later in pairwise(heard_s))
    assert (plain.key.key.tonic, plain.key.key.mode) == (0, "major")


@pytest.mark.parametrize(
    ("murmur_db", "murmur_s", "is_left_out"),
    [
        pytest.param(-30.0, 34.0, True, id="a murmur that no room hears"),
        pytest.param(-30.0, 20.0, False, id="a quiet last part"),
        pytest.param(-12.0, 34.0, False, id="a long part that is softer"),
    ],
)
def test_a_song_that_murmurs_on_for_long_ends_where_it_has_died_away(
    murmur_db, murmur_s, is_left_out
):
    loud = song()
    n_murmur = round(murmur_s * RATE_HZ)
    quiet = np.resize(loud, n_murmur) * 10 ** (murmur_db / 20)
    edge = edge_of(np.concatenate([loud, quiet]), edge="end")
    heard = hear_edge(edge)
    loud_s = len(loud) / RATE_HZ
    if not is_left_out:
        assert heard.died_away_s is None
        assert heard.ending.last_hit_s > loud_s + 5.0
        return
    assert heard.died_away_s == pytest.approx(loud_s, abs=1.5)
    assert heard.ending.last_hit_s < loud_s + 1.6  # the mean over 2 s hears the fall a second late
    assert any("died away" in doubt for doubt in heard.doubts)
    assert facts_report(heard)["died_away_s"] == pytest.approx(heard.died_away_s, abs=1e-3)


def test_who_says_how_a_song_starts_is_believed_though_it_starts_softly():
    sound = song().copy()
    sound[: round(1.2 * RATE_HZ)] *= 0.1
    edge = edge_of(sound)
    assert hear_edge(edge).opening.faded_in_s == pytest.approx(1.2, abs=0.15)
    for said in (Overrides(opening="on the beat"), Overrides(first_downbeat_s=0.0)):
        assert hear_edge(edge, overrides=said).opening.faded_in_s is None
