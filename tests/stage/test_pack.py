"""A pack from a run folder, read back with other libraries."""

import json
from dataclasses import replace

import numpy as np
import pytest
import soundfile
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


def test_channels_hold_what_they_are_named_for(pack, run):
    out, _ = pack
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


@pytest.mark.parametrize("name", ["all channels.wav", "music.wav", "click.wav", "cue.wav"])
def test_markers_and_loudness_are_in_every_wav(pack, plans, name):
    out, made = pack
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
    with pytest.raises(OptionError, match="no candidate 7: the run has 1 to 2"):
        stage_pack(StageRequest(run=run, out=tmp_path / "p", rank=7))
    assert not (tmp_path / "p").exists()


def test_channels_that_miss_one_are_refused(run, tmp_path):
    with pytest.raises(OptionError, match="name each of them once"):
        StageRequest(run=run, out=tmp_path / "p", channels=("click", "click", "cue", "music left"))
