"""A small run folder whose sound is known: tones on music, click and cue."""

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.audio.write import write_wav24
from segue.plan import plan_segue
from segue.runfolder import BarReport, CandidateRecord, RunDocument, document_text
from segue.runfolder.run_document import DOCUMENT_NAME
from segue.score.scorecard import CurveSample, Measure, Scorecard
from tests.plan.song_facts import end_facts, start_facts

RATE_HZ = 24_000
HZ = {"music": 330.0, "click": 1_000.0, "cue": 440.0}


def _tone(hertz, n_frames, n_channels):
    wave = 0.2 * np.sin(2 * np.pi * hertz * np.arange(n_frames) / RATE_HZ)
    samples = np.repeat(wave[:, None], n_channels, axis=1).astype(np.float32)
    return Clip(samples=samples, rate_hz=RATE_HZ)


def _record(rank, plan):
    names = {bus: f"{rank} {plan.recipe} {bus}.wav" for bus in HZ}
    measure = Measure(
        name="level",
        label="level",
        value=1.0,
        unit="LU",
        score=0.5,
        threshold="2 LU",
        source="set by judgement",
        sentence="A small step.",
    )
    return CandidateRecord(
        rank=rank,
        plan=plan,
        scorecard=Scorecard(
            measures=(measure,), overall=0.5, loudness_lufs=(CurveSample(time_s=0.0, value=-16.0),)
        ),
        bars=tuple(
            BarReport(number=x.number, time_s=plan.seconds_at(x.beat), section=x.section)
            for x in plan.bar_lines
        ),
        exit_s=plan.seconds_at(plan.exit_beat),
        entry_s=plan.seconds_at(plan.entry_beat),
        singer_s=None,
        music_file=names["music"],
        click_file=names["click"],
        cue_file=names["cue"],
        picture_file="1.png",
        loudness_lufs=-16.0,
        true_peak_dbtp=-1.0,
        notes=(),
    )


@pytest.fixture(scope="session", name="plans")
def _plans(shelf):
    old, new = end_facts(), start_facts(first_note_s=5.0)
    return [plan_segue(shelf[name], old, new) for name in ("tempo ramp", "pad in the new key")]


@pytest.fixture(scope="session", name="run")
def _run(plans, tmp_path_factory):
    folder = tmp_path_factory.mktemp("run")
    records = tuple(_record(rank, plan) for rank, plan in enumerate(plans, start=1))
    for record in records:
        n_frames = round(record.plan.duration_s * RATE_HZ)
        for bus, hertz in HZ.items():
            clip = _tone(hertz, n_frames, 2 if bus == "music" else 1)
            write_wav24(folder / getattr(record, f"{bus}_file"), clip)
    document = RunDocument(
        schema_version=1,
        segue_version="0",
        rate_hz=RATE_HZ,
        outgoing=end_facts(),
        incoming=start_facts(first_note_s=5.0),
        candidates=records,
    )
    (folder / DOCUMENT_NAME).write_text(document_text(document), encoding="utf-8")
    return folder
