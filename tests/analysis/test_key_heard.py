from dataclasses import replace
from functools import cache
from importlib import resources
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.analysis.facts import KeyFact, PulseFact
from segue.analysis.key_evidence import key_evidence
from segue.analysis.key_heard import MOST_RUNNERS_UP, chances_in_song, hear_harmony, key_chances
from segue.analysis.key_segments import NoteFrames, hear_segments, note_frames
from segue.analysis.key_sequence import MOST_SEGMENTS, sequence_scores
from segue.analysis.tuning import pitched_peaks, settled_tuning
from segue.audio.clip import Clip
from segue.music.key import ALL_KEYS, Key
from tests.analysis.key_sounds import (
    CADENCE,
    CHORD_S,
    MAJOR,
    MINOR,
    NO_PULSE,
    RATE_HZ,
    Chord,
    bass_of,
    chords_of,
    edge_of,
    note,
    song,
)

LOOP = ((0, MINOR), (10, MAJOR), (8, MAJOR), (10, MAJOR))
"""Am-G-F-G, in which no profile of pitch classes finds A minor."""


def pulse_of(n_beats: int, start_s: float = 0.0) -> PulseFact:
    beats_s = tuple(start_s + CHORD_S / 2 * beat for beat in range(n_beats))
    return PulseFact(
        tempo_bpm=120.0,
        tempo_alternatives_bpm=(),
        beats_s=beats_s,
        downbeats_s=beats_s[::2],
        metre=2,
        confidence=1.0,
        downbeat_confidence=1.0,
        residual_ms=0.0,
    )


def key_of(edge, pulse: PulseFact = NO_PULSE, **settings) -> KeyFact:
    """The key alone of what is heard of the harmony."""
    return hear_harmony(edge, pulse, **settings)[0]


@pytest.mark.parametrize("key", ALL_KEYS, ids=str)
def test_a_cadence_is_heard_in_its_key(key):
    # I IV V I and i iv V i establish a key (Krumhansl and Kessler 1982 used such cadences).
    edge = song(key.tonic, CADENCE[key.mode])
    fact = key_of(edge, tuning_cents=settled_tuning(pitched_peaks(edge)).cents)
    assert fact.key == key
    assert fact.source == "heard"


@pytest.mark.parametrize("tonic", [0, 4, 9])
def test_an_aeolian_loop_that_opens_a_song_is_minor(tonic):
    chords = LOOP * 3
    edge = edge_of("start", mix=chords_of(tonic, chords) + 2 * bass_of(tonic, chords))
    fact = key_of(edge, pulse_of(24), tuning_cents=0.0)
    assert fact.key == Key(tonic=tonic, mode="minor")


@given(tonic=st.integers(0, 11), mode=st.sampled_from(["major", "minor"]), up=st.integers(1, 11))
def test_rolled_notes_transpose_the_chances_and_nothing_else(tonic, mode, up):
    frames = frames_of(tonic, mode)
    chances = key_chances(frames)
    moved = key_chances(replace(frames, notes=np.roll(frames.notes, up, axis=2)))
    assert np.roll(moved.reshape(2, 12), -up, axis=1).ravel() == pytest.approx(chances)


@cache
def frames_of(tonic: int, mode: str) -> NoteFrames:
    (segments,) = hear_segments(song(tonic, CADENCE[mode]), NO_PULSE, tuning_cents=0.0)
    return note_frames(segments)


