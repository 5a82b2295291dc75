"""The edge that is read against the whole decode, and against known truth."""

import math
import subprocess
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from segue.audio import read_song
from segue.audio.decode import read_stereo, sound_info
from segue.audio.read import read_around
from tests.audio.conftest import noise

RATES_HZ = [8_000, 11_025, 16_000, 22_050, 32_000, 44_100, 47_999, 48_000, 88_200, 96_000, 192_000]
RESAMPLER_NOISE = 2e-5  # the filter's reach beyond the context decoded, on noise of 0.2 rms

FORMATS = {
    "wav 8": {"name": "a.wav", "subtype": "PCM_U8"},
    "wav 16": {"name": "a.wav", "subtype": "PCM_16"},
    "wav 24": {"name": "a.wav", "subtype": "PCM_24"},
    "wav 32": {"name": "a.wav", "subtype": "PCM_32"},
    "wav float": {"name": "a.wav", "subtype": "FLOAT"},
    "wav double": {"name": "a.wav", "subtype": "DOUBLE"},
    "flac 16": {"name": "a.flac", "subtype": "PCM_16"},
    "flac 24": {"name": "a.flac", "subtype": "PCM_24"},
    "aiff 16": {"name": "a.aiff", "subtype": "PCM_16"},
    "aiff 24": {"name": "a.aiff", "subtype": "PCM_24"},
    "vorbis": {"name": "a.ogg", "subtype": "VORBIS"},
    "opus": {"name": "a.opus", "format": "OGG", "subtype": "OPUS"},
    "mp3": {"name": "a.mp3", "subtype": "MPEG_LAYER_III"},
}
LOSSY = {"vorbis", "opus", "mp3"}


def sine(seconds, rate_hz, hz=440.0, gain=0.5):
    wave = gain * np.sin(2 * np.pi * hz * np.arange(round(seconds * rate_hz)) / rate_hz)
    return np.stack([wave, -0.5 * wave], axis=1)


@pytest.mark.parametrize("kind", FORMATS)
def test_every_format_keeps_level_channels_and_time(sound_file, kind):
    options = dict(FORMATS[kind])
    path = sound_file(options.pop("name"), sine(4, 48_000), **options)
    song = read_song(path, edge="end", edge_s=1.5)
    assert (song.start_s, song.end_s, song.duration_s) == (2.5, 4.0, 4.0)
    assert [stem.role for stem in song.stems] == ["mix"]
    # eight bits step by 1/128; a codec is held to sounding alike, not to being alike
    tolerance = 0.05 if kind in LOSSY else 0.008 if kind == "wav 8" else 1 / 32_768
    middle = slice(4_800, -4_800)  # codecs ring where the tone is cut
    np.testing.assert_allclose(
        song.mix.samples[middle], sine(4, 48_000)[-72_000:][middle], atol=tolerance
    )


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("edge", ["start", "end"])
def test_a_click_lands_on_its_frame_at_every_rate(sound_file, rate_hz, edge):
    samples = np.zeros((round(5.3 * rate_hz), 1))
    place = round((4.4567 if edge == "end" else 0.7654) * rate_hz)
    samples[place] = 1.0
    song = read_song(sound_file("a.wav", samples, rate_hz, subtype="FLOAT"), edge=edge, edge_s=1.3)
    found_s = song.start_s + np.abs(song.mix.samples[:, 0]).argmax() / song.rate_hz
    assert abs(found_s - place / rate_hz) <= 1 / song.rate_hz


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("target_hz", [44_100, 48_000])
def test_resampled_edge_is_the_sine_that_it_should_be(sound_file, rate_hz, target_hz):
    # a time error of a hundredth of a frame at 48 kHz would show as 3e-4
    path = sound_file("a.wav", sine(6.1, rate_hz, gain=1.5), rate_hz, subtype="DOUBLE")
    song = read_song(path, edge="end", edge_s=2.0, rate_hz=target_hz)
    n = round(song.start_s * target_hz) + np.arange(song.mix.n_frames)
    truth = 1.5 * np.sin(2 * np.pi * 440 * n / target_hz)
    head = slice(0, -round(0.1 * target_hz))  # the file's hard end rings
    np.testing.assert_allclose(song.mix.samples[head, 0], truth[head], atol=1e-4)


@cache
def _noise_file(rate_hz, folder):
    path = Path(folder) / f"{rate_hz}.wav"
    soundfile.write(path, noise(5.03, rate_hz), rate_hz, subtype="FLOAT")
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("noise")


