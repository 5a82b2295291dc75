"""Edges of analysed rock songs, pop songs and loops, rendered with their truth.

``python -m benchmarks.rendered_songs --split fit --items 500 --into FOLDER`` writes FLAC
files and ``index.json`` in the form of ``benchmarks.ears_set``, with a few facts more. Edges
are cut on bar lines anywhere, in the middle of loops, in fades and at the real end; no song
belongs to two splits. What is there already is not made again, so more can be asked for.

Where the songs and the SoundFonts are is said by ``--rock``, ``--pop`` and ``--soundfonts``, or
by the environment: ``SEGUE_ROCK_SONGS``, ``SEGUE_POP_SONGS``, ``SEGUE_SOUNDFONTS`` (folders,
with colons between).
"""

import argparse
import json
import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np
import soundfile

from benchmarks import _song_effects as effects
from benchmarks._draft import PITCH_CLASSES, Edge, tempo_facts
from benchmarks._render import DRUM_CHANNEL, RATE_HZ, Note, Performance, Voice, render
from benchmarks._song_loops import loop_sketch
from benchmarks._song_players import BASS, COMP, PIANO, Players, close, drawn_players, played
from benchmarks._song_produced import GROUP as PRODUCED
from benchmarks._song_produced import produced_players, produced_sketch, pumped
from benchmarks._song_sketch import (
    Sketch,
    Sounding,
    pop_folders,
    pop_name,
    pop_sketch,
    rock_sketches,
    split_of,
)

