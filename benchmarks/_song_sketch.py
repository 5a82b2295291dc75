"""Songs as sketches: chords, bar times, melodies and keys, ready to be arranged.

Three sources: harmonic analyses of rock songs, pop songs in MIDI with beats, chords and
keys, and loops of our own, of which every rotation comes as often. A song belongs to one of
three splits by a hash of its name, so that nothing is fitted and measured on one song.

References
----------
.. [CT11] T. de Clercq and D. Temperley, "A corpus analysis of rock harmony", Popular Music
   30(1), 2011, 47-70; the analyses.
.. [TC13] D. Temperley and T. de Clercq, "Statistical analysis of harmony and melody in rock
   music", Journal of New Music Research 42(3), 2013, 187-204; the melodies.
.. [W20] Z. Wang et al., "POP909: a pop-song dataset for music arrangement generation",
   ISMIR 2020; the pop songs.
"""

import gzip
import hashlib
import json
import tarfile
import tempfile
from collections import Counter
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np

Split = Literal["fit", "dev", "report"]
SPLIT_SHARES: Final = (("fit", 0.64), ("dev", 0.18), ("report", 0.18))
SURE_SHARE: Final = 0.65
"""So much of the tonic's chords has to be of one mode for the mode to count; by judgement."""
MAJOR_THIRD, MINOR_THIRD = 4, 3
NO_CHORD: Final = "N"
QUALITIES: Final = {
    "maj": (0, 4, 7), "min": (0, 3, 7), "dim": (0, 3, 6), "aug": (0, 4, 8),
    "maj7": (0, 4, 7, 11), "7": (0, 4, 7, 10), "min7": (0, 3, 7, 10), "hdim7": (0, 3, 6, 10),
    "dim7": (0, 3, 6, 9), "minmaj7": (0, 3, 7, 11), "maj6": (0, 4, 7, 9), "min6": (0, 3, 7, 9),
    "9": (0, 4, 7, 10, 2), "maj9": (0, 4, 7, 11, 2), "min9": (0, 3, 7, 10, 2),
    "sus4": (0, 5, 7), "sus2": (0, 2, 7), "sus4(b7)": (0, 5, 7, 10), "5": (0, 7),
    "11": (0, 5, 7, 10, 2),
}  # fmt: skip
DEGREES: Final = {"1": 0, "2": 2, "3": 4, "4": 5, "5": 7, "6": 9, "7": 11, "9": 2}
NOTE_NAMES: Final = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sounding:
    """A chord from beat to beat: pitch class of its root, intervals above it, bass note."""

    start: float
    stop: float
    root: int
    intervals: tuple[int, ...]
    bass: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """A written note, in beats."""

    start: float
    length: float
    midi: int
    velocity: int = 90


@dataclass(frozen=True, slots=True, kw_only=True)
class Sketch:
    """A song to be arranged.

    `beats_s` has a moment for every beat and one for the end; `bars` are the numbers of the
    beats on which bars begin, and the last one's end. `keys` has tonic and mode of each bar,
    or None where they are not sure. `parts` are written parts besides the melody. `places` has
    where in a group of eight each bar is, for players who mark groups; without it they count
    from the song's first bar.
    """

    name: str
    group: str
    beats_s: np.ndarray
    bars: tuple[int, ...]
    chords: tuple[Sounding, ...]
    keys: tuple[tuple[int, str] | None, ...]
    melody: tuple[Tone, ...] = ()
    parts: tuple[tuple[str, tuple[Tone, ...]], ...] = ()
    is_metre_sure: bool = True
    loop: str = ""
    places: tuple[int, ...] = ()

    @property
    def n_bars(self) -> int:
        """Bars of the song."""
        return len(self.bars) - 1


def split_of(name: str) -> Split:
    """Where a song belongs, by a hash of its name."""
    place = int(hashlib.sha256(name.encode()).hexdigest()[:8], 16) % 1000 / 1000
    for split, share in SPLIT_SHARES:
        if place < share:
            return split  # type: ignore[return-value]
        place -= share
    return "report"


def rock_sketches(path: Path) -> list[Sketch]:
    """The analysed rock songs [CT11]_, [TC13]_ of a JSON file packed with gzip.

    Chords are those of the first analyst; keys and bars are what both agree on.
    """
    with gzip.open(path) as packed:
        return [_rock(song) for song in json.load(packed)]


