"""A small run folder whose sound is known: tones on music, click and cue."""

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.audio.write import write_wav24
from segue.plan import plan_segue
from segue.runfolder import RunDocument, document_text
from segue.runfolder.run_document import DOCUMENT_NAME
from tests.plan.song_facts import end_facts, start_facts
from tests.runfolder.records import card_of, record_of

RATE_HZ = 24_000
HZ = {"music": 330.0, "click": 1_000.0, "cue": 440.0}


def _tone(hertz, n_frames, n_channels):
    wave = 0.2 * np.sin(2 * np.pi * hertz * np.arange(n_frames) / RATE_HZ)
    samples = np.repeat(wave[:, None], n_channels, axis=1).astype(np.float32)
    return Clip(samples=samples, rate_hz=RATE_HZ)


def _record(rank, plan):
    names = {bus: f"{rank} {plan.recipe} {bus}.wav" for bus in HZ}
    files = {f"{bus}_file": name for bus, name in names.items()}
    return record_of(plan, rank, scorecard=card_of(), picture_file="1.png", **files)


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
