"""Changing an option, hearing it, taking it back: the commands on a run with sound."""

import io
import json
import shutil

import numpy as np
import pytest
import soundfile

import segue
from benchmarks._in_process import run_here
from segue.job.steps import forget_songs
from segue.runfolder import read_document
from segue.runfolder.run_records import version_letters

RATE_HZ = 22_050
SONG_S = 24.0


@pytest.fixture(scope="module", name="made")
def _made(songs, tmp_path_factory):
    out = tmp_path_factory.mktemp("made") / "run"
    told = between(songs, out)
    assert told.code == 0, told.err
    return out


@pytest.fixture(name="run")
def _run(made, tmp_path):
    return shutil.copytree(made, tmp_path / "run")


def between(songs, out, *words):
    return run_here(
        [
            "between", str(songs / "old.wav"), str(songs / "new.wav"), "--out", str(out),
            "--rate", str(RATE_HZ), "--recipe", "pad in the new key", "--recipe", "tempo ramp",
            "--workers", "1", "--quiet", *words,
        ]
    )  # fmt: skip


def told(*words):
    return run_here([str(word) for word in words])


def done(*words):
    answer = told(*words)
    assert answer.code == 0, answer.err
    return answer.out


def option_of(run, recipe):
    return next(r.label for r in read_document(run).candidates if r.plan.recipe == recipe)


def files(run):
    """Every file with its content, but for what undo keeps aside."""
    return {path.name: path.read_bytes() for path in run.iterdir() if path.is_file()}


def sound_of(run, record):
    return soundfile.read(run / record.music_file)[0]


def test_a_change_makes_a_version_beside_the_option(run):
    before, option = files(run), option_of(run, "pad in the new key")
    out = done(
        "change", run, option, "--bars", 6, "--leave", "bar -3", "--pad", "choir",
        "--cadence", "plagal", "--level", "pad -3", "--without", "touch of keys",
    )  # fmt: skip
    label = f"{option}b"
    changes = "6 bars, pad choir, cadence plagal, without touch of keys, pad -3 dB"
    words = " ".join(out.split())
    assert f"{label} pad in the new key" in words
    assert f"Changed from {option}: left at bar -3, {changes}." in words
    assert f"{option} scored" in words
    document = read_document(run)
    record = document.candidates[-1]
    assert (record.label, record.rank) == (label, 3)
    assert sum(bar.section == "interlude" for bar in record.bars) == 6
    assert record.scorecard.measures
    after = files(run)
    assert {name for name in after if name not in before} == {
        f"{label} pad in the new key{end}" for end in (".wav", " click.wav", " cue.wav", ".png")
    }
    same = [name for name in before if name not in ("segue.json", "audition.html")]
    assert all(after[name] == before[name] for name in same)  # nothing else was rendered
    loudness = {round(r.loudness_lufs, 1) for r in document.candidates}
    assert max(loudness) - min(loudness) < 0.2  # nobody picks the louder one


def test_every_command_knows_a_version_by_its_name(run, tmp_path):
    option = option_of(run, "pad in the new key")
    label = f"{option}b"
    report = json.loads(done("change", run, option, "--level", "bridge -2", "--json", "--quiet"))
    assert (report["label"], report["version_of"], report["changes"]) == (
        label, option, ["bridge -2 LU"],
    )  # fmt: skip
    assert f"{label}. pad in the new key" in (run / "audition.html").read_text(encoding="utf-8")
    assert done("explain", run, label, "--quiet").startswith(f"{label}  pad in the new key")
    assert done("choose", run, label, "--quiet") == f"Chosen: option {label}, pad in the new key.\n"
    assert segue.read_run(run).chosen == label
    pack = tmp_path / "pack"
    assert f"Option {label}," in done("stage", run, "--out", pack, "--quiet")
    assert soundfile.info(next(pack.glob("*music*.wav"))).samplerate == RATE_HZ
    refused = told("undo", run)
    assert refused.code == 2
    assert f"cannot take {label} back, which is what the band chose: choose" in refused.err