@given(
    rate_hz=st.sampled_from([8_000, 22_050, 44_100, 47_999, 48_000, 96_000]),
    edge=st.sampled_from(["start", "end"]),
    edge_s=st.floats(0.01, 6.0),
)
def test_reading_an_edge_is_slicing_the_whole(folder, rate_hz, edge, edge_s):
    path = _noise_file(rate_hz, folder)
    whole = read_song(path, edge=edge, edge_s=60.0)
    part = read_song(path, edge=edge, edge_s=edge_s)
    n_frames = part.mix.n_frames
    assert n_frames == min(round(edge_s * 48_000), whole.mix.n_frames)
    at = whole.mix.n_frames - n_frames if edge == "end" else 0
    assert part.start_s == at / 48_000
    np.testing.assert_allclose(
        part.mix.samples, whole.mix.samples[at : at + n_frames], atol=RESAMPLER_NOISE
    )


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(
    ("edge", "edge_s", "spans_s"),
    [("end", 21.2, [(18.8, 40.0), (0.0, 18.8)]), ("start", 20.0, [(20.0, 40.0), (41.2, 61.2)])],
)
def test_what_is_read_around_an_edge_lies_beside_it_and_at_the_other_end(
    sound_file, rate_hz, edge, edge_s, spans_s
):
    path = sound_file("a.wav", sine(61.2, rate_hz, hz=50.0), rate_hz, subtype="FLOAT")
    song = read_song(path, edge=edge, edge_s=edge_s)
    clips = read_around(song, roles=("mix",), rate_hz=12_000)
    assert [(clip.start_s, clip.end_s) for clip in clips] == [pytest.approx(s) for s in spans_s]
    for clip in clips:
        n = round(clip.start_s * 12_000) + np.arange(clip.n_frames)
        inside = slice(600, -600)  # the file's hard ends ring
        truth = sine(61.2, 12_000, hz=50.0).mean(axis=1)[n]
        np.testing.assert_allclose(clip.samples[inside, 0], truth[inside], atol=1e-3)


@pytest.mark.parametrize(("song_s", "n_clips"), [(20.0, 0), (31.0, 0), (33.0, 1), (65.0, 2)])
def test_a_short_song_has_little_or_nothing_around_its_edge(sound_file, song_s, n_clips):
    song = read_song(sound_file("a.wav", sine(song_s, 8_000), 8_000), edge="end", edge_s=20.0)
    assert len(read_around(song, roles=("mix",))) == n_clips


def test_only_stems_of_the_asked_roles_are_read_around_an_edge(sound_file, tmp_path):
    for name, hz in (("keys.wav", 300.0), ("drums.wav", 500.0)):
        sound_file(name, sine(40, 8_000, hz=hz), 8_000, folder=tmp_path / "band", subtype="FLOAT")
    song = read_song(tmp_path / "band", edge="end", edge_s=15.0)
    (clip,) = read_around(song, roles=("keys", "bass"), rate_hz=8_000)
    level = np.abs(np.fft.rfft(clip.samples[:8_000, 0]))
    assert (level.argmax(), level[500] < 1e-3 * level[300]) == (300, True)
    assert read_around(song, roles=("bass",)) == ()


@pytest.fixture(scope="module")
def encoded(folder):
    paths = {}
    for kind, options in FORMATS.items():
        paths[kind] = folder / f"{kind}.{options['name'].split('.')[1]}"
        rest = {key: value for key, value in options.items() if key != "name"}
        soundfile.write(paths[kind], noise(5, 48_000), 48_000, **rest)
    return paths


@given(kind=st.sampled_from(sorted(FORMATS)), start=st.floats(0, 1), length=st.floats(0, 1))
def test_a_stretch_of_any_format_is_a_slice_of_its_whole_decode(encoded, kind, start, length):
    info = sound_info(encoded[kind])
    whole, _ = soundfile.read(encoded[kind], dtype="float32")
    assert info.n_frames == len(whole)
    first = int(start * (info.n_frames - 1))
    n_frames = int(length * (info.n_frames - first))
    part = read_stereo(info, start_frame=first, n_frames=n_frames)
    # Opus prepares 80 ms before a seek (RFC 7845, section 4.6) and may differ by its own noise
    tolerance = 1e-3 if kind == "opus" else 1e-6
    np.testing.assert_allclose(part, whole[first : first + n_frames], atol=tolerance)


@pytest.mark.parametrize("subtype", ["FLOAT", "DOUBLE"])
def test_values_above_full_scale_survive(sound_file, subtype):
    path = sound_file("a.wav", sine(3, 48_000, gain=4.0), subtype=subtype)
    assert read_song(path, edge="start").mix.samples.max() == pytest.approx(4.0, abs=1e-3)


