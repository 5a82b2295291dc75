"""A pack from a run folder, read back with other libraries."""

import base64
import json
import os
import shutil
import struct
import subprocess
import time
from dataclasses import replace

import numpy as np
import pyloudnorm
import pytest
import soundfile
import soxr
import wavinfo

from segue.errors import OptionError, RunFolderError
from segue.stage import StageRequest, stage_pack
from segue.stage.pack import CHANNELS
from tests.stage.conftest import HZ, RATE_HZ


@pytest.fixture(scope="module", name="pack")
def _pack(run, tmp_path_factory):
    out = tmp_path_factory.mktemp("packs") / "pack"
    return out, stage_pack(StageRequest(run=run, out=out))


def _strongest_hz(wave):
    spectrum = np.abs(np.fft.rfft(wave[:RATE_HZ]))
    return float(np.argmax(spectrum))


def test_all_files_are_there_and_named(pack):
    out, made = pack
    assert sorted(path.name for path in out.iterdir()) == sorted(made.files)


@pytest.fixture(scope="module", name="together")
def _together(run, tmp_path_factory):
    """A pack that was asked for one file of all channels."""
    out = tmp_path_factory.mktemp("packs") / "pack"
    stage_pack(StageRequest(run=run, out=out, channels=CHANNELS))
    return out


def test_channels_hold_what_they_are_named_for(together):
    out = together
    sound, rate_hz = soundfile.read(out / "all channels.wav", always_2d=True)
    assert rate_hz == RATE_HZ
    for index, name in enumerate(CHANNELS):
        bus = "music" if name.startswith("music") else name
        assert _strongest_hz(sound[:, index]) == pytest.approx(HZ[bus], abs=1.0), name


def test_order_of_channels_is_the_users(run, tmp_path):
    order = ("click", "cue", "music left", "music right")
    stage_pack(StageRequest(run=run, out=tmp_path / "p", channels=order))
    sound, _ = soundfile.read(tmp_path / "p" / "all channels.wav", always_2d=True)
    assert _strongest_hz(sound[:, 0]) == pytest.approx(HZ["click"], abs=1.0)
    assert "1 click, 2 cue" in (tmp_path / "p" / "cue sheet.html").read_text(encoding="utf-8")