def _rock(song: dict[str, Any]) -> Sketch:
    lines_s = np.array(song["bar_lines_s"], dtype=np.float64)
    n_bars = min(len(lines_s) - 1, len(song["analyst_1"]), len(song["analyst_2"]))
    first, second = song["analyst_1"][:n_bars], song["analyst_2"][:n_bars]
    bars, beats_s, chords = [0], [], []
    for number, bar in enumerate(first):
        n_beats = 4 if bar["common_time"] else 3
        beats_s += list(np.linspace(lines_s[number], lines_s[number + 1], n_beats + 1)[:-1])
        chords += _rock_chords(bar, bars[-1], n_beats)
        bars.append(bars[-1] + n_beats)
    tonics = [a["tonic"] if a["tonic"] == b["tonic"] else None
              for a, b in zip(first, second, strict=True)]  # fmt: skip
    return Sketch(
        name=song["id"],
        group="rock",
        beats_s=np.array([*beats_s, lines_s[n_bars]]),
        bars=tuple(bars),
        chords=tuple(_joined(chords)),
        keys=tuple(_rock_keys(tonics, first, second)),
        melody=tuple(_rock_melody(song["melody"], first, bars)),
        is_metre_sure=all(bar["common_time"] for bar in first),
    )


def _rock_chords(bar: dict[str, Any], start: int, n_beats: int) -> list[Sounding]:
    places = [entry[0] for entry in bar["chords"]] + [1.0]
    return [
        Sounding(
            start=start + places[number] * n_beats,
            stop=start + places[number + 1] * n_beats,
            root=(bar["tonic"] + entry[1]) % 12,
            intervals=tuple(entry[2]),
            bass=(bar["tonic"] + entry[1] + entry[3]) % 12,
        )
        for number, entry in enumerate(bar["chords"])
        if entry[1] is not None and places[number + 1] > places[number]
    ]


def _rock_keys(
    tonics: list[int | None], *analyses: list[dict[str, Any]]
) -> list[tuple[int, str] | None]:
    """A mode for each tonic: that of nearly all chords on it, by both analysts."""
    thirds: Counter[tuple[int, str]] = Counter()
    for bars in analyses:
        for bar in bars:
            places = [entry[0] for entry in bar["chords"]] + [1.0]
            for number, entry in enumerate(bar["chords"]):
                if entry[1] == 0:
                    kinds = [m for third, m in ((4, "major"), (3, "minor")) if third in entry[2]]
                    for kind in kinds:
                        thirds[bar["tonic"], kind] += places[number + 1] - places[number]
    keys: list[tuple[int, str] | None] = []
    for tonic in tonics:
        total = sum(thirds[tonic, m] for m in ("major", "minor")) if tonic is not None else 0
        sure = [m for m in ("major", "minor") if total and thirds[tonic, m] >= SURE_SHARE * total]
        keys.append((tonic, sure[0]) if sure and tonic is not None else None)
    return keys


def _rock_melody(
    notes: list[list[float]] | None, bars: list[dict[str, Any]], starts: list[int]
) -> list[Tone]:
    """Onsets with pitches; a note lasts until the next one, two beats at most."""
    placed = []
    for bar, place, above in notes or []:
        if 0 <= bar < len(bars):
            n_beats = starts[int(bar) + 1] - starts[int(bar)]
            start = starts[int(bar)] + place * n_beats
            placed.append((start, 60 + bars[int(bar)]["tonic"] + int(above)))
    placed.sort()
    ends = [start for start, _ in placed[1:]] + [float(starts[-1])] * bool(placed)
    return [
        Tone(start=start, length=float(np.clip(end - start, 0.1, 2.0)), midi=midi)
        for (start, midi), end in zip(placed, ends, strict=True)
    ]


def pop_folders(path: Path) -> list[Path]:
    """The folders of the pop songs [W20]_, out of a folder or a packed one."""
    folder = path
    if not path.is_dir():
        folder = Path(tempfile.gettempdir()) / "segue-pop-songs"
        if not folder.is_dir():
            with tarfile.open(path) as packed:
                packed.extractall(folder, filter="data")
    return [found.parent for found in sorted(folder.rglob("chord_midi.txt"))]


def pop_name(folder: Path) -> str:
    """What a pop song is called here."""
    return f"pop{folder.name}"