C = math.sqrt(0.5)
# ITU-R BS.775-3, annex 4, table 2; channel orders of WAVE (L R C LFE Ls Rs) and Vorbis I 4.3.9
DOWNMIXES = [
    pytest.param("a.wav", 1, [(1, 1)], id="mono"),
    pytest.param("a.wav", 3, [(1, 0), (0, 1), (C, C)], id="3.0"),
    pytest.param("a.wav", 4, [(1, 0), (0, 1), (C, 0), (0, C)], id="2.2"),
    pytest.param("a.flac", 5, [(1, 0), (0, 1), (C, C), (C, 0), (0, C)], id="5.0"),
    pytest.param("a.wav", 6, [(1, 0), (0, 1), (C, C), (0, 0), (C, 0), (0, C)], id="5.1"),
    pytest.param(
        "a.flac", 8,
        [(1, 0), (0, 1), (C, C), (0, 0), (C, 0), (0, C), (C, 0), (0, C)], id="7.1",
    ),
    pytest.param("a.ogg", 6, [(1, 0), (C, C), (0, 1), (C, 0), (0, C), (0, 0)], id="5.1 vorbis"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "n_channels", "gains"), DOWNMIXES)
def test_each_channel_enters_the_stereo_by_its_coefficient(sound_file, name, n_channels, gains):
    tone = sine(3, 48_000, hz=100.0)[:, 0]
    for channel, (left, right) in enumerate(gains):
        samples = np.zeros((len(tone), n_channels))
        samples[:, channel] = tone
        song = read_song(sound_file(name, samples), edge="start", edge_s=1.0)
        tolerance = 0.02 if name.endswith("ogg") else 1e-3
        expected = np.outer(tone[:48_000], [left, right])
        np.testing.assert_allclose(song.mix.samples, expected, atol=tolerance)


class TestCost:
    """An hour costs what three minutes do, in bytes read from the file and frames decoded."""

    @staticmethod
    def bytes_read():
        counts = dict(line.split(": ") for line in Path("/proc/self/io").read_text().splitlines())
        return int(counts["rchar"])

    @pytest.fixture
    def long_file(self, tmp_path):
        def write(kind, minutes):
            options = dict(FORMATS[kind])
            path = tmp_path / f"{minutes}-{options.pop('name')}"
            block = noise(60, 8_000, 1).astype(np.float32)
            with soundfile.SoundFile(
                path, "w", 8_000, 1, options["subtype"], format=options.get("format")
            ) as file:
                for _ in range(minutes):
                    file.write(block)
            return path

        return write

    @pytest.mark.skipif(sys.platform != "linux", reason="counts bytes by Linux's /proc")
    @pytest.mark.parametrize(
        ("kind", "minutes"),
        [
            pytest.param("wav 16", 60, id="wav"),
            pytest.param("flac 16", 60, id="flac"),
            pytest.param("aiff 16", 60, id="aiff"),
            # these encoders are slow: three times as long shows a cost that grows just as well
            pytest.param("vorbis", 9, id="vorbis"),
            pytest.param("opus", 9, id="opus"),
            pytest.param("mp3", 9, id="mp3"),
        ],
    )
    def test_a_long_file_costs_what_a_short_one_does(self, long_file, monkeypatch, kind, minutes):
        decoded = []
        plain_read = soundfile.SoundFile.read

        def counted_read(file, *args, **kwargs):
            frames = plain_read(file, *args, **kwargs)
            decoded.append(len(frames))
            return frames

        monkeypatch.setattr(soundfile.SoundFile, "read", counted_read)
        costs = {}
        for length in (3, minutes):
            path = long_file(kind, length)
            decoded.clear()
            before = self.bytes_read()
            song = read_song(path, edge="end", edge_s=45.0, rate_hz=8_000)
            costs[length] = (sum(decoded), self.bytes_read() - before)
            assert song.duration_s == pytest.approx(60 * length, abs=0.5)
        (short_frames, short_bytes), (long_frames, long_bytes) = costs.values()
        assert long_frames <= short_frames + 1_152
        assert long_bytes <= 1.25 * short_bytes + 65_536


def test_stems_of_unequal_length_and_rate_line_up_at_the_start(sound_file, tmp_path):
    short, long = np.zeros((44_100 * 3, 1)), np.zeros((48_000 * 5, 2))
    short[round(2.75 * 44_100)] = 1.0
    long[round(2.75 * 48_000)] = 1.0
    sound_file("drums.wav", short, 44_100, folder=tmp_path / "song", subtype="FLOAT")
    sound_file("bass.wav", long, 48_000, folder=tmp_path / "song", subtype="FLOAT")
    song = read_song(tmp_path / "song", edge="end", edge_s=2.5)
    assert (song.start_s, song.duration_s) == (2.5, 5.0)
    assert [(stem.role, stem.file) for stem in song.stems] == [
        ("bass", "bass.wav"),
        ("drums", "drums.wav"),
    ]
    for stem in song.stems:
        assert abs(np.abs(stem.clip.samples[:, 0]).argmax() - 0.25 * 48_000) <= 1
    assert not song.stems[1].clip.samples[round(0.75 * 48_000) :].any()