def test_click_and_cue_are_never_in_the_music(pack):
    out, _ = pack
    music, _ = soundfile.read(out / "music.wav", always_2d=True)
    spectrum = np.abs(np.fft.rfft(music[RATE_HZ // 2 : RATE_HZ // 2 + RATE_HZ, 0]))
    for bus in ("click", "cue"):
        assert spectrum[round(HZ[bus])] < 1e-4 * spectrum[round(HZ["music"])]


def test_every_file_starts_on_bar_one_and_lasts_as_long(pack, plans):
    out, made = pack
    frames = {name: soundfile.info(out / name).frames for name in made.files if "wav" in name}
    assert len(set(frames.values())) == 1
    expected = round(plans[0].duration_s * RATE_HZ) - round(plans[0].lead_in_s * RATE_HZ)
    assert set(frames.values()) == {expected}
    assert made.duration_s == pytest.approx(expected / RATE_HZ)


@pytest.mark.parametrize("name", ["all channels.wav", "music.wav", "click.wav", "cue.wav"])
def test_markers_and_loudness_are_in_every_wav(together, pack, plans, name):
    out, made = together, pack[1]
    read = wavinfo.WavInfoReader(str(out / name))
    entry = next(m for m in made.markers if "bar one" in m.name)
    places = dict(zip((x.text for x in read.cues.labels), read.cues.cues, strict=True))
    expected = round(plans[0].tempo.seconds_at(plans[0].entry_beat) * RATE_HZ)
    assert places[entry.name].sample_offset == expected
    assert read.bext.loudness_value < 0


def test_chosen_candidate_is_the_one_that_is_packed(run, tmp_path, plans):
    made = stage_pack(StageRequest(run=run, out=tmp_path / "p", rank=2))
    assert made.rank == 2
    marks = json.loads((tmp_path / "p" / "markers.json").read_text(encoding="utf-8"))["markers"]
    assert marks[-1]["time_s"] <= plans[1].duration_s


def test_the_same_run_gives_the_same_bytes(run, pack, tmp_path):
    out, made = pack
    stage_pack(StageRequest(run=run, out=tmp_path / "again"))
    for name in made.files:
        assert (tmp_path / "again" / name).read_bytes() == (out / name).read_bytes(), name


def test_a_pack_replaces_a_pack_but_nothing_else(run, tmp_path):
    request = StageRequest(run=run, out=tmp_path / "p")
    stage_pack(request)
    stage_pack(request)
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "letter.txt").write_text("dear")
    with pytest.raises(RunFolderError, match="holds other files"):
        stage_pack(replace(request, out=tmp_path / "other"))
    assert (tmp_path / "other" / "letter.txt").read_text() == "dear"


def test_a_candidate_that_is_not_there_is_told(run, tmp_path):
    with pytest.raises(OptionError, match="no option 7: the run has 1, 2"):
        stage_pack(StageRequest(run=run, out=tmp_path / "p", rank=7))
    assert not (tmp_path / "p").exists()


def test_channels_that_miss_one_are_refused(run, tmp_path):
    with pytest.raises(OptionError, match="name each of them once"):
        StageRequest(run=run, out=tmp_path / "p", channels=("click", "click", "cue", "music left"))


# Of a coding history: A algorithm, F rate, W word, M mode, T free text without commas
# (EBU R 98-1999, from memory); it knows no mode for four channels.
HISTORIES = {
    "music.wav": "A=PCM,F=24000,W=24,M=stereo",
    "click.wav": "A=PCM,F=24000,W=24,M=mono",
    "cue.wav": "A=PCM,F=24000,W=24,M=mono",
    "all channels.wav": "A=PCM,F=24000,W=24,T=4 channels: music left; music right; click; cue",
}


@pytest.mark.parametrize("name", HISTORIES)
def test_what_a_file_says_of_itself_is_its_own(together, name):
    read = wavinfo.WavInfoReader(str(together / name)).bext
    sound, _ = soundfile.read(together / name, always_2d=True)
    assert read.coding_history.strip("\r\n\0") == HISTORIES[name]
    assert read.description.endswith(f", {name.removesuffix('.wav')}")
    # By another library's meter (ITU-R BS.1770); of four channels it weighs two otherwise.
    if sound.shape[1] <= 2:
        lufs = pyloudnorm.Meter(RATE_HZ).integrated_loudness(sound)
        assert read.loudness_value == pytest.approx(lufs, abs=0.1)
    # By another library's resampler; the tones stop short at the end, so it is above theirs.
    peak = np.abs(soxr.resample(sound, RATE_HZ, 8 * RATE_HZ)).max()
    assert read.max_true_peak == pytest.approx(20 * np.log10(peak), abs=0.2)


def test_levels_of_click_and_music_differ_where_they_are_told_apart(pack):
    out, _ = pack
    levels = {
        name: wavinfo.WavInfoReader(str(out / f"{name}.wav")).bext.loudness_value
        for name in ("music", "click", "cue")
    }
    # Two equal channels are 3 dB louder than one.
    assert levels["music"] > levels["cue"] + 2
    assert levels["click"] > levels["cue"]  # K weighting: 1 kHz over 440 Hz


def test_dates_are_those_of_the_run(run, tmp_path, monkeypatch):
    copy = tmp_path / "run"
    shutil.copytree(run, copy)
    for file in copy.glob("1 *music.wav"):
        os.utime(file, (1_900_000_000, 1_900_000_000))  # 2030-03-17 17:46:40 UTC
    monkeypatch.setenv("TZ", "UTC-01:00")
    time.tzset()
    try:
        stage_pack(StageRequest(run=copy, out=tmp_path / "p", rank=1))
    finally:
        monkeypatch.undo()
        time.tzset()
    for name in ("music.wav", "click.wav", "cue.wav"):
        read = wavinfo.WavInfoReader(str(tmp_path / "p" / name)).bext
        assert (read.originator_date, read.originator_time) == ("2030-03-17", "18:46:40")


def test_a_file_of_all_channels_is_only_made_when_asked_for(pack, together):
    assert not (pack[0] / "all channels.wav").exists()
    assert (together / "all channels.wav").exists()


def test_channels_of_one_file_belong_to_no_loudspeaker(together):
    # dwChannelMask, 20 bytes into the fmt chunk; 0 is "no place" (Microsoft, "Multiple channel
    # audio data and WAVE files", 2007).
    content = (together / "all channels.wav").read_bytes()
    at = content.index(b"fmt ") + 8
    assert struct.unpack_from("<HH", content, at) == (0xFFFE, 4)
    assert struct.unpack_from("<I", content, at + 20) == (0,)


def _by_sox(path, folder):
    command = ["sox", str(path), "-c", "2", str(folder / "two.wav")]
    subprocess.run(command, check=True, capture_output=True)
    return soundfile.read(folder / "two.wav", always_2d=True)[0]


def _by_ffmpeg(path, folder):
    command = ["ffmpeg", "-v", "error", "-y", "-i", str(path), "-ac", "2", str(folder / "two.wav")]
    subprocess.run(command, check=True, capture_output=True)
    return soundfile.read(folder / "two.wav", always_2d=True)[0]


MIXERS = {"sox": _by_sox, "ffmpeg": _by_ffmpeg}


def _heard(two_channels):
    """Buses whose tone is in a sound of two channels, 60 dB below full scale or louder."""
    middle = two_channels[-RATE_HZ:]
    levels = np.abs(np.fft.rfft(middle, axis=0)).max(axis=1) * 2 / RATE_HZ
    return {bus for bus, hertz in HZ.items() if levels[round(hertz)] > 1e-3}


@pytest.mark.parametrize("mixer", MIXERS)
def test_no_file_has_click_and_music_together_for_a_player_that_mixes_to_stereo(
    pack, tmp_path, mixer
):
    if shutil.which(mixer) is None:
        pytest.skip(f"no {mixer} here")
    for bus in HZ:
        assert _heard(MIXERS[mixer](pack[0] / f"{bus}.wav", tmp_path)) == {bus}


def test_no_file_has_click_and_music_together_in_a_browser(pack, browser):
    page = browser.new_page()
    page.goto("about:blank")
    heard = {}
    for bus in HZ:
        content = base64.b64encode((pack[0] / f"{bus}.wav").read_bytes()).decode()
        channels = page.evaluate(
            """async ([text, rate]) => {
                 const bytes = Uint8Array.from(atob(text), sign => sign.charCodeAt(0));
                 const two = new OfflineAudioContext(2, 8 * rate, rate);
                 const source = two.createBufferSource();
                 source.buffer = await two.decodeAudioData(bytes.buffer);
                 source.connect(two.destination);
                 source.start();
                 const sound = await two.startRendering();
                 return [0, 1].map(n => [...sound.getChannelData(n).slice(4 * rate, 5 * rate)]);
               }""",
            [content, RATE_HZ],
        )
        heard[bus] = _heard(np.array(channels).T)
    page.close()
    assert heard == {bus: {bus} for bus in HZ}


@pytest.mark.parametrize("mixer", MIXERS)
def test_that_a_file_of_all_channels_is_mixed_is_why_it_is_not_made_unasked(
    together, tmp_path, mixer
):
    if shutil.which(mixer) is None:
        pytest.skip(f"no {mixer} here")
    assert _heard(MIXERS[mixer](together / "all channels.wav", tmp_path)) == set(HZ)
