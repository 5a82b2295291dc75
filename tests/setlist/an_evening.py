"""An invented evening: three songs, two joins, without sound unless asked for."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from segue.audio.clip import Clip
from segue.audio.write import write_wav24
from segue.plan import plan_segue
from segue.plan.heard_words import filled_in
from segue.runfolder import Choice, RunDocument, document_text
from segue.runfolder.run_document import DOCUMENT_NAME
from segue.setlist.evening import Breaks, Evening, EveningJoin, EveningSong, timed, with_choice
from tests.plan.song_facts import end_facts, start_facts
from tests.runfolder.records import card_of
from tests.runfolder.records import record_of as rendered

RATE_HZ = 24_000
HZ = {"music": 330.0, "click": 1_000.0, "cue": 440.0}
TITLES = ("First Light", "Second Wind", "Third Rail")
RECIPES = ("tempo ramp", "pad in the new key", "stop and count-in")


def edges(*, middle_bpm=96.0, middle_end_bpm=None, first_bpm=124.0):
    """Start and end of each of the three songs, each lasting until its heard end."""
    starts = [
        start_facts("E minor", bpm=first_bpm),
        start_facts("F minor", bpm=middle_bpm, first_note_s=5.0),
        start_facts("D major", bpm=112.0, metre=3),
    ]
    ends = [
        end_facts("E minor", bpm=first_bpm),
        end_facts("F minor", bpm=middle_end_bpm or middle_bpm),
        end_facts("D major", bpm=112.0, metre=3),
    ]
    return [
        (replace(start, title=title, duration_s=end.duration_s), replace(end, title=title))
        for title, start, end in zip(TITLES, starts, ends, strict=True)
    ]


def record_of(plan, rank, *, score=0.5, is_tie=False):
    """A candidate with one measure."""
    name = f"{rank} {plan.recipe}"
    return rendered(
        plan,
        rank,
        scorecard=card_of(score),
        music_file=f"{name}.wav",
        click_file=f"{name} click.wav",
        cue_file=f"{name} cue.wav",
        picture_file=f"{name}.png",
        is_tie=is_tie,
    )


def document_of(old, new, shelf, *, recipes=RECIPES):
    """A run of some recipes, best first."""
    plans = [plan_segue(shelf[name], old, new) for name in recipes]
    records = [
        record_of(plan, rank, score=0.9 - 0.1 * rank, is_tie=rank == 2)
        for rank, plan in enumerate(plans, start=1)
    ]
    return RunDocument(
        schema_version=1,
        segue_version="0",
        rate_hz=RATE_HZ,
        outgoing=old,
        incoming=new,
        candidates=tuple(records),
    )


def write_run(folder, document):
    """A run folder whose buses are tones."""
    folder.mkdir(parents=True)
    for record in document.candidates:
        n_frames = round(record.plan.duration_s * RATE_HZ)
        for bus, hertz in HZ.items():
            wave = 0.2 * np.sin(2 * np.pi * hertz * np.arange(n_frames) / RATE_HZ)
            n_channels = 2 if bus == "music" else 1
            samples = np.repeat(wave[:, None], n_channels, axis=1).astype(np.float32)
            clip = Clip(samples=samples, rate_hz=RATE_HZ)
            write_wav24(folder / getattr(record, f"{bus}_file"), clip)
    (folder / DOCUMENT_NAME).write_text(document_text(document), encoding="utf-8")


def evening_of(shelf, *, folder=None, chosen=(2, None), both=None, **fields):
    """An evening; with a folder, its run folders are written."""
    both = both or edges()
    songs = tuple(
        EveningSong(
            number=n + 1,
            title=TITLES[n],
            path=Path(f"{TITLES[n]}.wav"),
            start=start,
            end=end,
            length_s=end.duration_s,
            start_s=0.0,
            end_s=0.0,
            energy=2 + n,
            voice="Ada",
        )
        for n, (start, end) in enumerate(both)
    )
    joins = tuple(
        _join(n, document_of(*filled_in(both[n][1], both[n + 1][0]), shelf), folder, chosen[n])
        for n in range(2)
    )
    evening = {"title": "Friday", "songs": songs, "joins": joins, "slot_s": 900.0, **fields}
    return timed(Evening(**evening))


def _join(n, document, folder, rank):
    if rank is not None:
        document = replace(document, choice=Choice(rank=rank, why="we like it"))
    name = f"{n + 1:02d} {TITLES[n]} to {TITLES[n + 1]}"
    if folder is not None:
        write_run(folder / name, document)
    join = EveningJoin(
        number=n + 1,
        is_segue=True,
        start_s=0.0,
        end_s=0.0,
        key_distance=0.8,
        tempo_ratio=0.9,
        folder=name,
        document=document,
        warnings=(f"Mind join {n + 1}.",),
    )
    return with_choice(join, Breaks())