def test_undo_leaves_the_run_as_it_was_and_redo_brings_it_back(run):
    option, before = option_of(run, "tempo ramp"), files(run)
    done("change", run, option, "--ramp", 3, "--quiet")
    changed = files(run)
    out = done("undo", run)
    assert f"Taken back: {option}b, tempo ramp." in out
    assert "redo" in out
    assert files(run) == before
    assert "Back again" in done("redo", run, "--quiet")
    assert files(run) == changed
    assert not (run / "undone").exists()
    assert "has nothing to bring back" in told("redo", run).err
    done("undo", run, "--quiet")
    assert "has no version to take back" in told("undo", run).err
    done("change", run, option, "--bars", 5, "--quiet")
    assert read_document(run).candidates[-1].label == f"{option}c"  # a letter is used once
    done("redo", run, "--quiet")
    assert [r.label for r in read_document(run).versions] == [f"{option}b", f"{option}c"]


def test_a_version_with_no_real_change_is_the_same_to_the_sample(run):
    document = read_document(run)
    for record in document.candidates:
        n_bars = sum(bar.section == "interlude" for bar in record.bars)
        version = segue.change(run, record.label, segue.Changes(n_bars=n_bars))
        assert np.array_equal(version.music, sound_of(run, record))
        assert version.click_path.read_bytes() == (run / record.click_file).read_bytes()
        assert version.cue_path.read_bytes() == (run / record.cue_file).read_bytes()


def test_a_trimmed_layer_moves_by_its_decibels_and_nothing_else(run):
    option = option_of(run, "pad in the new key")
    mute, half = (
        segue.change(run, option, segue.Changes(levels=(("pad", by_db),)))
        for by_db in (-40.0, -6.0206)
    )
    old = segue.read_run(run).options[int(option) - 1]
    plan, gone = old.plan, 10 ** (-40 / 20)
    exit_s, entry_s = plan.seconds_at(plan.exit_beat), plan.seconds_at(plan.entry_beat)
    inside = slice(round((exit_s + 1) * RATE_HZ), round((entry_s - 1) * RATE_HZ))
    songs = slice(0, round((exit_s - 2) * RATE_HZ))
    gains = [np.std(x.music[songs]) for x in (old, mute, half)]  # each is lowered as a whole
    full, muted, halved = (
        x.music[inside] / gain for x, gain in zip((old, mute, half), gains, strict=True)
    )
    pad = (full - muted) / (1 - gone)
    assert np.std(pad) > 0.1 * np.std(full)
    assert np.std(full - halved - 0.5 * pad) < 0.02 * np.std(pad)


def test_a_draft_is_the_bridge_as_the_version_has_it(run):
    option = option_of(run, "tempo ramp")
    before, changes = files(run), segue.Changes(n_bars=5, levels=(("bass", 2.0),))
    draft = segue.draft(run, option, changes)
    assert files(run) == before
    assert draft.changes == ("5 bars", "bass +2 dB")
    version = segue.change(run, option, changes)
    assert version.plan == draft.plan
    full = envelope(version.music, RATE_HZ)
    rough = envelope(draft.music, draft.rate_hz)
    first = round(draft.starts_s * ENVELOPE_HZ)
    part = full[first : first + len(rough)]
    assert draft.starts_s > 0
    assert len(rough) / ENVELOPE_HZ > 8.0
    edge = round(0.3 * ENVELOPE_HZ)  # the draft fades in
    rough, part = rough[edge : len(part)], part[edge:]
    alike = [np.corrcoef(np.roll(rough, lag), part)[0, 1] for lag in range(-5, 6)]
    assert int(np.argmax(alike)) == 5  # in its place: no lag fits better
    assert alike[5] > 0.8
    assert abs(20 * np.log10(np.mean(rough) / np.mean(part))) < 3.0  # the whole is not levelled
    assert soundfile.info(io.BytesIO(draft.wav())).samplerate == draft.rate_hz


