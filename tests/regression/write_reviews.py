"""Takes of an invented rehearsal, reviewed: ``python -m tests.regression.write_reviews``.

The band of `tests.review.conftest` plays a segue whose new song is there in stems: once as
planned, and once each with some of what goes wrong in a rehearsal room. Of one take the words of
its page are kept as well; two are reviewed where the songs are not at hand.
"""

import tempfile
from dataclasses import asdict, replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
from scipy.signal import butter, fftconvolve, sosfilt

from segue.audio.clip import Clip
from segue.audio.write import write_wav24
from segue.plan import plan_segue
from segue.recipes import load_recipes, shelf_folder
from segue.review.listening import read_clip
from segue.review.rehearsal import ListenedRun
from segue.review.review_page import PageOfReview, page_text
from segue.runfolder import RunDocument, document_text
from segue.runfolder.run_document import DOCUMENT_NAME
from tests.plan.song_facts import end_facts, start_facts
from tests.plan.write_golden import rounded
from tests.regression.kept import words_of, write
from tests.review.conftest import CHORDS, RATE_HZ, Played, parts, record_at, taped

NAME = "reviews.json"
FIRST_NOTE_S = 5.0
PHONE_HZ = (300.0, 3_400.0)  # the band of a telephone line, ITU-T G.712


@cache
def plan():
    shelf = {recipe.name: recipe for recipe in load_recipes(shelf_folder())}
    old, new = end_facts(), start_facts(first_note_s=FIRST_NOTE_S)
    return plan_segue(shelf["stop and count-in"], old, new)


def entry_bar():
    return next(line.number for line in plan().bar_lines if line.section == "incoming")


def song_in_stems(folder):
    """The new song as the plan has it, from its own first bar on."""
    facts, before = start_facts(first_note_s=FIRST_NOTE_S), entry_bar() - 1
    beats = facts.pulse.beats_s
    song = SimpleNamespace(
        bar_lines=[
            SimpleNamespace(number=n + 1, beat=n * facts.pulse.metre, metre=facts.pulse.metre)
            for n in range(len(facts.pulse.downbeats_s))
        ],
        duration_s=facts.edge_end_s,
        end_beat=len(beats),
        singer_beat=(FIRST_NOTE_S - beats[0]) / facts.pulse.beat_s,
        seconds_at=lambda beat: beats[0] + beat * facts.pulse.beat_s,
    )
    chords = tuple(CHORDS[(before + n) % len(CHORDS)] for n in range(len(CHORDS)))
    folder.mkdir()
    for name, sound in parts(song, Played(chords=chords)).items():
        clip = Clip(samples=(0.5 * sound).astype(np.float32), rate_hz=RATE_HZ)
        write_wav24(folder / f"{name}.wav", clip)
    return replace(facts, file=str(folder), duration_s=facts.edge_end_s)


def runs_in(folder):
    """The run with its songs at hand, and where they are not."""
    return {True: _run_in(folder / "run"), False: _run_in(folder / "alone", has_songs=False)}


def _run_in(folder, *, has_songs=True):
    folder.mkdir()
    new = song_in_stems(folder / "new song")
    if not has_songs:
        new = replace(new, file=str(folder / "gone"))
    taped(band(), folder / "1 music.wav", noise=0.0)
    document = RunDocument(
        schema_version=1,
        segue_version="0",
        rate_hz=RATE_HZ,
        outgoing=end_facts(),
        incoming=new,
        candidates=(record_at(plan(), 1),),
    )
    (folder / DOCUMENT_NAME).write_text(document_text(document), encoding="utf-8")
    return ListenedRun(folder)


def band(played=None, *, without=(), bars=()):
    """All parts together; those in `without` rest in the bars that are named, or throughout."""
    sounds = parts(plan(), played)
    lines = {line.number: line for line in plan().bar_lines}
    for name in without:
        for number in bars:
            first, last = (
                round(plan().seconds_at(beat) * RATE_HZ)
                for beat in (lines[number].beat, lines[number].beat + lines[number].metre)
            )
            sounds[name][first:last] = 0.0
        if not bars:
            sounds[name][:] = 0.0
    return sum(sounds.values())


def gap(sound, bar, length_s):
    first = round((plan().seconds_at(plan().bar_lines[bar - 1].beat) + 0.3) * RATE_HZ)
    cut = sound.copy()
    cut[first : first + round(length_s * RATE_HZ)] = 0.0
    return cut