EDGE_S: Final = 45.0
GROUP_SHARES: Final = {"rock": 0.38, "pop": 0.32, "loop": 0.30}
FONT_SHARES: Final = {
    "FluidR3_GM": 0.32, "MuseScore_General": 0.24, "TimGM6mb": 0.22, "FluidR3Mono": 0.08,
    "OPL-3": 0.14,
}  # fmt: skip
DRUM_FONTS: Final = ("Black_Pearl", "Red_Zeppelin")
ENDINGS: Final = {"cut": 0.25, "stop": 0.3, "ring": 0.2, "fade": 0.25}
FADE_SHAPES: Final = ("decibels", "straight", "round", "late")
FELT_BAR_S: Final = 2.0
"""A bar in common time is felt at the octave that brings it nearest to this length."""
KEY_SHARE: Final = 0.85
UNHEARD_GAIN: Final = 0.03
PUMPED_SHARE: Final = 0.4
"""Of produced grooves, by judgement."""
SPLIT_NUMBERS: Final = {"fit": 0, "dev": 1, "report": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sources:
    """Where songs and sounds are found."""

    rock: Path | None
    pop: Path | None
    soundfonts: tuple[Path, ...]


Maker = Callable[[str, int, Sources], tuple[np.ndarray, dict[str, Any]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """Which bars become the edge, and how it ends or begins."""

    edge: Edge
    bars: tuple[int, int]
    kind: str
    fade_s: float
    fade_shape: str


@cache
def _rock(path: Path, split: str) -> tuple[Sketch, ...]:
    return tuple(song for song in rock_sketches(path) if split_of(song.name) == split)


@cache
def pop_songs(path: Path, split: str) -> tuple[Path, ...]:
    """The folders of the pop songs of a split."""
    return tuple(song for song in pop_folders(path) if split_of(pop_name(song)) == split)


@cache
def _fonts(folders: tuple[Path, ...]) -> dict[str, Path]:
    """SoundFonts by what they are known as here."""
    found = [p for folder in folders for p in sorted(folder.rglob("*")) if p.suffix in
             (".sf2", ".sf3")]  # fmt: skip
    known = (*FONT_SHARES, *DRUM_FONTS)
    return {name: p for name in known for p in reversed(found) if p.name.startswith(name)}


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeDraft:
    """An edge before it sounds: what is played, in seconds of the file, and the truth."""

    players: Players
    cut: Cut
    notes: tuple[Note, ...]
    length_s: float
    truth: dict[str, Any]


def drafted(sketch: Sketch, rng: np.random.Generator) -> EdgeDraft:
    """An arranged edge of a song."""
    sketch = varied(sketch, rng)
    cut = drawn_cut(sketch, rng)
    return arranged(sketch, cut, players_of(sketch, rng), rng)


def players_of(sketch: Sketch, rng: np.random.Generator) -> Players:
    """Who plays a song."""
    if sketch.group == PRODUCED:
        return produced_players(sketch, rng)
    return drawn_players(sketch, rng, drums=None)


def arranged(sketch: Sketch, cut: Cut, players: Players, rng: np.random.Generator) -> EdgeDraft:
    """An edge of a song as some players play it."""
    notes = played(sketch, players, cut.bars, rng)
    from_s, end_s = (float(sketch.beats_s[sketch.bars[bar]]) for bar in cut.bars)
    notes = let_go(sketch, players, cut, notes, end_s)
    lead_s = float(rng.choice([0.0, 0.02, 0.2, 0.6])) if cut.edge == "start" else 0.02
    tail_s = {"cut": 0.0, "stop": rng.uniform(0.2, 1.5), "fade": 0.0}.get(cut.kind, 3.5)
    to_s = min(end_s, from_s + EDGE_S) if cut.edge == "start" else end_s
    length_s = to_s - from_s + lead_s + (tail_s if cut.edge == "end" else 0.0)
    moved = tuple(replace(n, start_s=n.start_s - from_s + lead_s) for n in notes)
    truth = _truth(sketch, players, cut, moved, offset_s=lead_s - from_s, length_s=length_s)
    return EdgeDraft(players=players, cut=cut, notes=moved, length_s=length_s, truth=truth)


def made(split: str, number: int, sources: Sources) -> tuple[np.ndarray, dict[str, Any]]:
    """Sound and truth of an edge."""
    rng = np.random.default_rng([31, SPLIT_NUMBERS[split], number])
    sound, truth = sounded(drafted(drawn_sketch(split, sources, rng), rng), sources, rng)
    return sound, truth | {"split": split, "number": number}


def made_produced(split: str, number: int, sources: Sources) -> tuple[np.ndarray, dict[str, Any]]:
    """Sound and truth of a produced groove."""
    rng = np.random.default_rng([32, SPLIT_NUMBERS[split], number])
    sound, truth = sounded(drafted(produced_sketch(number, rng), rng), sources, rng)
    return sound, truth | {"split": split, "number": number}


def sounded(
    draft: EdgeDraft, sources: Sources, rng: np.random.Generator
) -> tuple[np.ndarray, dict[str, Any]]:
    """Sound and truth of an arranged edge."""
    font = drawn_font(sources, rng)
    cents = float(rng.uniform(-40, 40)) if rng.random() < 0.6 else 0.0
    performance = Performance(
        notes=draft.notes, voices=draft.players.voices, tuning_cents=cents,
        reverb_level=float(rng.uniform(0.1, 0.9)) if rng.random() < 0.4 else 0.0,
        room_size=float(rng.uniform(0.2, 0.8)),
    )  # fmt: skip
    audio = sound_of(performance, draft.length_s, font, sources, rng)
    if draft.truth["group"] == PRODUCED and rng.random() < PUMPED_SHARE:
        audio = pumped(audio, draft.truth["beats_s"], float(rng.uniform(0.3, 0.85)), RATE_HZ)
    drawn = effects.drawn_effects(rng)
    gain = effects.fader(len(audio), draft.cut.fade_s, draft.cut.fade_shape)
    sound = effects.with_effects(audio, drawn, gain, rng)
    return sound, draft.truth | {
        "tuning_cents": round(cents, 2), "is_lossy": drawn.coding is not None,
        "soundfont": font,
    }  # fmt: skip


def drawn_sketch(split: str, sources: Sources, rng: np.random.Generator) -> Sketch:
    """A song of a split, or a loop; loops stand in where songs are not there."""
    group = str(rng.choice(list(GROUP_SHARES), p=list(GROUP_SHARES.values())))
    if group == "rock" and sources.rock:
        songs = _rock(sources.rock, split)
        return songs[int(rng.integers(len(songs)))]
    if group == "pop" and sources.pop:
        folders = pop_songs(sources.pop, split)
        sketch = pop_sketch(folders[int(rng.integers(len(folders)))])
        if sketch:
            return sketch
    return loop_sketch(3 * int(rng.integers(10_000)) + SPLIT_NUMBERS[split], rng)


def varied(sketch: Sketch, rng: np.random.Generator) -> Sketch:
    """The song in another key, a little slower or faster."""
    up = int(rng.integers(-6, 6))
    stretch = float(np.exp(rng.normal(0, 0.08)))

    def moved(chord: Sounding) -> Sounding:
        return replace(chord, root=(chord.root + up) % 12, bass=(chord.bass + up) % 12)

    return replace(
        sketch,
        beats_s=(sketch.beats_s - sketch.beats_s[0]) * stretch,
        chords=tuple(moved(chord) for chord in sketch.chords),
        keys=tuple(key and ((key[0] + up) % 12, key[1]) for key in sketch.keys),
        melody=tuple(replace(tone, midi=tone.midi + up) for tone in sketch.melody),
        parts=tuple((name, tuple(replace(tone, midi=tone.midi + up) for tone in tones))
                    for name, tones in sketch.parts),
    )  # fmt: skip


def drawn_cut(sketch: Sketch, rng: np.random.Generator) -> Cut:
    """Bars of 45 s or a little less, cut on bar lines anywhere; a third where the song does."""
    edge: Edge = "end" if rng.random() < 0.5 else "start"
    lines_s = sketch.beats_s[list(sketch.bars)]
    is_real = rng.random() < 1 / 3
    kind, fade_s = "start" if is_real else "cut in", 0.0
    if edge == "start":
        latest = int(np.searchsorted(lines_s, lines_s[-1] - 25.0)) - 1
        first = 0 if is_real else int(rng.integers(max(latest, 1)))
        last = int(np.searchsorted(lines_s, lines_s[first] + EDGE_S + 1.0, side="right"))
        last = min(last, sketch.n_bars)
    else:
        kind = str(rng.choice(list(ENDINGS), p=list(ENDINGS.values())))
        earliest = int(np.searchsorted(lines_s, lines_s[0] + 25.0)) + 1
        last = sketch.n_bars
        if not is_real and earliest < sketch.n_bars:
            last = int(rng.integers(earliest, sketch.n_bars + 1))
        length_s = EDGE_S - (3.6 if kind == "ring" else 1.6)
        first = int(np.searchsorted(lines_s, lines_s[last] - length_s))
        fade_s = float(rng.uniform(5, 16)) if kind == "fade" else 0.0
    return Cut(edge=edge, bars=(first, max(last, first + 1)), kind=kind, fade_s=fade_s,
               fade_shape=str(rng.choice(FADE_SHAPES)))  # fmt: skip


def let_go(
    sketch: Sketch, players: Players, cut: Cut, notes: list[Note], end_s: float
) -> list[Note]:
    """Notes let go at the end, and a last chord where it rings."""
    if cut.edge == "start":
        return notes
    notes = [replace(n, length_s=max(min(n.length_s, end_s - n.start_s), 0.03)) for n in notes]
    if cut.kind != "ring":
        return notes
    chord = _last_chord(sketch, cut)
    if chord is None:
        return notes
    struck = [(players.comping[0][0] if players.comping else PIANO if players.written else COMP, m)
              for m in close(chord, 52)]  # fmt: skip
    struck += [(BASS, 28 + (chord.bass - 28) % 12)] if players.bass else []
    struck += [(DRUM_CHANNEL, 49), (DRUM_CHANNEL, 36)] if players.drums else []
    return notes + [
        Note(start_s=end_s, length_s=2.8, midi=midi, velocity=98, channel=channel)
        for channel, midi in struck
    ]


def _last_chord(sketch: Sketch, cut: Cut) -> Sounding | None:
    """What sounds last: the chord on the bar line of the end where it rings, else before it."""
    end = sketch.bars[cut.bars[1]]
    if cut.kind == "ring" and cut.bars[1] < sketch.n_bars:
        on_line = [c for c in sketch.chords if c.start <= end + 1e-6 < c.stop - 1e-6]
        if on_line:
            return on_line[0]
    before = [c for c in sketch.chords if c.start < end - 1e-6]
    return before[-1] if before else None


def drawn_font(sources: Sources, rng: np.random.Generator) -> str:
    """Which SoundFont plays an edge."""
    there = [name for name in FONT_SHARES if name in _fonts(sources.soundfonts)]
    if not there:
        msg = "no SoundFont found; say where they are with --soundfonts."
        raise SystemExit(msg)
    shares = np.array([FONT_SHARES[name] for name in there])
    return str(rng.choice(there, p=shares / shares.sum()))


def sound_of(
    performance: Performance,
    length_s: float,
    font: str,
    sources: Sources,
    rng: np.random.Generator,
) -> np.ndarray:
    """The rendering; a quarter of the drums are played by a kit of their own."""
    fonts = _fonts(sources.soundfonts)
    kits = [name for name in DRUM_FONTS if name in fonts]
    drums = tuple(n for n in performance.notes if n.channel == DRUM_CHANNEL)
    if not kits or not drums or rng.random() > 0.25:
        return render(performance, length_s=length_s, soundfont=fonts[font])
    rest = tuple(n for n in performance.notes if n.channel != DRUM_CHANNEL)
    band = replace(performance, notes=rest)
    struck = tuple(replace(n, channel=0) for n in drums)
    kit = replace(performance, notes=struck, voices={0: Voice(program=0)}, tuning_cents=0.0)
    audio = render(band, length_s=length_s, soundfont=fonts[font])
    hits = render(kit, length_s=length_s, soundfont=fonts[str(rng.choice(kits))])
    level = np.sqrt(np.mean(audio**2) + 1e-12) / np.sqrt(np.mean(hits**2) + 1e-12)
    return np.asarray(audio + level * 10 ** (rng.uniform(-9, 3) / 20) * hits)


def _truth(
    sketch: Sketch,
    players: Players,
    cut: Cut,
    notes: tuple[Note, ...],
    *,
    offset_s: float,
    length_s: float,
) -> dict[str, Any]:
    """The truth in seconds of the file, with the names that `benchmarks.ears` reads."""
    first, last = cut.bars
    heard_s = length_s
    if cut.fade_s:
        gain = effects.fader(round(length_s * RATE_HZ), cut.fade_s, cut.fade_shape)
        heard_s = float(np.searchsorted(-gain, -UNHEARD_GAIN)) / RATE_HZ
    beats_s, is_down, octave = felt_beats(sketch, first, last, rings=cut.kind == "ring")
    beats_s = beats_s + offset_s
    keep = (beats_s >= 0) & (beats_s < heard_s)
    beats_s, is_down = beats_s[keep], is_down[keep]
    bpm, bpm_range = tempo_facts(list(beats_s))
    written_s = sketch.beats_s[sketch.bars[first] : sketch.bars[last] + 1] + offset_s
    n_beats = sketch.bars[first + 1] - sketch.bars[first]
    key = _key(sketch, cut.bars)
    has_drums = any(note.channel == DRUM_CHANNEL for note in notes)
    return {
        "key": key and f"{PITCH_CLASSES[key[0]]} {key[1]}",
        "mode": key and key[1],
        "edge_chord": _edge_chord(sketch, cut, key, heard_s - offset_s),
        "chords": _chord_rows(sketch, cut.bars, offset_s),
        "tempo_bpm": bpm, "tempo_range_bpm": list(bpm_range),
        "beats_s": [round(float(t), 5) for t in beats_s],
        "downbeats_s": [round(float(t), 5) for t in beats_s[is_down]],
        "is_metre_sure": sketch.is_metre_sure, "felt_octave": octave,
        "written_beats_s": [round(float(t), 5) for t in written_s if 0 <= t < heard_s],
        "time_signature": f"{n_beats}/4", "metre": n_beats,
        "has_drums": has_drums, "kind": cut.kind, "fade_s": round(cut.fade_s, 2),
        "group": sketch.group, "style": sketch.loop or sketch.group, "piece": sketch.name,
        "is_soft": _is_soft(players, notes), "edge": cut.edge, "length_s": round(length_s, 4),
    }  # fmt: skip


def felt_beats(
    sketch: Sketch, first: int, last: int, *, rings: bool
) -> tuple[np.ndarray, np.ndarray, int]:
    """Beats at the octave that is felt, which are downbeats, and octaves above the written.

    In common time a bar is felt at the octave nearest to `FELT_BAR_S`; other metres stay.
    """
    starts = sketch.bars[first : last + 1]
    n_beats = starts[1] - starts[0]
    bar_s = float(np.median(np.diff(sketch.beats_s[list(starts)])))
    octave = round(np.log2(bar_s / FELT_BAR_S)) if n_beats == 4 else 0
    grid = np.arange(starts[0], starts[-1] + rings, 2.0**-octave)
    beats_s = np.interp(grid, np.arange(len(sketch.beats_s)), sketch.beats_s)
    if octave:
        places = np.round((grid - starts[0]) * 2**octave).astype(int)
        return beats_s, places % 4 == 0, int(octave)
    return beats_s, np.isin(np.round(grid).astype(int), starts), 0


def _key(sketch: Sketch, bars: tuple[int, int]) -> tuple[int, str] | None:
    """The key of nearly all bars, where it is sure and of one mode."""
    keys = sketch.keys[bars[0] : bars[1]]
    sure = [key for key in keys if key]
    if len(sure) < KEY_SHARE * len(keys) or not sure:
        return None
    best = max(set(sure), key=sure.count)
    return best if sure.count(best) >= KEY_SHARE * len(sure) else None


def _edge_chord(
    sketch: Sketch, cut: Cut, key: tuple[int, str] | None, heard_s: float
) -> dict[str, Any] | None:
    """The last chord that is heard of an ending, the first one of an opening."""
    chord = _last_chord(sketch, cut)
    if cut.edge == "start":
        first = sketch.bars[cut.bars[0]]
        chord = next((c for c in sketch.chords if c.stop > first + 1e-6), None)
    elif cut.kind == "fade":
        until = np.interp(heard_s, sketch.beats_s, np.arange(len(sketch.beats_s)))
        heard = [c for c in sketch.chords if c.start < until - 0.5]
        chord = heard[-1] if heard else chord
    if chord is None:
        return None
    above = (chord.root - key[0]) % 12 if key else None
    return {"root": chord.root, "intervals": list(chord.intervals), "bass": chord.bass,
            "semitones_above_tonic": above}  # fmt: skip


def _chord_rows(sketch: Sketch, bars: tuple[int, int], offset_s: float) -> list[list[Any]]:
    """Chords of the edge: start and stop in seconds of the file, root, intervals, bass."""
    first, last = sketch.bars[bars[0]], sketch.bars[bars[1]]
    grid = np.arange(len(sketch.beats_s))
    rows = []
    for chord in sketch.chords:
        if chord.stop > first and chord.start < last:
            span = np.clip([chord.start, chord.stop], first, last)
            start_s, stop_s = np.interp(span, grid, sketch.beats_s) + offset_s
            rows.append([round(float(start_s), 3), round(float(stop_s), 3), chord.root,
                         list(chord.intervals), chord.bass])  # fmt: skip
    return rows


def _is_soft(players: Players, notes: tuple[Note, ...]) -> bool:
    """Whether nothing that sounds has an attack to speak of."""
    from benchmarks._song_players import SOFT

    channels = {note.channel for note in notes}
    return DRUM_CHANNEL not in channels and all(
        players.voices[channel].program in SOFT for channel in channels
    )


def _item(
    make: Maker, split: str, number: int, sources: Sources, into: Path
) -> dict[str, Any] | None:
    path = into / "audio" / f"{number:05d}.flac"
    truth_path = path.with_suffix(".json")
    if not truth_path.exists():
        try:
            sound, truth = make(split, number, sources)
        except (ValueError, IndexError) as problem:  # too short a song, nothing sounding
            print(f"{split} {number}: {problem}", flush=True)
            return None
        soundfile.write(path, sound, effects.FILE_RATE_HZ, subtype="PCM_16")
        truth_path.write_text(json.dumps({"file": f"audio/{path.name}"} | truth))
    loaded: dict[str, Any] = json.loads(truth_path.read_text())
    return loaded


def sources_of(options: argparse.Namespace) -> Sources:
    """Where things are, from the command line or the environment."""
    fonts = options.soundfonts or os.environ.get("SEGUE_SOUNDFONTS", "/usr/share/sounds")
    return Sources(
        rock=_path(options.rock or os.environ.get("SEGUE_ROCK_SONGS")),
        pop=_path(options.pop or os.environ.get("SEGUE_POP_SONGS")),
        soundfonts=tuple(Path(folder) for folder in fonts.split(":")),
    )


def _path(text: str | None) -> Path | None:
    return Path(text) if text else None


def add_source_options(parser: argparse.ArgumentParser) -> None:
    """The options that `sources_of` reads."""
    parser.add_argument("--rock", help="file of analysed rock songs")
    parser.add_argument("--pop", help="file or folder of pop songs")
    parser.add_argument("--soundfonts", help="folders of SoundFonts, with colons between")


def main() -> None:
    """Render from the command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    add_source_options(parser)
    parser.add_argument("--split", choices=list(SPLIT_NUMBERS), required=True)
    parser.add_argument("--items", type=int, default=200)
    parser.add_argument("--produced", action="store_true", help="produced grooves, no songs")
    parser.add_argument("--into", type=Path, required=True)
    parser.add_argument("--workers", type=int, default=1)
    options = parser.parse_args()
    sources = sources_of(options)
    (options.into / "audio").mkdir(parents=True, exist_ok=True)
    index: list[dict[str, Any]] = []
    with ProcessPoolExecutor(max_workers=options.workers) as pool:
        make = made_produced if options.produced else made
        jobs = [pool.submit(_item, make, options.split, number, sources, options.into)
                for number in range(options.items)]  # fmt: skip
        for job in jobs:
            item = job.result()
            if item is not None:
                index.append(item)
            if len(index) % 50 == 0:
                _write_index(index, options.into)
    _write_index(index, options.into)
    print(f"{len(index)} edges in {options.into}")


def _write_index(index: list[dict[str, Any]], into: Path) -> None:
    if len(index) >= len(_read_index(into)):
        (into / "index.json").write_text(json.dumps(index, indent=1))


def _read_index(into: Path) -> list[dict[str, Any]]:
    path = into / "index.json"
    loaded: list[dict[str, Any]] = json.loads(path.read_text()) if path.exists() else []
    return loaded


if __name__ == "__main__":
    main()
