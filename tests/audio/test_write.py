import numpy as np
import pytest
import soundfile

from segue.audio.clip import Clip
from segue.audio.write import packed, read_wav, rounded24, write_unpacked, write_wav24
from segue.errors import InputError

RATE_HZ = 48_000


def clip_of(samples):
    return Clip(samples=np.asarray(samples, np.float32), rate_hz=RATE_HZ)


def test_every_step_of_24_bits_comes_back_exactly(tmp_path):
    steps = np.array([[-(2**23), 2**23 - 1], [1, -1], [123_456, -7_654_321]])
    write_wav24(tmp_path / "a.wav", clip_of(steps / 2**23))
    words, rate_hz = soundfile.read(tmp_path / "a.wav", dtype="int32")
    assert rate_hz == RATE_HZ
    assert soundfile.info(tmp_path / "a.wav").subtype == "PCM_24"
    np.testing.assert_array_equal(words >> 8, steps)


def test_full_scale_becomes_the_last_step(tmp_path):
    write_wav24(tmp_path / "a.wav", clip_of([[1.0, -1.0]]))
    words, _ = soundfile.read(tmp_path / "a.wav", dtype="int32")
    assert (words >> 8).tolist() == [[2**23 - 1, -(2**23)]]


def test_the_same_clip_gives_the_same_bytes_and_no_leftovers(tmp_path):
    samples = np.random.default_rng(0).uniform(-1, 1, (1000, 2))
    for name in ("a.wav", "b.wav"):
        write_wav24(tmp_path / name, clip_of(samples))
    assert (tmp_path / "a.wav").read_bytes() == (tmp_path / "b.wav").read_bytes()
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["a.wav", "b.wav"]


@pytest.mark.parametrize("value", [1.0001, float("nan"), float("inf")])
def test_beyond_full_scale_is_refused_and_the_old_file_stays(tmp_path, value):
    path = tmp_path / "a.wav"
    write_wav24(path, clip_of([[0.5, 0.5]]))
    before = path.read_bytes()
    with pytest.raises(ValueError, match="full scale"):
        write_wav24(path, clip_of([[value, 0.0]]))
    assert path.read_bytes() == before


def test_a_place_that_cannot_be_written_is_named(tmp_path):
    with pytest.raises(InputError, match=r"nowhere/a\.wav: cannot be written .* another folder"):
        write_wav24(tmp_path / "nowhere" / "a.wav", clip_of([[0.0, 0.0]]))


def test_a_failed_write_leaves_nothing(tmp_path):
    (tmp_path / "a.wav").mkdir()
    with pytest.raises(InputError, match="cannot be written"):
        write_wav24(tmp_path / "a.wav", clip_of([[0.0, 0.0]]))
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.wav"]


def test_what_is_packed_comes_back_as_a_file_of_it_would(tmp_path):
    clip = clip_of(np.random.default_rng(1).uniform(-1, 1, (70_000, 2)))
    write_wav24(tmp_path / "a.wav", clip)
    write_unpacked(tmp_path / "b.wav", packed(clip))
    assert (tmp_path / "b.wav").read_bytes() == (tmp_path / "a.wav").read_bytes()


def test_what_is_packed_may_be_written_at_another_level(tmp_path):
    clip = clip_of(np.random.default_rng(1).uniform(-1, 1, (70_000, 2)))
    write_unpacked(tmp_path / "a.wav", packed(clip), gain=0.3)
    lower = rounded24(rounded24(clip.samples) * np.float32(0.3))
    np.testing.assert_array_equal(read_wav(tmp_path / "a.wav").samples, lower)


def test_packed_silence_takes_next_to_nothing():
    assert len(packed(clip_of(np.zeros((480_000, 1))))) < 20_000


@pytest.mark.parametrize("rate_hz", [22_050, 44_100, 96_000, 192_000])
def test_sound_of_any_rate_is_packed(rate_hz, tmp_path):
    samples = np.linspace(-0.5, 0.5, 3_000, dtype=np.float32)[:, None]
    write_unpacked(tmp_path / "a.wav", packed(Clip(samples=samples, rate_hz=rate_hz)))
    back = read_wav(tmp_path / "a.wav")
    assert (back.rate_hz, back.n_frames) == (rate_hz, 3_000)