@cache
def pop_sketch(folder: Path, downs: tuple[int, ...] | None = None) -> Sketch | None:
    """A pop song, None where its bars do not add up; `downs` says on which beats bars start."""
    import pretty_midi

    table = np.loadtxt(folder / "beat_midi.txt")
    beats_s = table[:, 0]
    bars = np.flatnonzero(table[:, 2] == 1.0) if downs is None else np.array(downs)
    lengths = np.diff(bars)
    if len(bars) < 12 or np.any(lengths <= 0):
        return None
    usual = int(np.bincount(lengths).argmax())
    if usual not in (3, 4, 6) or np.mean(lengths == usual) < 0.8:
        return None
    midi = pretty_midi.PrettyMIDI(str(folder / f"{folder.name}.mid"))
    parts = {track.name: _tones(track.notes, beats_s) for track in midi.instruments}
    chords = _pop_chords(folder / "chord_midi.txt", beats_s)
    keys = _pop_keys(folder / "key_audio.txt", beats_s, bars, chords)
    return Sketch(
        name=pop_name(folder),
        group="pop",
        beats_s=beats_s[: bars[-1] + 1] if len(beats_s) > bars[-1] else beats_s,
        bars=tuple(int(down) for down in bars),
        chords=tuple(_joined(chords)),
        keys=keys,
        melody=parts.get("MELODY", ()),
        parts=tuple((name, parts.get(name, ())) for name in ("BRIDGE", "PIANO")),
        is_metre_sure=usual == 4,
    )


def _tones(notes: list[Any], beats_s: np.ndarray) -> tuple[Tone, ...]:
    grid = np.arange(len(beats_s))
    return tuple(
        Tone(
            start=float(np.interp(note.start, beats_s, grid)),
            length=max(float(np.interp(note.end, beats_s, grid)
                             - np.interp(note.start, beats_s, grid)), 0.05),
            midi=int(note.pitch),
            velocity=int(note.velocity),
        )
        for note in notes
        if beats_s[0] - 0.01 <= note.start < beats_s[-1]
    )  # fmt: skip


def _pop_chords(path: Path, beats_s: np.ndarray) -> list[Sounding]:
    grid = np.arange(len(beats_s))
    chords = []
    for line in path.read_text().splitlines():
        start_s, stop_s, name = line.split()
        read = read_chord(name)
        if read:
            start, stop = np.interp([float(start_s), float(stop_s)], beats_s, grid)
            root, intervals, bass = read
            if stop > start:
                chords.append(Sounding(start=float(start), stop=float(stop), root=root,
                                       intervals=intervals, bass=bass))  # fmt: skip
    return chords


def read_chord(name: str) -> tuple[int, tuple[int, ...], int] | None:
    """Root, intervals and bass of a chord in Harte's notation (ISMIR 2005), None for none."""
    if name.startswith(NO_CHORD) or ":" not in name:
        return None
    letter, _, rest = name.partition(":")
    quality, _, below = rest.partition("/")
    root = pitch_class(letter)
    intervals = QUALITIES.get(quality) or QUALITIES.get(quality.partition("(")[0])
    if intervals is None:
        intervals = QUALITIES["min" if quality.startswith("min") else "maj"]
    flats = below.count("b") - below.count("#")
    degree = DEGREES.get(below.strip("b#"), 0) - flats if below else 0
    return root, intervals, (root + degree) % 12


def pitch_class(name: str) -> int:
    """Pitch class of a note's name."""
    return (NOTE_NAMES[name[0]] + name.count("#") - name[1:].count("b")) % 12


def _pop_keys(
    path: Path, beats_s: np.ndarray, downs: np.ndarray, chords: list[Sounding]
) -> tuple[tuple[int, str] | None, ...]:
    """The key that the data set gives for each bar, where chords on its tonic agree in mode."""
    keys: list[tuple[int, str] | None] = [None] * (len(downs) - 1)
    for line in path.read_text().splitlines():
        start_s, stop_s, name = line.split()
        letter, _, mode_name = name.partition(":")
        key = (pitch_class(letter), "minor" if mode_name == "min" else "major")
        for bar, down in enumerate(downs[:-1]):
            middle_s = (beats_s[down] + beats_s[downs[bar + 1]]) / 2
            if float(start_s) <= middle_s < float(stop_s):
                keys[bar] = key
    third = {"major": MAJOR_THIRD, "minor": MINOR_THIRD}
    for key in {key for key in keys if key}:
        inside = [c for c in chords if c.root == key[0]]
        total = sum(c.stop - c.start for c in inside)
        fitting = sum(c.stop - c.start for c in inside if third[key[1]] in c.intervals)
        if not total or fitting < SURE_SHARE * total:
            keys = [None if other == key else other for other in keys]
    return tuple(keys)


def _joined(chords: list[Sounding]) -> list[Sounding]:
    """Chords without a change joined into one."""
    out: list[Sounding] = []
    for chord in chords:
        last = out[-1] if out else None
        is_same = last is not None and abs(last.stop - chord.start) < 1e-6 and (
            (last.root, last.intervals, last.bass) == (chord.root, chord.intervals, chord.bass)
        )  # fmt: skip
        if is_same and last is not None:
            out[-1] = Sounding(start=last.start, stop=chord.stop, root=chord.root,
                               intervals=chord.intervals, bass=chord.bass)  # fmt: skip
        else:
            out.append(chord)
    return out
