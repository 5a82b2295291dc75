"""The demo songs played again by another band: another SoundFont and other hands.

The scores are those of `demo_audio`; every part gets new samples, new looseness and its
desk's strip. The singer is the same one as in the songs, so that a moment of entry means
the same in both: the line is sung anew for each take, late or early and sharp or flat by
what the take asks.
"""

import importlib
import sys
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import soundfile
import soxr

Audio = npt.NDArray[np.float64]

HERE: Final = Path(__file__).parent
SOUNDFONTS: Final = (
    Path("/usr/share/sounds/sf2/TimGM6mb.sf2"),
    Path(sys.prefix, "lib/python3.11/site-packages/pretty_midi/TimGM6mb.sf2"),
)
"""Debian's ``timgm6mb-soundfont``, or the same file as a Python package ships it."""
RATE_HZ: Final = 44_100
"""Of the demo's scores as played."""
SINGERS_SOUNDFONT: Final = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
LEAD_S: Final = 46.0
_MAKEUP_DB: Final = 3.0


def demo_module(name: str, *, soundfont: Path | None = None) -> Any:  # noqa: ANN401 - loose scripts
    """A module of the demo's score, playing with the other SoundFont, or with one named."""
    folder = str(HERE.parent / "demo_audio")
    if folder not in sys.path:
        sys.path.insert(0, folder)
    sound = importlib.import_module("demo_sound")
    sound.SOUNDFONT = soundfont or next(path for path in SOUNDFONTS if path.is_file())
    return importlib.import_module(name)


def song_of(number: int) -> Any:  # noqa: ANN401 - loose scripts
    """A demo song's score by its number."""
    return next(s for s in demo_module("demo_songs").SONGS if s.seed == number)


def band_stems(number: int, band: int, store: Path) -> dict[str, Audio]:
    """All stems but the lead of a song as one band plays it, at the demo's rate."""
    make = demo_module("make_demo_audio")
    song = song_of(number)
    stems = {}
    for place, name in enumerate(song.programs):
        if name == "lead":
            continue
        path = store / f"band {band} song {number} {name}.flac"
        if not path.is_file():
            audio = _part(make, song, name, np.random.default_rng([band, number, place]))
            soundfile.write(path, 0.5 * audio, make.RATE_HZ, subtype="PCM_24")
        read, _ = soundfile.read(path, dtype="float64", always_2d=True)
        stems[name] = 2 * read
    return stems


def _part(make: Any, song: Any, name: str, rng: np.random.Generator) -> Audio:  # noqa: ANN401
    score, clock = make.score_of(song), make.clock_of(song)
    length_s = make.length_s_of(song, score, clock)
    notes, program = score.parts[name], song.programs[name]
    if name == "drums":
        audio, _ = make.render_drums(notes, program, clock, rng=rng, length_s=length_s)
    else:
        feel = make.BASS_FEEL if name == "bass" else make.HANDS_FEEL
        audio = make.render_part(notes, program, clock, feel=feel, rng=rng, length_s=length_s)
    return _treated(make, song, name, audio)


def _treated(make: Any, song: Any, name: str, audio: Audio) -> Audio:  # noqa: ANN401
    strip: Audio = make.treated(audio, make.desk_of(song, name)) * 10 ** (_MAKEUP_DB / 20)
    return np.clip(strip, -1.9, 1.9)


def sung_line(number: int, *, late_s: float, cents: float, rng: np.random.Generator) -> Audio:
    """The singer's line from the start of a song, moved in time and pitch."""
    song = song_of(number)
    make = demo_module("make_demo_audio", soundfont=SINGERS_SOUNDFONT)
    score, clock = make.score_of(song), make.clock_of(song)
    ratio = 2 ** (cents / 1200)
    notes = [n for n in score.parts["lead"] if clock(n.beat + n.beats) < LEAD_S]

    def slow(beat: float) -> float:
        """Played slower and flat by as much as the resampling takes back."""
        return float(clock(beat) + late_s) * ratio

    audio, _ = make.render_lead(
        notes, song.programs["lead"], slow, rng=rng, length_s=LEAD_S * ratio
    )
    audio = np.asarray(soxr.resample(audio, make.RATE_HZ * ratio, make.RATE_HZ))
    return _treated(make, song, "lead", audio)
