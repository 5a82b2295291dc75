"""Chunks as an independent reader (wavinfo) finds them."""

import io
import struct

import numpy as np
import pytest
import soundfile
import wavinfo
from hypothesis import given
from hypothesis import strategies as st

from segue.stage.riff import (
    BroadcastFacts,
    CuePoint,
    bext_chunk,
    chunk,
    cue_chunks,
    with_chunks,
)

FACTS = BroadcastFacts(
    description="One song to the next, in F♯ minor",
    originator="segue",
    date="",
    time="",
    loudness_lufs=-16.25,
    range_lu=4.5,
    true_peak_dbtp=-1.2,
    momentary_lufs=-11.0,
    short_term_lufs=float("-inf"),
    history="A=PCM,F=48000,W=24,M=stereo",
)


def _wav(n_frames=1001, n_channels=1):
    out = io.BytesIO()
    sound = np.linspace(-0.5, 0.5, n_frames * n_channels).reshape(n_frames, n_channels)
    soundfile.write(out, sound, 48_000, subtype="PCM_24", format="WAV")
    return out.getvalue()


def _read(tmp_path, wav):
    path = tmp_path / "x.wav"
    path.write_bytes(wav)
    return wavinfo.WavInfoReader(str(path))


def test_markers_come_back_with_frames_and_names(tmp_path):
    points = [CuePoint(frame=0, name="start"), CuePoint(frame=777, name="bar one, odd")]
    read = _read(tmp_path, with_chunks(_wav(), before_data=b"", after_data=cue_chunks(points)))
    assert [c.sample_offset for c in read.cues.cues] == [0, 777]
    assert [x.text for x in read.cues.labels] == ["start", "bar one, odd"]
    assert [c.name for c in read.cues.cues] == [x.name for x in read.cues.labels]


def test_broadcast_chunk_reads_back(tmp_path):
    read = _read(tmp_path, with_chunks(_wav(), before_data=bext_chunk(FACTS), after_data=b""))
    assert read.bext.version == 2
    assert read.bext.description == "One song to the next, in F# minor"
    assert read.bext.loudness_value == pytest.approx(-16.25)
    assert read.bext.loudness_range == pytest.approx(4.5)
    assert read.bext.max_true_peak == pytest.approx(-1.2)
    assert read.bext.coding_history.startswith("A=PCM,F=48000")


def test_broadcast_chunk_has_the_size_of_the_standard():
    # EBU Tech 3285 v2: 602 bytes before the coding history; 0x7FFF where nothing was measured.
    body = bext_chunk(FACTS)[8:]
    assert body[602:].startswith(b"A=PCM")
    assert struct.unpack_from("<h", body, 412 + 8)[0] == 0x7FFF


def test_cue_chunk_has_the_layout_of_1991():
    # RIFF MCI 1991: 4 + 24 n bytes; id, position, 'data', chunk start, block start, offset.
    chunks = cue_chunks([CuePoint(frame=300, name="a")])
    assert chunks[:8] == b"cue " + struct.pack("<I", 28)
    assert struct.unpack("<III4sIII", chunks[8:36]) == (1, 1, 300, b"data", 0, 0, 300)


@given(
    n_frames=st.integers(1, 300),
    n_channels=st.integers(1, 4),
    names=st.lists(st.text(max_size=40), max_size=5),
)
def test_sound_is_untouched_whatever_the_chunks(n_frames, n_channels, names):
    plain = _wav(n_frames, n_channels)
    points = [CuePoint(frame=n, name=name) for n, name in enumerate(names)]
    full = with_chunks(plain, before_data=bext_chunk(FACTS), after_data=cue_chunks(points))
    assert struct.unpack_from("<I", full, 4)[0] == len(full) - 8
    assert len(full) % 2 == 0
    before, _ = soundfile.read(io.BytesIO(plain), dtype="int32")
    after, _ = soundfile.read(io.BytesIO(full), dtype="int32")
    np.testing.assert_array_equal(before, after)


def test_odd_chunks_are_padded_and_say_their_own_length():
    assert chunk(b"labl", b"abc") == b"labl\x03\x00\x00\x00abc\x00"


def test_a_file_that_is_no_wav_is_refused():
    with pytest.raises(ValueError, match="not a RIFF WAV"):
        with_chunks(b"OggS" + bytes(40), before_data=b"", after_data=b"")
