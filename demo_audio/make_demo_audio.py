"""Compose, play, mix and write the five demo songs and the exact truth about them.

Run ``python demo_audio/make_demo_audio.py`` on a machine with the ``fluidsynth``
command and Debian's ``fluid-soundfont-gm``; Python needs mido, numpy, scipy,
soundfile, pedalboard and pyloudnorm. The same seeds give the same music.
"""

from __future__ import annotations

import argparse
import io
import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt
import soundfile as sf
from demo_desks import desk_of
from demo_lead import render_lead
from demo_mix import CEILING_DBTP, loudness_lufs, mastered, sum_of, treated, true_peak_dbtp
from demo_ogg import vorbis
from demo_parts import bass_notes, chord_notes, drum_notes
from demo_score import Chord, Note, chords_of_text, lead_notes
from demo_songs import SONGS
from demo_sound import (
    BASS_FEEL,
    HANDS_FEEL,
    RATE_HZ,
    Audio,
    attack_frame,
    render_drums,
    render_part,
)

if TYPE_CHECKING:
    from demo_form import Section, Song

HALF: Final = 0.5
HERE: Final = Path(__file__).parent
HIGHEST_DBTP: Final = -1.1
"""Of the sum of the stems as decoded; above it, the master's ceiling comes down."""


SPANS: Final = {"keys": (53, 79), "guitar": (50, 72), "pad": (55, 79)}
VORBIS_QUALITY: Final = {"bass": 0.0, "lead": 0.1, "drums": 0.06, "keys": 0.06}
"""From 0 to 1; other stems 0."""


@dataclass(frozen=True, slots=True)
class Clock:
    """When each beat of a song is heard; beats before 0 are the pick-up.

    `swing` is the share of an eighth that its first sixteenth takes; 0.5 is straight.
    """

    knots_beats: npt.NDArray[np.float64]
    knots_s: npt.NDArray[np.float64]
    beat_s: float
    swing: float

    def __call__(self, beat: float) -> float:
        """Seconds from the start of the file."""
        eighth, place = divmod(2 * beat, 1)
        long = 2 * self.swing
        beat = (eighth + (place * long if place <= HALF else 1 - (1 - place) * (2 - long))) / 2
        if beat >= self.knots_beats[-1]:
            return float(self.knots_s[-1] + (beat - self.knots_beats[-1]) * self.beat_s)
        if beat < self.knots_beats[0]:
            return float(self.knots_s[0] - (self.knots_beats[0] - beat) * self.beat_s)
        return float(np.interp(beat, self.knots_beats, self.knots_s))


def clock_of(song: Song) -> Clock:
    """The song's clock: steady, after its free introduction where it has one."""
    beat_s = 60.0 / song.tempo_bpm
    start_s = song.before_s + song.pickup_beats * beat_s
    knots_s = start_s + np.concatenate([[0.0], np.cumsum(song.free_beats_s)])
    return Clock(np.arange(len(knots_s), dtype=np.float64), knots_s, beat_s, song.swing)


@dataclass(slots=True)
class Score:
    """All parts of a song in beats, and its chords."""

    parts: dict[str, list[Note]]
    chords: list[Chord]
    end_beat: float


def score_of(song: Song) -> Score:
    """Every section written out one after another."""
    score = Score({name: [] for name in song.programs}, [], -song.pickup_beats)
    for section in song.sections:
        bar_beats = section.bar_beats or song.bar_beats
        chords = chords_of_text(section.chords, first_beat=score.end_beat, bar_beats=bar_beats)
        _write_section(score.parts, section, chords, bar_beats)
        score.chords += chords
        score.end_beat = chords[-1].beat + chords[-1].beats
    return score


def _write_section(
    parts: dict[str, list[Note]], section: Section, chords: list[Chord], bar_beats: float
) -> None:
    first = chords[0].beat
    beats = chords[-1].beat + chords[-1].beats - first
    if section.bass:
        parts["bass"] += bass_notes(
            section.bass, chords, bar_beats=bar_beats, energy=section.energy
        )
    for name in ("keys", "guitar", "pad"):
        figure = getattr(section, name)
        if figure:
            parts[name] += chord_notes(
                figure, chords, bar_beats=bar_beats, energy=section.energy, span=SPANS[name]
            )
    if section.lead:
        parts["lead"] += lead_notes(section.lead, first_beat=first, bar_beats=bar_beats)
    if section.groove:
        parts["drums"] += _drums_of_section(section, first, beats, bar_beats)


