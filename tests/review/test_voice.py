"""What the plan has the singer sing: from the song's own stems where they are at hand."""

from dataclasses import replace

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.audio.write import write_wav24
from segue.plan.layer import SongLayer
from segue.review.partials import N_PARTIALS
from segue.review.stems import edge_at_hand
from segue.review.voice import HOP_S, _first_note_hops, planned_voice, source_times
from segue.runfolder import RunDocument
from tests.plan.song_facts import end_facts, start_facts
from tests.review.conftest import RATE_HZ, record_at

NOTE_S = 5.0
MIDI = 65.0
LENGTH_S = 14.0
HELD_PARTIAL = 2
"""The band holds this partial of the first note, much louder than the voice."""
_AT_S = np.arange(round(LENGTH_S * RATE_HZ)) / RATE_HZ


def _edge(document):
    return edge_at_hand(document, "incoming", document.rate_hz)


def _hz(midi):
    return 440 * 2 ** ((midi - 69) / 12)


def _sung(start_s, end_s, midi):
    """A note of ten partials, each softer."""
    inside = np.clip((_AT_S - start_s) / 0.01, 0, 1) * np.clip((end_s - _AT_S) / 0.01, 0, 1)
    wave = sum(np.sin(2 * np.pi * n * _hz(midi) * _AT_S) / n for n in range(1, 11))
    return 0.1 * inside * wave


@pytest.fixture(scope="module", name="song")
def _song(tmp_path_factory):
    """A song in stems: a phrase of two notes, a breath of half a second, and a third note."""
    folder = tmp_path_factory.mktemp("song")
    voice = _sung(NOTE_S, 5.5, MIDI) + _sung(5.5, 6.2, MIDI + 2) + _sung(6.7, 7.5, MIDI - 3)
    band = 0.5 * np.sin(2 * np.pi * HELD_PARTIAL * _hz(MIDI) * _AT_S)
    for name, sound in (("voice", voice), ("keys", band)):
        samples = np.stack([sound] * 2, axis=1).astype(np.float32)
        write_wav24(folder / f"{name}.wav", Clip(samples=samples, rate_hz=RATE_HZ))
    return folder


def _document(file):
    new = start_facts(first_note_s=NOTE_S)
    new = replace(new, file=str(file), edge_end_s=LENGTH_S, duration_s=LENGTH_S)
    return RunDocument(
        schema_version=1,
        segue_version="0",
        rate_hz=RATE_HZ,
        outgoing=end_facts(),
        incoming=new,
        candidates=(),
    )


@pytest.fixture(scope="module", name="voice")
def _voice(plan, song):
    return planned_voice(_document(song), record_at(plan, 1), _edge(_document(song)))


def test_the_phrase_is_followed_up_to_its_breath(voice, plan):
    assert voice.is_tracked
    assert voice.stems is not None
    assert voice.at_s[0] == pytest.approx(plan.seconds_at(plan.singer_beat))
    assert np.diff(voice.at_s) == pytest.approx(HOP_S)
    assert len(voice.midi) * HOP_S == pytest.approx(1.2, abs=0.12)
    first, second = voice.midi[5:40], voice.midi[65:110]
    assert np.nanmedian(first) == pytest.approx(MIDI, abs=0.1)
    assert np.nanmedian(second) == pytest.approx(MIDI + 2, abs=0.1)


@pytest.mark.parametrize(
    ("notes", "n_first"),
    [
        pytest.param([(5, 65.0)], 5, id="a call of a twentieth of a second"),
        pytest.param([(30, 65.0), (20, 67.0)], 30, id="up to the next note"),
        pytest.param([(30, 65.0), (20, np.nan), (9, 65.0)], 59, id="through a gap"),
        pytest.param([(10, 63.0), (25, 65.0), (20, 67.0)], 35, id="a scoop belongs to it"),
        pytest.param([(90, 65.0)], 60, id="no more than its first six tenths"),
    ],
)
def test_a_first_note_lasts_up_to_the_next(notes, n_first):
    midi = np.concatenate([np.full(n, pitch) for n, pitch in notes])
    assert _first_note_hops(midi) == n_first