@pytest.mark.parametrize("is_start", [False, True], ids=["end", "start"])
def test_what_lies_beyond_the_nearest_segments_is_not_seen(is_start):
    frames = frames_of(0, "major")
    times = -(-MOST_SEGMENTS // len(frames.level))
    long = replace(
        frames,
        notes=np.tile(frames.notes, (times, 1, 1)),
        level=np.tile(frames.level, times),
        downbeat=np.tile(frames.downbeat, times),
        length_s=np.tile(frames.length_s, times),
        is_start=is_start,
    )
    far = slice(MOST_SEGMENTS, None) if is_start else slice(0, -MOST_SEGMENTS)
    other = long.notes.copy()
    other[far] = np.roll(other[far], 1, axis=2)
    assert sequence_scores(replace(long, notes=other)) == pytest.approx(sequence_scores(long))


@pytest.mark.parametrize("cents", [47.0, -49.0])
def test_a_tuning_between_two_semitones_leaves_both_names_open_unless_it_is_said(cents):
    edge = song(5, CADENCE["major"])
    sure = key_of(edge, tuning_cents=0.0)
    between = key_of(edge, tuning_cents=cents)
    # The sound is tuned as it is: only what is told of its tuning differs.
    assert between.confidence < sure.confidence
    other = Key(tonic=(between.key.tonic + (1 if cents > 0 else -1)) % 12, mode=between.key.mode)
    assert other in {runner.key for runner in between.runners_up[:2]}
    said = key_of(edge, tuning_cents=cents, is_tuning_said=True)
    assert other not in {runner.key for runner in said.runners_up[:1]}


@pytest.mark.parametrize("up", [1, 3, 6])
def test_transposed_sound_has_the_transposed_key_and_like_confidence(up):
    still, moved = heard_shifted(0), heard_shifted(up)
    assert moved.key == still.key.transposed(up)
    assert moved.confidence == pytest.approx(still.confidence, abs=0.1)


@cache
def heard_shifted(semitones: int):
    return key_of(shifted(semitones), tuning_cents=0.0)


def shifted(semitones: int):
    """The cadence with every note moved, bass and chords within the octave above their place."""
    chords = CADENCE["major"]
    upper = [sum(note(60 + semitones + root + n) for n in above) for root, above in chords]
    lower = [2 * note(36 + semitones + root) for root, _ in chords]
    return edge_of(mix=np.concatenate(upper) + np.concatenate(lower))


@cache
def heard_at(gain: float):
    return key_of(song(7, CADENCE["minor"], gain), tuning_cents=0.0)


@pytest.mark.parametrize("gain", [0.001, 0.1, 3.0])
def test_gain_changes_nothing(gain):
    loud, other = heard_at(1.0), heard_at(gain)
    assert other.key == loud.key
    assert other.confidence == pytest.approx(loud.confidence, abs=0.01)


def test_place_in_the_file_changes_nothing():
    chords = CADENCE["major"]
    sound = chords_of(2, chords) + bass_of(2, chords)
    here = key_of(edge_of(mix=sound), pulse_of(8), tuning_cents=0.0)
    there = edge_of(mix=sound, start_s=200.0)
    assert key_of(there, pulse_of(8, 200.0), tuning_cents=0.0) == here


@pytest.mark.parametrize("cents", [-40.0, 25.0])
def test_detuning_changes_no_key(cents):
    edge = song(5 + cents / 100, CADENCE["minor"])
    fact = key_of(edge, tuning_cents=settled_tuning(pitched_peaks(edge)).cents)
    assert fact.key == Key(tonic=5, mode="minor")


def test_weights_are_chances_without_the_key_itself():
    fact = key_of(song(0, LOOP * 2), tuning_cents=0.0)
    weights = [fact.confidence, *(runner.weight for runner in fact.runners_up)]
    assert fact.key not in {runner.key for runner in fact.runners_up}
    assert len({runner.key for runner in fact.runners_up}) == len(fact.runners_up)
    assert 1 <= len(fact.runners_up) <= MOST_RUNNERS_UP
    assert all(first >= second for first, second in pairwise(weights))
    assert 0.5 < sum(weights) <= 1.0 + 1e-9


def test_bass_stem_gives_the_roots():
    # A C E G over A is A minor seventh, over C it is C major sixth (common practice, no source).
    ambiguous = np.concatenate([sum(note(m) for m in (57, 60, 64, 67))] * 4)
    over_a, over_c = (
        key_of(edge_of(keys=ambiguous, bass=np.concatenate([note(bass)] * 4)), tuning_cents=0.0)
        for bass in (45, 36)
    )
    assert over_a.key == Key(tonic=9, mode="minor")
    assert over_c.key == Key(tonic=0, mode="major")


def test_drum_stem_does_not_count():
    chords, bass = chords_of(3, CADENCE["major"]), bass_of(3, CADENCE["major"])
    toms = 5 * np.concatenate([note(46 + hit) for hit in range(4)])
    heard = key_of(edge_of("start", keys=chords, bass=bass), tuning_cents=0.0)
    with_drums = edge_of("start", keys=chords, bass=bass, drums=toms)
    assert key_of(with_drums, tuning_cents=0.0) == heard


@pytest.mark.parametrize(
    ("role", "sound"),
    [
        pytest.param("mix", np.zeros(RATE_HZ), id="silence"),
        pytest.param("drums", note(47), id="drums only"),
        pytest.param("mix", np.zeros(1), id="one frame"),
    ],
)
def test_nothing_pitched_leaves_every_key_as_likely(role, sound):
    fact = key_of(edge_of(**{role: sound}), tuning_cents=0.0)
    assert fact.confidence == pytest.approx(1 / 24)
    assert [r.weight for r in fact.runners_up] == pytest.approx([1 / 24] * MOST_RUNNERS_UP)


def test_noise_is_told_without_confidence():
    noise = 0.1 * np.random.default_rng(7).standard_normal(10 * RATE_HZ)
    assert key_of(edge_of(mix=noise), tuning_cents=0.0).confidence < 0.8


@pytest.mark.parametrize(
    ("tonic", "mode", "name"),
    [
        # Signatures of up to six accidentals (any rudiments of music; from memory).
        pytest.param(6, "minor", "F# minor", id="three sharps"),
        pytest.param(10, "major", "Bb major", id="two flats"),
        pytest.param(1, "major", "Db major", id="five flats, not seven sharps"),
        pytest.param(8, "minor", "G# minor", id="five sharps, not seven flats"),
    ],
)
def test_keys_are_spelled_as_musicians_write_them(tonic, mode, name):
    fact = key_of(song(tonic, CADENCE[mode]), tuning_cents=0.0)
    assert str(fact.key) == name


AWAY = ((5, MAJOR), (7, MAJOR))
"""IV - V over and over, which is I - II of a key as well."""
AT_HOME = ((0, MAJOR), (9, MINOR), (5, MAJOR), (7, MAJOR))


def stretch_of(tonic: float, chords: tuple[Chord, ...], times: int, start_s: float = 0.0) -> Clip:
    (stem,) = song(tonic, chords * times).stems
    return replace(stem.clip, start_s=start_s)


@pytest.mark.parametrize("tonic", [0, 5, 10])
def test_the_rest_of_a_song_speaks_for_the_key_that_an_edge_keeps_away_from(tonic):
    edge, home = song(tonic, AWAY * 6), Key(tonic=tonic, mode="major")
    around = (stretch_of(tonic, AT_HOME, 8), stretch_of(tonic, AT_HOME, 8))
    alone = hear_harmony(edge, NO_PULSE, tuning_cents=0.0)[0]
    heard = hear_harmony(edge, NO_PULSE, tuning_cents=0.0, around=around)[0]
    assert chance_of(heard, home) > 3 * chance_of(alone, home)
    assert heard.key == home or heard.confidence < 0.75 * alone.confidence


def chance_of(fact: KeyFact, key: Key) -> float:
    told = {other.key: other.weight for other in fact.runners_up}
    return fact.confidence if fact.key == key else told.get(key, 0.0)


@pytest.mark.parametrize("far", [2, 6])
def test_the_rest_of_a_song_does_not_outvote_an_edge_that_is_sure(far):
    edge = song(0, CADENCE["major"] * 6)
    around = (stretch_of(far, CADENCE["major"], 8), stretch_of(far, CADENCE["major"], 8))
    alone = hear_harmony(edge, NO_PULSE, tuning_cents=0.0)[0]
    heard = hear_harmony(edge, NO_PULSE, tuning_cents=0.0, around=around)[0]
    assert heard.key == alone.key
    assert heard.confidence < alone.confidence


def test_noise_and_silence_around_an_edge_tell_nothing_but_caution():
    edge = song(0, CADENCE["major"] * 6)
    noise = np.random.default_rng(3).normal(0.0, 0.1, (20 * RATE_HZ, 1)).astype(np.float32)
    around = tuple(Clip(samples=gain * noise, rate_hz=RATE_HZ) for gain in (1.0, 0.0))
    alone = hear_harmony(edge, NO_PULSE, tuning_cents=0.0)[0]
    heard = hear_harmony(edge, NO_PULSE, tuning_cents=0.0, around=around)[0]
    assert heard.key == alone.key
    assert heard.confidence == pytest.approx(alone.confidence, abs=0.1)


def test_chances_of_an_edge_alone_stay_as_they_are():
    chances = np.random.default_rng(1).dirichlet(np.full(len(ALL_KEYS), 0.3))
    np.testing.assert_allclose(chances_in_song(chances), chances, atol=1e-9)


def test_the_model_covers_the_evidence_and_no_more():
    n_kinds = len(key_evidence(frames_of(0, "major")))
    with resources.files("segue.analysis").joinpath("key_model.npz").open("rb") as file:
        arrays = {name: array.shape for name, array in np.load(file).items()}
    assert arrays["mean"] == arrays["scale"] == (n_kinds, 1)
    n_nets, n_seen, n_units = arrays["hidden"]
    assert n_seen == 12 * n_kinds
    assert arrays["modes"] == (n_nets, n_units, 2)
    assert arrays["straight"] == (n_nets, n_seen, 2)


@pytest.mark.parametrize("tonic", [0, 5, 11])
def test_a_loop_that_stops_on_its_flat_seventh_is_told_by_key_and_by_last_chord(tonic):
    # i - bVI - bIII - bVII, stopped on its last chord: minor on i, not major on bVII.
    chords = ((0, MINOR), (8, MAJOR), (3, MAJOR), (10, MAJOR)) * 4
    edge = edge_of(mix=chords_of(tonic, chords) + 2 * bass_of(tonic, chords))
    fact, last = hear_harmony(edge, pulse_of(32), tuning_cents=0.0)
    assert last is not None
    assert (last.chord.root, last.chord.quality) == ((tonic + 10) % 12, "major")
    assert fact.key.relative_major_tonic == (tonic + 3) % 12


def test_nothing_pitched_has_no_chord_at_the_edge():
    _, chord = hear_harmony(edge_of(mix=np.zeros(RATE_HZ)), NO_PULSE, tuning_cents=0.0)
    assert chord is None
