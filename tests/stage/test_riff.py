"""Chunks as an independent reader (wavinfo) finds them."""

import io
import struct
from dataclasses import replace

import numpy as np
import pytest
import soundfile
import wavinfo
from hypothesis import given
from hypothesis import strategies as st

from segue.stage.riff import BroadcastFacts, CuePoint, bext_chunk, chunk, cue_chunks, with_chunks

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


def test_levels_stand_in_hundredths_in_the_order_of_the_standard():
    # EBU Tech 3285 v2: after 412 bytes loudness, range, true peak, momentary, short-term.
    facts = replace(FACTS, date="2030-05-17", time="21:05:00", short_term_lufs=-12.344)
    body = bext_chunk(facts)[8:]
    assert struct.unpack_from("<5h", body, 412) == (-1625, 450, -120, -1100, -1234)
    assert body[320:338] == b"2030-05-1721:05:00"
    assert struct.unpack_from("<IIH", body, 338) == (0, 0, 2)
    assert body[256:288].rstrip(b"\0") == b"segue"


@pytest.mark.parametrize(
    ("level", "kept"),
    [(400.0, 0x7FFE), (-400.0, -0x7FFF), (327.66, 0x7FFE), (float("nan"), 0x7FFF)],
)
def test_a_level_beyond_what_fits_is_as_near_as_it_can_be_and_never_reads_as_unset(level, kept):
    body = bext_chunk(replace(FACTS, loudness_lufs=level))[8:]
    assert struct.unpack_from("<h", body, 412)[0] == kept


def test_signs_of_keys_are_spelled_and_other_letters_have_a_mark(tmp_path):
    facts = replace(FACTS, description="B♭ to F♯, Ä\0x")
    body = bext_chunk(facts)[8:]
    assert body[:256].partition(b"\0")[0] == b"Bb to F#, ?"
    points = [CuePoint(frame=3, name="a\0b")]
    read = _read(tmp_path, with_chunks(_wav(), before_data=b"", after_data=cue_chunks(points)))
    assert [x.text for x in read.cues.labels] == ["a b"]


def test_chunks_around_the_sound_are_kept_whole_also_where_their_length_is_odd():
    plain = _wav()
    odd = plain[:12] + chunk(b"note", b"abc") + plain[12:]
    odd = odd[:4] + struct.pack("<I", len(odd) - 8) + odd[8:]
    full = with_chunks(odd, before_data=chunk(b"bfor", b"12"), after_data=chunk(b"aftr", b"345"))
    names, at = [], 12
    while at < len(full):
        (size,) = struct.unpack_from("<I", full, at + 4)
        names.append(full[at : at + 4])
        at += 8 + size + size % 2
    assert names == [b"note", b"fmt ", b"bfor", b"data", b"aftr"]
    assert at == len(full)