ENVELOPE_HZ = 50  # divides both rates


def envelope(music, rate_hz):
    mono, hop = np.abs(music).mean(axis=1), rate_hz // ENVELOPE_HZ
    return mono[: len(mono) // hop * hop].reshape(-1, hop).mean(axis=1)


def test_the_command_writes_a_draft_and_makes_no_version(run):
    out = done("change", run, 1, "--bars", 4, "--draft")
    assert out.splitlines()[0] == f"Draft: {run / 'draft.wav'}"
    assert soundfile.info(run / "draft.wav").duration > 8.0
    assert len(read_document(run).candidates) == 2
    refused = told("change", run, 1, "--bars", 4, "--draft", "--json")
    assert "--draft is for listening: leave out --as-recipe and --json." in refused.err


def test_another_recipe_keeps_the_places(run):
    option = option_of(run, "pad in the new key")
    done("change", run, option, "--leave", "bar -4", "--quiet")
    done("change", run, f"{option}b", "--recipe", "walk the bass", "--quiet")
    first, second = read_document(run).versions
    assert second.plan.recipe == "walk the bass"
    assert second.label == f"{option}c"
    assert second.version.of == f"{option}b"
    assert second.made.asked.leave == first.made.asked.leave


def test_an_option_is_kept_as_a_recipe_that_the_lint_passes(run, tmp_path):
    path = tmp_path / "my-ramp.toml"
    out = done(
        "change", run, option_of(run, "tempo ramp"), "--chords", "Em C Db C7",
        "--as-recipe", path, "--quiet",
    )  # fmt: skip
    assert f"Kept as 'my ramp' in {path}." in out
    assert told("recipes", "check", path).code == 0
    assert len(read_document(run).candidates) == 2
    refused = told("change", run, 1, "--leave", "end", "--as-recipe", tmp_path / "b.toml")
    assert "--leave and --enter are places in these two songs" in refused.err
    assert "end it in .toml" in told("change", run, 1, "--as-recipe", tmp_path / "b").err


def test_a_song_that_is_gone_or_another_is_told(songs, tmp_path):
    mine = shutil.copytree(songs, tmp_path / "songs")
    out = tmp_path / "run"
    assert between(mine, out).code == 0
    forget_songs()
    sound, rate_hz = soundfile.read(mine / "new.wav")
    soundfile.write(mine / "new.wav", 0.5 * sound, rate_hz)
    before = files(out)
    refused = told("change", out, 1, "--level", "bridge -1", "--quiet")
    assert f"{mine / 'new.wav'}: has changed since the run was made: make the run" in refused.err
    (mine / "old.wav").rename(mine / "elsewhere.wav")
    forget_songs()
    refused = told("change", out, 1, "--level", "bridge -1", "--quiet")
    assert f"{mine / 'old.wav'}: is not there any more: put it back, or" in refused.err
    assert files(out) == before


def test_a_run_of_two_other_songs_is_not_replaced_without_a_word(songs, run, tmp_path):
    other = tmp_path / "another.wav"
    shutil.copy(songs / "new.wav", other)
    words = ["between", songs / "old.wav", other, "--out", run, "--quiet", "--rate", RATE_HZ]
    refused = told(*words)
    assert refused.code == 2
    assert "holds the segues from 'old' to 'new': name another --out, or add --replace." in (
        refused.err
    )
    assert between(songs, run).code == 0  # the same two are made again
    done("change", run, 1, "--level", "bridge -1", "--quiet")
    refused = between(songs, run)
    assert "holds options that you changed (1b): name another --out, or add --replace." in (
        refused.err
    )
    assert between(songs, run, "--replace").code == 0


def test_letters_go_on_after_z():
    letters = [version_letters(n) for n in range(100)]
    assert len(set(letters)) == 100
    assert letters[:2] + letters[24:27] == ["b", "c", "z", "aa", "ab"]
