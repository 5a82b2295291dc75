"""Leaving and entering songs where the musician says, through the command line."""

import json

import numpy as np
import pytest

from benchmarks._in_process import run_here
from segue.plan.layer import SongLayer
from segue.runfolder import read_document

SONG_S = 28.0
BAR_A_S = 4 * 60.0 / 124.0  # of the first demo song, as its band played it
BAR_B_S = 4 * 60.0 / 96.0
BAR_ONE_B_S = 0.2


def between(songs, out, *words):
    return run_here(
        [
            "between", str(songs / "old.wav"), str(songs / "new.wav"), "--out", str(out),
            "--rate", "22050", "--recipe", "pad in the new key", "--workers", "1",
            "--json", "--quiet", *words,
        ]
    )  # fmt: skip


def candidate(told):
    assert told.code == 0, told.err
    return json.loads(told.out)["candidates"][0]


def played(out, side):
    """Where in its file a song is played, by beats of the plan."""
    plan = read_document(out).candidates[0].plan
    (layer,) = (x for x in plan.layers if isinstance(x, SongLayer) and x.song == side)
    beats, places_s = zip(*((p.beat, p.source_s) for p in layer.time_map), strict=True)
    return plan, lambda beat: np.interp(beat, beats, places_s)


def test_places_and_bars_are_kept(songs, tmp_path):
    out = tmp_path / "run"
    report = candidate(between(songs, out, "--leave", "bar -4", "--enter", "bar 3", "--bars", "6"))
    assert sum(bar["section"] == "interlude" for bar in report["bars"]) == 6
    assert report["notes"] == []
    plan, old_s = played(out, "outgoing")
    assert old_s(plan.exit_beat) == pytest.approx(SONG_S - 4 * BAR_A_S, abs=0.02)
    plan, new_s = played(out, "incoming")
    assert new_s(plan.entry_beat) == pytest.approx(BAR_ONE_B_S + 2 * BAR_B_S, abs=0.02)


def test_what_was_moved_or_clipped_is_said(songs, tmp_path):
    notes = candidate(between(songs, tmp_path / "run", "--leave", "12.9s", "--bars", "40"))["notes"]
    assert notes == [
        (
            'Leave at 12.9s: moved 0.38 s earlier, to the bar line at 0:12.5; "exactly" keeps it '
            "on the nearest beat."
        ),
        "40 bars asked: 'pad in the new key' can do 2 to 8, and takes 8 here.",
    ]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (
            ("--leave", "bar 8"),
            (
                "--leave 'bar 8': bars of the old song are counted back from its last one, which "
                'is "bar -1"; write "bar -8".'
            ),
        ),
        (
            ("--leave", "3:12"),
            "--leave '3:12' is after the end of 'old' at 0:28.0: take an earlier place, or end.",
        ),
        (("--bars", "0"), "--bars 0 is outside 1 to 64 bars: keep within."),
    ],
)
def test_a_place_that_is_not_there_is_told_and_leaves_nothing(words, sentence, songs, tmp_path):
    told = between(songs, tmp_path / "run", *words)
    assert told.code == 2
    assert " ".join(told.err.split()).endswith(sentence)
    assert not (tmp_path / "run").exists()
