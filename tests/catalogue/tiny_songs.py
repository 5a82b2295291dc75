"""Songs of three seconds, facts without sound, and hands that work one by one."""

from contextlib import contextmanager

import numpy as np
import soundfile

from segue.catalogue.store import open_store
from segue.errors import SegueError
from segue.workers import Outcome

RATE_HZ = 22_050
SONG_S = 3.0


class OneByOne:
    """Work done in this process, in order."""

    n_workers = 1

    def outcomes(self, task, inputs):
        for index, one in enumerate(inputs):
            try:
                yield Outcome(index=index, result=task(one))
            except SegueError as error:
                yield Outcome(index=index, problem=str(error))


def write_song(path, seed):
    """A chord with four clicks a second or so, different for each seed."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(round(SONG_S * RATE_HZ)) / RATE_HZ
    root_hz = 110.0 * 2 ** (rng.integers(12) / 12)
    sound = sum(np.sin(2 * np.pi * root_hz * ratio * time_s) for ratio in (1.0, 1.25, 1.5)) * 0.1
    beat_s = 60.0 / rng.uniform(90, 150)
    sound += 0.5 * np.exp(-((time_s % beat_s) / 0.01)) * rng.standard_normal(len(time_s)) * 0.3
    path.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(path, np.column_stack([sound, sound]).astype(np.float32), RATE_HZ)


def write_catalogue_folder(folder, n_songs=6):
    """Songs, a copy, a folder of stems and two broken files."""
    for number in range(n_songs):
        write_song(folder / f"{number:02d} Song {number}.wav", number)
    (folder / "deeper").mkdir()
    (folder / "deeper" / "Copy of 0.wav").write_bytes((folder / "00 Song 0.wav").read_bytes())
    write_song(folder / "Band" / "drums.wav", 101)
    write_song(folder / "Band" / "bass.wav", 102)
    (folder / "cut.wav").write_bytes((folder / "01 Song 1.wav").read_bytes()[:30])
    (folder / "words.wav").write_text("not a sound")


@contextmanager
def database_rows(path):
    """Everything that a catalogue says, in one order."""
    with open_store(path, must_exist=True) as store:
        yield {
            table: sorted(store.database.execute(f"SELECT * FROM {table}").fetchall(), key=repr)
            for table in ("songs", "heard", "edges")
        }