def _drums_of_section(section: Section, first: float, beats: float, bar_beats: float) -> list[Note]:
    fill_beats = bar_beats if section.fill else 0.0
    hits = drum_notes(
        section.groove, first_beat=first, beats=beats - fill_beats, energy=section.energy
    )
    if section.fill:
        fill_first = first + beats - fill_beats
        hits += drum_notes(
            section.fill, first_beat=fill_first, beats=fill_beats, energy=section.energy
        )
    if section.crash:
        hits += drum_notes({"crash": "X"}, first_beat=first, beats=0.25, energy=section.energy)
    return hits


@dataclass(slots=True)
class Take:
    """A song as played: dry stems, and when things were heard."""

    stems: dict[str, Audio]
    drum_hits_s: list[float]
    phrases_s: list[tuple[float, float]]


def played(song: Song, score: Score, clock: Clock) -> Take:
    """Every part rendered dry, each with its own seeded looseness."""
    length_s = length_s_of(song, score, clock)
    take = Take({}, [], [])
    for place, (name, program) in enumerate(song.programs.items()):
        rng = np.random.default_rng([song.seed, place])
        notes = score.parts[name]
        if name == "drums":
            audio, take.drum_hits_s = render_drums(
                notes, program, clock, rng=rng, length_s=length_s
            )
        elif name == "lead":
            audio, take.phrases_s = render_lead(notes, program, clock, rng=rng, length_s=length_s)
        else:
            feel = BASS_FEEL if name == "bass" else HANDS_FEEL
            audio = render_part(notes, program, clock, feel=feel, rng=rng, length_s=length_s)
            if name == "guitar":  # played twice, a take a side, as records are made
                again = render_part(notes, program, clock, feel=feel, rng=rng, length_s=length_s)
                audio = np.stack([audio.mean(axis=1), again.mean(axis=1)], axis=1)
        take.stems[name] = audio
    return take


def length_s_of(song: Song, score: Score, clock: Clock) -> float:
    """Length of the files: to the bar line, or on until the last chord has died away."""
    if song.ending == "cold stop":
        return clock(score.end_beat - song.bar_beats) + song.after_s
    return clock(score.end_beat) + song.after_s


def mixed(
    song: Song, treated_stems: dict[str, Audio], fade_s: float, *, ceiling_dbtp: float
) -> dict[str, Audio]:
    """The finished stems: mastered together, faded from `fade_s` where the song fades."""
    stems = mastered(treated_stems, ceiling_dbtp=ceiling_dbtp)
    n_frames = len(next(iter(stems.values())))
    curve = np.ones(n_frames)
    if song.ending == "fade":
        start = round(fade_s * RATE_HZ)
        place = np.linspace(0, 1, n_frames - start)
        curve[start:] = (1 - place) ** 1.6
    elif song.ending != "keeps going":
        tail = round(min(1.5, song.after_s * 0.6) * RATE_HZ)
        curve[-tail:] = np.cos(np.linspace(0, np.pi / 2, tail)) ** 2
    return {name: stem * curve[:, None] for name, stem in stems.items()}


def encoded(song: Song, stems: dict[str, Audio]) -> dict[str, bytes]:
    """Each stem as an Ogg Vorbis file, mono where its desk is."""
    files = {}
    for place, (name, stem) in enumerate(stems.items()):
        channels = stem[:, :1] if desk_of(song, name).is_mono else stem
        quality = VORBIS_QUALITY.get(name, 0.0)
        files[name] = vorbis(channels, quality=quality, serial=100 * song.seed + place)
    return files


def heard(files: dict[str, bytes]) -> Audio:
    """The mix as a listener decodes it: the plain sum of the stems."""
    stems = {}
    for name, ogg in files.items():
        audio, _ = sf.read(io.BytesIO(ogg), dtype="float64", always_2d=True)
        stems[name] = np.repeat(audio, 2, axis=1) if audio.shape[1] == 1 else audio
    return sum_of(stems)


def printed(song: Song, take: Take, fade_s: float) -> tuple[dict[str, bytes], Audio]:
    """The stem files and their sum, with the ceiling low enough for what Vorbis adds."""
    strips = {name: treated(audio, desk_of(song, name)) for name, audio in take.stems.items()}
    ceiling_dbtp = CEILING_DBTP
    while True:
        files = encoded(song, mixed(song, strips, fade_s, ceiling_dbtp=ceiling_dbtp))
        mix = heard(files)
        over_db = true_peak_dbtp(mix) - HIGHEST_DBTP
        if over_db <= 0:
            return files, mix
        ceiling_dbtp -= over_db + 0.1