def hum(sound):
    at_s = np.arange(len(sound)) / RATE_HZ
    wave = sum(np.sin(2 * np.pi * 50.0 * n * at_s) / n for n in range(1, 6))
    return sound[:, ::-1] + 0.02 * wave[:, None]


def louder(sound):
    changed = sound.copy()
    changed[round(plan().seconds_at(plan().entry_beat) * RATE_HZ) :] *= 2.0
    return changed


def through_a_phone(sound):
    return sosfilt(butter(4, PHONE_HZ, "bandpass", fs=RATE_HZ, output="sos"), sound, axis=0)


def in_a_room(sound):
    """A reverberation time of half a second, 6 dB under the direct sound."""
    at_s = np.arange(RATE_HZ // 2) / RATE_HZ
    tail = np.random.default_rng(3).normal(size=(len(at_s), 2)) * 10 ** (-6 * at_s)[:, None]
    tail *= 0.5 / np.sqrt(np.square(tail).sum(axis=0))
    return sound + fftconvolve(sound, tail, axes=0)[: len(sound)]


def twice(sound):
    """A first try that breaks off, some seconds of talk, and the whole of it."""
    talk = 0.02 * np.random.default_rng(8).normal(size=(4 * RATE_HZ, 2))
    return np.concatenate([sound[: round(0.6 * len(sound))], talk, sound])


@cache
def takes():
    """Sounds by name, and how each was taped."""
    late_s = {5: 0.03, 6: 0.038, 7: 0.03, 10: -0.022, 11: -0.022}
    lagging = Played(late_s=late_s, singer_late_s=-0.06, singer_cents=-30.0)
    waiting = {line.number: 1.5 for line in plan().bar_lines if line.number >= entry_bar()}
    creeping = {line.number: 0.009 * line.number for line in plan().bar_lines}
    slightly = {4: 0.012, 6: 0.02, 9: -0.016, 12: 0.045}
    a_little_off = Played(late_s=slightly, singer_late_s=0.035, singer_cents=14.0)
    flat = Played(singer_late_s=0.09, singer_cents=-40.0, late_s={8: 0.05})
    rests = band(without=("drums",), bars=(entry_bar() + 1, entry_bar() + 2))
    return {
        "as planned": (band(), {"offset_s": 2.0}),
        "bars that lag, the singer early and flat": (band(lagging), {"offset_s": 1.0}),
        "the band waits": (band(Played(late_s=waiting, singer_late_s=1.5)), {"offset_s": 3.0}),
        "the band slows down": (band(Played(late_s=creeping)), {"offset_s": 1.0}),
        "a quick recorder, hum and sides swapped": (hum(band()), {"speed": 1.004}),
        "a gap, and the drums rest": (gap(rests, 3, 0.4), {"offset_s": 1.0}),
        "nobody sings": (band(without=("voice",)), {"offset_s": 1.0}),
        "the new song louder": (louder(band()), {"offset_s": 1.0, "noise": 0.01}),
        "from within, through a phone": (through_a_phone(band()), {"offset_s": -4.0}),
        "clipped": (np.clip(3 * band(), -1.0, 1.0), {"offset_s": 1.0}),
        "all a little off": (band(a_little_off), {"offset_s": 1.5, "noise": 0.01}),
        "in a room, on a slow recorder": (in_a_room(band(flat)), {"speed": 0.994}),
        "two tries": (twice(band()), {"offset_s": 1.0}),
    }


LAGS, RESTS = "bars that lag, the singer early and flat", "a gap, and the drums rest"
FAR = {f"{name}, the songs not at hand": name for name in (LAGS, RESTS)}
CASES = (*takes(), *FAR)


def reviewed(case, runs, folder):
    """All that a review tells of a take, by a run that is listened to once for all of them."""
    sound, taping = takes()[FAR.get(case, case)]
    path = taped(sound.astype(np.float32), folder / "take.wav", **taping)
    run = runs[case not in FAR]
    review = run.review(path)
    told = {key: rounded(x) for key, x in asdict(review).items() if key not in _OTHERWISE}
    return told | ({"page": words_of(page_of(review, run, path))} if case == LAGS else {})


def page_of(review, run, path):
    plan, take = read_clip(run.run / "1 music.wav"), read_clip(path)
    return page_text(PageOfReview(rehearsal=review, label="1", plan=plan, take=take, trend=None))


_OTHERWISE = ("segue_version", "recorded_on", "recorded_at")


def values():
    with tempfile.TemporaryDirectory() as folder:
        runs = runs_in(Path(folder))
        return {case: reviewed(case, runs, Path(folder)) for case in CASES}


if __name__ == "__main__":
    write(NAME, values())