def test_a_stem_that_is_over_before_the_edge_is_silent(sound_file, tmp_path):
    sound_file("drums.wav", noise(1, 44_100), 44_100, folder=tmp_path / "song")
    sound_file("bass.wav", noise(5, 48_000), folder=tmp_path / "song")
    song = read_song(tmp_path / "song", edge="end", edge_s=2.0)
    assert not song.sum_of("drums").samples.any()
    assert song.sum_of("bass").samples.any()


def test_two_files_of_a_role_are_both_kept_and_other_files_ignored(sound_file, tmp_path):
    song_folder = tmp_path / "Low Tide"
    for name in ("gtr L.wav", "GTR_R.flac", "01 Vox.wav"):
        sound_file(name, folder=song_folder)
    for name in ("cover.jpg", "notes.txt", "._gtr L.wav", ".hidden.wav"):
        (song_folder / name).write_bytes(b"not audio")
    (song_folder / "old.wav").mkdir()
    song = read_song(f"{song_folder}/", edge="start")
    assert song.title == "Low Tide"
    assert [stem.role for stem in song.stems] == ["voice", "guitar", "guitar"]


def test_a_folder_of_one_file_is_a_mix_and_song_toml_is_read(sound_file, tmp_path):
    sound_file("drums and more.wav", folder=tmp_path / "song")
    (tmp_path / "song" / "song.toml").write_text('title = "Low Tide"\ntempo_bpm = 124\n')
    song = read_song(tmp_path / "song", edge="start")
    assert [stem.role for stem in song.stems] == ["mix"]
    assert (song.title, song.notes.tempo_bpm) == ("Low Tide", 124.0)


@pytest.mark.parametrize("level", [1e-39, 1e-30, 2.0**-33])
def test_what_is_far_below_every_converter_is_silence(folder, level):
    # numbers that small lose their precision, and divisions by their power overflow
    path = folder / f"{level:g}.wav"
    noise = np.random.default_rng(3).uniform(-1.0, 1.0, (48_000, 2))
    soundfile.write(path, (level * noise).astype(np.float32), 48_000, subtype="FLOAT")
    assert not read_stereo(sound_info(path), start_frame=0, n_frames=48_000).any()


def test_links_and_names_with_odd_characters_are_read(sound_file, tmp_path):
    target = sound_file("söng\n#1.wav")
    (tmp_path / "link.wav").symlink_to(target)
    assert read_song(tmp_path / "link.wav", edge="start").duration_s == 3.0
    assert read_song(target, edge="start").title == r"söng\n#1"  # fit for one line


@pytest.mark.parametrize(("edge_s", "rate_hz"), [(0.0, 48_000), (math.inf, 48_000), (1.0, 0)])
def test_settings_that_make_no_sense_are_a_programming_mistake(sound_file, edge_s, rate_hz):
    with pytest.raises(ValueError, match="must be positive"):
        read_song(sound_file("a.wav"), edge="end", edge_s=edge_s, rate_hz=rate_hz)


def test_reading_mp3_prints_nothing(encoded, capfd):
    info = sound_info(encoded["mp3"])
    read_stereo(info, start_frame=info.n_frames - 30_000, n_frames=30_000)
    assert capfd.readouterr() == ("", "")


def test_importing_audio_loads_nothing_heavy():
    code = (
        "import sys, segue.audio; print({'scipy', 'librosa', 'numba', 'soxr'} & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"


@pytest.mark.parametrize("rate_hz", [12_000, 48_000])
@pytest.mark.parametrize(
    ("murmur_db", "murmur_s", "more_s"),
    [
        pytest.param(-23.0, 40.0, 45.0, id="murmurs on for long"),
        pytest.param(-200.0, 25.0, 30.0, id="silence"),
        pytest.param(-23.0, 8.0, 0.0, id="a short murmur"),
        pytest.param(-12.0, 40.0, 0.0, id="a quieter last part"),
    ],
)
def test_the_end_begins_earlier_where_a_song_has_died_away(
    sound_file, rate_hz, murmur_db, murmur_s, more_s
):
    """At least what was asked of the song itself is read; whatever the rate, from the same time."""
    loud_s = 75.0
    sound = noise(loud_s + murmur_s, 22_050)
    sound[round(loud_s * 22_050) :] *= 10 ** (murmur_db / 20)
    path = sound_file("song.wav", sound, 22_050)
    read = read_song(path, edge="end", edge_s=45.0, rate_hz=rate_hz)
    assert read.start_s == pytest.approx(loud_s + murmur_s - 45.0 - more_s, abs=1e-3)
    assert read.end_s == pytest.approx(loud_s + murmur_s, abs=1e-3)
    start = read_song(path, edge="start", edge_s=45.0, rate_hz=rate_hz)
    assert start.end_s == pytest.approx(45.0, abs=1e-3)