def write_song(song: Song, files: dict[str, bytes], folder: Path) -> None:
    """Write the stems, and the song's own notes where the band made some."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, ogg in files.items():
        (folder / f"{name}.ogg").write_bytes(ogg)
    if song.known:
        (folder / "song.toml").write_text(song.known, encoding="utf-8")


def truth_of(song: Song, score: Score, take: Take, clock: Clock) -> dict[str, object]:
    """What is true of the files, from the score and the measured attacks."""
    last_s = length_s_of(song, score, clock)
    steady_from = float(len(song.free_beats_s))
    every_beat = np.arange(steady_from, score.end_beat + 1e-6).tolist()
    beats = [beat for beat in every_beat if clock(beat) < last_s - 1e-3]
    first = score.parts["lead"][0]
    attack_s = _lead_attack_s(take.stems["lead"], take.phrases_s[0])
    others = [n for name in score.parts if name != "drums" for n in score.parts[name]]
    last_hit_s = max([*take.drum_hits_s, *(clock(note.beat) for note in others)])
    return {
        "folder": song.folder,
        "title": song.title,
        "key": song.key,
        "tempo_bpm": song.tempo_bpm,
        "metre": song.metre,
        "opening": song.opening,
        "ending": song.ending,
        "pickup_beats": song.pickup_beats,
        "swing": song.swing,
        "length_s": round(last_s, 4),
        "first_downbeat_s": round(clock(steady_from), 4),
        "last_hit_s": round(last_hit_s, 4),
        "fade_start_s": round(clock(score.end_beat - song.fade_beats), 4)
        if song.ending == "fade"
        else None,
        "first_note": {"midi": first.midi, "time_s": round(attack_s, 4)},
        "beats_s": [round(clock(beat), 4) for beat in beats],
        "downbeats_s": [
            round(clock(beat), 4) for beat in beats if (beat - steady_from) % song.bar_beats < 1e-6
        ],
        "free_intro_beats_s": [round(clock(beat), 4) for beat in range(int(steady_from))],
        "lead_phrases_s": [[round(a, 3), round(b, 3)] for a, b in take.phrases_s],
        "lead_notes": [
            {"midi": n.midi, "time_s": round(clock(n.beat), 4)} for n in score.parts["lead"]
        ],
        "chords": [{"symbol": c.symbol, "time_s": round(clock(c.beat), 4)} for c in score.chords],
        "sections": _sections_of(song, clock),
    }


def _lead_attack_s(lead: Audio, phrase_s: tuple[float, float]) -> float:
    start = max(0, round((phrase_s[0] - 0.1) * RATE_HZ))
    return (start + attack_frame(lead[start : start + round(0.35 * RATE_HZ)])) / RATE_HZ


def _sections_of(song: Song, clock: Clock) -> list[dict[str, object]]:
    rows: list[dict[str, object]] = []
    beat = -song.pickup_beats
    for section in song.sections:
        n_bars = section.chords.count("|") + 1
        rows.append({"name": section.name, "time_s": round(clock(beat), 4), "bars": n_bars})
        beat += n_bars * (section.bar_beats or song.bar_beats)
    return rows


def make_song(song: Song, out: Path) -> dict[str, object]:
    """Compose, play, mix and write one song; its truth comes back."""
    clock = clock_of(song)
    score = score_of(song)
    take = played(song, score, clock)
    files, mix = printed(song, take, clock(score.end_beat - song.fade_beats))
    write_song(song, files, out / song.folder)
    truth = truth_of(song, score, take, clock)
    truth["loudness_lufs"] = round(loudness_lufs(mix), 2)
    truth["true_peak_dbtp"] = round(true_peak_dbtp(mix), 2)
    return truth


def main() -> None:
    """Make the songs named on the command line (by number), or all of them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, default=HERE, help="folder to write into")
    parser.add_argument("numbers", type=int, nargs="*", help="song numbers; all when none")
    asked = parser.parse_args()
    path = asked.out / "truth.json"
    known = json.loads(path.read_text(encoding="utf-8"))["songs"] if path.exists() else []
    truths = {truth["folder"]: truth for truth in known}
    for song in SONGS:
        if not asked.numbers or song.seed in asked.numbers:
            truths[song.folder] = make_song(song, asked.out)
            print(song.title, truths[song.folder]["loudness_lufs"], "LUFS")
    songs = [truths[song.folder] for song in SONGS if song.folder in truths]
    text = json.dumps({"schema_version": 1, "rate_hz": RATE_HZ, "songs": songs}, indent=1)
    path.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