def test_a_call_of_a_tenth_of_a_second_is_a_phrase_too(plan, tmp_path):
    for name, sound in (
        ("voice", _sung(NOTE_S, NOTE_S + 0.09, MIDI)),
        ("keys", 0.01 * np.sin(2 * np.pi * 110.0 * _AT_S)),
    ):
        samples = np.stack([sound] * 2, axis=1).astype(np.float32)
        write_wav24(tmp_path / f"{name}.wav", Clip(samples=samples, rate_hz=RATE_HZ))
    document = _document(tmp_path)
    told = planned_voice(document, record_at(plan, 1), _edge(document))
    assert np.nanmedian(told.midi[: told.n_first]) == pytest.approx(MIDI, abs=0.3)
    assert told.at_s[0] == pytest.approx(plan.seconds_at(plan.singer_beat))


def test_the_first_note_ends_where_the_second_begins(voice):
    assert voice.n_first * HOP_S == pytest.approx(0.5, abs=0.05)


def test_a_partial_counts_by_what_of_it_is_the_voices(voice):
    share = voice.share[10:40].mean(axis=0)
    assert share.shape == (N_PARTIALS,)
    assert share[HELD_PARTIAL - 1] < 0.1
    assert np.delete(share, HELD_PARTIAL - 1) == pytest.approx(1.0, abs=0.1)
    level = voice.level[10:40].mean(axis=0)
    assert voice.level.max() == 1.0
    # partials of a note that falls by 1/n: the fourth is a quarter of the first
    assert level[3] / level[0] == pytest.approx(0.25, rel=0.1)


def test_a_song_in_another_key_is_followed_where_it_is_and_told_where_it_will_be(plan, song, voice):
    moved = replace(plan, incoming_shift_semitones=2)
    document = _document(song)
    document = replace(
        document,
        incoming=replace(
            document.incoming, first_note=replace(document.incoming.first_note, midi=MIDI + 2)
        ),
    )
    told = planned_voice(document, record_at(moved, 1), _edge(document))
    assert np.nanmedian(told.midi[5:40]) == pytest.approx(MIDI + 2, abs=0.1)
    assert told.share == pytest.approx(voice.share)


@pytest.mark.parametrize("what", ["gone", "mix", "silent"])
def test_without_a_voice_of_its_own_the_first_note_alone_is_known(what, plan, song, tmp_path):
    file = tmp_path / "song"
    if what == "mix":
        file = song / "voice.wav"
    if what == "silent":
        file.mkdir()
        samples = np.zeros((len(_AT_S), 2), dtype=np.float32)
        for name in ("voice", "keys"):
            write_wav24(file / f"{name}.wav", Clip(samples=samples, rate_hz=RATE_HZ))
    voice = planned_voice(_document(file), record_at(plan, 1), _edge(_document(file)))
    assert not voice.is_tracked
    assert voice.stems is None
    assert len(voice.midi) * HOP_S == pytest.approx(0.6)
    assert voice.n_first == len(voice.midi)
    assert (voice.midi == MIDI).all()
    assert (voice.share == 0.5).all()
    assert voice.level[0] == pytest.approx(1.0 / np.arange(1, N_PARTIALS + 1))


def test_a_plan_without_a_singer_has_no_voice(plan, song):
    document = _document(song)
    assert (
        planned_voice(document, replace(record_at(plan, 1), singer_s=None), _edge(document)) is None
    )
    unsung = replace(document, incoming=replace(document.incoming, first_note=None))
    assert planned_voice(unsung, record_at(plan, 1), _edge(unsung)) is None


def test_the_songs_own_time_is_that_of_the_layer_that_carries_the_singer(plan):
    singer_s = plan.seconds_at(plan.singer_beat)
    at_s = singer_s + np.array([0.0, 1.0, 2.0])
    assert source_times(plan, at_s, singer_s, 99.0) == pytest.approx(NOTE_S + at_s - singer_s)
    without = replace(plan, layers=())
    assert source_times(without, at_s, singer_s, 99.0) == pytest.approx([99.0, 100.0, 101.0])


def test_a_singer_on_the_very_first_beat_of_the_song_is_carried_by_it(plan):
    """A layer that begins with her carries her; one that ends there, a tease, does not."""
    singer_s = plan.seconds_at(plan.singer_beat)
    songs = [x for x in plan.layers if isinstance(x, SongLayer) and x.song == "incoming"]
    begins = replace(songs[-1], start_beat=plan.singer_beat)
    ends = replace(songs[-1], end_beat=plan.singer_beat)
    for layer, source_s in ((begins, NOTE_S), (ends, 99.0)):
        told = source_times(
            replace(plan, layers=(layer,)), np.array([singer_s]), singer_s, note_s=99.0
        )
        assert told == pytest.approx([source_s])
