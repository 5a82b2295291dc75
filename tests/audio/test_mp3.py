"""MP3 files with and without the header that tells their length."""

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from segue.audio.decode import read_stereo, sound_info
from segue.audio.mp3 import mp3_index
from segue.errors import AudioFileError

LENGTH_S = 8  # well over twice what is read at once
ENCODER_DELAY_FRAMES = 1105  # 576 of the encoder and 529 of the decoder: LAME documentation


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("mp3")


def encode(path, rate_hz, n_channels=2, seconds=LENGTH_S, **options):
    """Noise whose loudness moves, so that a variable bit rate varies."""
    rng = np.random.default_rng(2)
    swell = np.linspace(0, 1, round(seconds * rate_hz))[:, None] ** 4
    samples = 0.3 * swell * rng.standard_normal((len(swell), n_channels))
    soundfile.write(path, samples, rate_hz, format="MP3", **options)
    return path


def without_header(path):
    """The same sound with its first packet, the one that tells the length, taken off."""
    content = path.read_bytes()
    start = mp3_index(path).first_byte
    bare = path.with_name(f"bare-{path.name}")
    bare.write_bytes(content[start:])
    return bare


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 22_050, 24_000, 32_000, 44_100, 48_000])
@pytest.mark.parametrize("n_channels", [1, 2])
@pytest.mark.parametrize("mode", ["CONSTANT", "VARIABLE"])
def test_the_sound_is_that_of_the_library_at_both_ends(folder, rate_hz, n_channels, mode):
    path = encode(
        folder / f"{rate_hz}{n_channels}{mode}.mp3", rate_hz, n_channels, bitrate_mode=mode
    )
    info = sound_info(path)
    whole, _ = soundfile.read(path, dtype="float32", always_2d=True)
    assert info.n_frames == len(whole) == LENGTH_S * rate_hz
    for start in (0, 1, info.n_frames // 2, info.n_frames - 3 * rate_hz - 7):
        part = read_stereo(info, start_frame=start, n_frames=3 * rate_hz + 7)
        expected = whole[start : start + 3 * rate_hz + 7]
        np.testing.assert_allclose(part, np.broadcast_to(expected, part.shape), atol=1e-6)


@pytest.mark.parametrize("mode", ["CONSTANT", "VARIABLE"])
def test_a_file_without_the_header_has_its_true_length(folder, mode):
    # a decoder that guesses from the first packet's bit rate is far off here
    told = encode(folder / f"told-{mode}.mp3", 44_100, bitrate_mode=mode)
    bare = sound_info(without_header(told))
    whole, _ = soundfile.read(told, dtype="float32")
    assert bare.n_frames == -(-(len(whole) + ENCODER_DELAY_FRAMES) // 1152) * 1152
    part = read_stereo(bare, start_frame=len(whole) - 44_100, n_frames=44_100)
    expected = whole[len(whole) - 44_100 - ENCODER_DELAY_FRAMES :][:44_100]
    np.testing.assert_allclose(part, expected, atol=1e-6)


@given(junk=st.binary(max_size=300), tag=st.booleans())
def test_tags_around_the_sound_change_nothing(folder, junk, tag):
    path = folder / "plain.mp3"
    if not path.exists():
        encode(path, 44_100, seconds=4)
    size = len(junk)
    front = b"ID3\x04\0\0" + bytes([0, 0, size >> 7, size & 127]) + junk
    tagged = folder / "tagged.mp3"
    tagged.write_bytes(front + path.read_bytes() + (b"TAG" + bytes(125)) * tag)
    plain, other = sound_info(path), sound_info(tagged)
    assert other.n_frames == plain.n_frames
    np.testing.assert_array_equal(
        read_stereo(other, start_frame=90_000, n_frames=20_000),
        read_stereo(plain, start_frame=90_000, n_frames=20_000),
    )


def test_nothing_is_printed_by_the_decoder(folder, capfd):
    # silent packets are small, and the first loud one reaches back over several of them
    time_s = np.arange(60 * 44_100) / 44_100
    tone = 0.3 * np.sin(2 * np.pi * 220 * time_s) * (0.5 + 0.5 * np.sin(4 * np.pi * time_s))
    tone[20 * 44_100 : 40 * 44_100] = 0.0
    path = folder / "a pause.mp3"
    soundfile.write(path, np.stack([tone, tone], 1), 44_100, format="MP3", bitrate_mode="VARIABLE")
    for at_s in np.arange(10.0, 50.0, 1.7):
        read_stereo(sound_info(path), start_frame=round(at_s * 44_100), n_frames=44_100)
    with pytest.raises(AudioFileError, match="is cut off"):
        sound_info(cut_short(path))
    junk = folder / "junk behind.mp3"
    junk.write_bytes(path.read_bytes() + bytes(path.stat().st_size // 20))
    assert sound_info(junk).n_frames == sound_info(path).n_frames
    assert capfd.readouterr().err == ""


def cut_short(path):
    short = path.with_name(f"cut-{path.name}")
    content = path.read_bytes()
    short.write_bytes(content[: len(content) * 2 // 3])
    return short


def test_mp3_in_a_wave_file_is_read_by_its_packets(folder):
    plain = encode(folder / "in a wave.mp3", 44_100, seconds=4)
    bare = without_header(plain).read_bytes()
    rate, per_s = (44_100).to_bytes(4, "little"), (16_000).to_bytes(4, "little")
    # WAVEFORMATEX with format 0x55, and MPEGLAYER3WAVEFORMAT: RFC 2361, appendix A, 0x0055
    extra = (1).to_bytes(2, "little") + bytes(10)
    form = b"\x55\0\2\0" + rate + per_s + b"\1\0\0\0" + (12).to_bytes(2, "little") + extra
    chunks = b"fmt " + len(form).to_bytes(4, "little") + form
    chunks += b"data" + len(bare).to_bytes(4, "little") + bare
    path = folder / "mp3.wav"
    path.write_bytes(b"RIFF" + (4 + len(chunks)).to_bytes(4, "little") + b"WAVE" + chunks)
    info, other = sound_info(path), sound_info(folder / "bare-in a wave.mp3")
    assert info.n_frames == other.n_frames
    np.testing.assert_array_equal(
        read_stereo(info, start_frame=90_000, n_frames=20_000),
        read_stereo(other, start_frame=90_000, n_frames=20_000),
    )
