"""The set of The Paper Ferries, an invented act: five songs, written out in full."""

from __future__ import annotations

from typing import Final

from demo_form import Section, Song
from demo_grooves import (
    DANCE,
    DANCE_CHORUS,
    DANCE_FILL,
    DANCE_INTRO,
    HARD_HIT,
    LAST_HIT,
    LAST_WALTZ,
    PICKUP_FILL,
    ROCK,
    ROCK_BREAK,
    ROCK_CHORUS,
    ROCK_FILL,
    ROCK_INTRO,
    SHUFFLE,
    SHUFFLE_CHORUS,
    SHUFFLE_FILL,
    SLOW,
    SLOW_CHORUS,
    SLOW_FILL,
    SLOW_INTRO,
    TOM_FILL,
    WALTZ,
    WALTZ_CHORUS,
    WALTZ_FILL,
    WALTZ_INTRO,
)

COPPER_RIFF: Final = (
    "R:.5 R:.5 r:.5 R:.5 8:.5 R:.5 5:.5 8:.5 | R:.5 R:.5 r:.5 R:.5 8:.5 5:.5 R:.5 a:.5"
)
COPPER_DRIVE: Final = (
    "R:.5 R:.5 R:.5 8:.5 R:.5 R:.5 8:.5 R:.5 | R:.5 R:.5 R:.5 8:.5 R:.5 5:.5 R:.5 a:.5"
)

COPPER = Song(
    folder="01 Copper Wire Morning",
    title="Copper Wire Morning",
    key="E minor",
    tempo_bpm=124.0,
    metre=4,
    opening="on the beat",
    ending="keeps going",
    before_s=0.12,
    programs={"drums": 8, "bass": 34, "keys": 16, "guitar": 27, "lead": 110},
    seed=1,
    sections=(
        Section(
            name="intro",
            chords="Em | Em | Cmaj7 | B7",
            groove=ROCK_INTRO,
            crash=True,
            bass=COPPER_RIFF,
            guitar="1:.5 3:.5 2:.5 3:.5 1:.5 3:.5 2:.5 4:.5",
            energy=0.9,
        ),
        Section(
            name="intro, all in",
            chords="Em | Em/D | Cmaj7 | B7",
            groove=ROCK,
            fill=ROCK_FILL,
            crash=True,
            bass=COPPER_RIFF,
            keys="X:1.5 x:2.5",
            guitar="1:.5 3:.5 2:.5 3:.5 1:.5 3:.5 2:.5 4:.5",
        ),
        Section(
            name="verse",
            chords="Em | Em7 | Am7 | Em | Cmaj7 | Am7 | B7 | B7",
            groove=ROCK,
            fill=ROCK_FILL,
            bass="R:1.5 R:.5 5:.5 R:.5 8:.5 R:.5 | R:1.5 R:.5 5:.5 8:.5 R:.5 a:.5",
            keys="x:4",
            guitar="r:.5 x:.5 r:.5 x:.25 r:.25 r:.5 x:.5 r:.5 x:.25 x:.25",
            lead="r:1 B4:.5 E5:1 D5:.5 B4:1 | A4:.5 B4:.5 G4:2 r:1 |"
            "r:.5 E4:.5 A4:1 C5:.5 B4:.5 A4:1 | G4:.5 A4:.5 B4:2 r:1 |"
            "r:.5 G4:.5 C5:1 B4:.5 A4:.5 G4:1 | E4:.5 G4:.5 A4:2 r:1 |"
            "r:.5 F#4:.5 B4:1 A4:.5 B4:.5 D#5:1 | F#5:1.5 D#5:.5 B4:1 r:1",
            energy=0.92,
        ),
        Section(
            name="chorus",
            chords="Em | Em/D | Cmaj7 | B7 | Em | Em/D | Am7 B7 | Em",
            groove=ROCK_CHORUS,
            fill=TOM_FILL,
            crash=True,
            bass=COPPER_DRIVE,
            keys="X:1.5 x:1.5 x:1",
            guitar="X:.5 x:.5 x:.5 X:.5 x:.5 x:.5 X:.5 x:.5",
            lead="E5:1.5 F#5:.5 G5:1.5 F#5:.5 | E5:.5 D5:.5 B4:2 r:1 |"
            "E5:1 D5:.5 C5:.5 B4:1 G4:1 | F#4:.5 G4:.5 F#4:2 r:1 |"
            "E5:1.5 F#5:.5 G5:1.5 A5:.5 | G5:.5 F#5:.5 E5:2 r:1 |"
            "C5:1 E5:1 D#5:1 F#5:1 | E5:3 r:1",
            energy=1.06,
        ),
        Section(
            name="break",
            chords="Am7 | Em/G | F#m7b5 | B7",
            groove=ROCK_BREAK,
            fill=TOM_FILL,
            bass="R:4",
            keys="x:4",
            guitar="1:.5 2:.5 3:.5 4:.5 3:.5 2:.5 3:.5 4:.5",
            energy=0.86,
        ),
        Section(
            name="last chorus",
            chords="Em | Em/D | Cmaj7 | B7 | Em | Em/D | Am7 | B7",
            groove=ROCK_CHORUS,
            fill=ROCK_FILL,
            crash=True,
            bass=COPPER_DRIVE,
            keys="X:1.5 x:1.5 x:1",
            guitar="X:.5 x:.5 x:.5 X:.5 x:.5 x:.5 X:.5 x:.5",
            lead="E5:1.5 F#5:.5 G5:1.5 F#5:.5 | E5:.5 D5:.5 B4:2 r:1 |"
            "E5:1 D5:.5 C5:.5 B4:1 G4:1 | F#4:.5 G4:.5 F#4:2 r:1 |"
            "E5:1.5 F#5:.5 G5:1.5 A5:.5 | G5:.5 F#5:.5 E5:2 r:1 |"
            "r:.5 C5:.5 E5:1 D5:.5 C5:.5 A4:1 | B4:1 F#4:.5 A4:.5 B4:1.5 r:.5",
            energy=1.08,
        ),
    ),
)

TELEGRAPH = Song(
    folder="02 Low Tide Telegraph",
    title="Low Tide Telegraph",
    key="F minor",
    tempo_bpm=96.0,
    metre=4,
    opening="on the beat",
    ending="cold stop",
    before_s=0.2,
    after_s=0.9,
    programs={"drums": 0, "bass": 33, "keys": 4, "lead": 85},
    seed=2,
    swing=0.57,
    sections=(
        Section(
            name="intro",
            chords="Fm9 | Dbmaj7 | Bbm9 | C7",
            groove=SLOW_INTRO,
            fill=SLOW_FILL,
            bass="R:1.5 R:.25 r:.75 5:.5 8:.5 a:.5",
            keys="X:1.5 x:.5 r:.5 x:1 n:.5",
            energy=0.88,
        ),
        Section(
            name="verse",
            chords="Fm7 | Fm7/Eb | Dbmaj7 | C7 | Fm7 | Bbm7 | Dbmaj7 C7 | Fm7",
            groove=SLOW,
            fill=SLOW_FILL,
            crash=True,
            bass="R:1.5 R:.25 r:.75 5:.5 8:.5 a:.5 | R:.75 R:.25 r:.75 R:.75 8:.5 5:.5 a:.5",
            keys="X:1.5 x:.5 r:.5 x:1.5",
            lead="r:.5 C4:.5 F4:1 Ab4:.5 G4:.5 F4:1 | Eb4:.5 F4:.5 C4:2 r:1 |"
            "r:.5 Db4:.5 F4:1 Ab4:1 F4:1 | G4:1 E4:.5 G4:.5 C4:1 r:1 |"
            "r:.5 C4:.5 F4:1 Ab4:.5 Bb4:.5 C5:1 | Db5:.5 C5:.5 Bb4:2 r:1 |"
            "r:.5 Ab4:.5 F4:1 G4:.5 Ab4:.5 E4:1 | F4:3 r:1",
            energy=0.95,
        ),
        Section(
            name="chorus",
            chords="Bbm7 | Eb7 | Abmaj7 | Dbmaj7 | Gm7b5 | C7 | Fm7 | C7",
            groove=SLOW_CHORUS,
            fill=TOM_FILL,
            crash=True,
            bass="R:.75 R:.25 r:.5 8:.5 R:.75 5:.25 R:.5 a:.5",
            keys="X:1 x:.5 x:1 x:.5 r:.5 n:.5",
            lead="Db5:1.5 C5:.5 Bb4:1 Ab4:1 | G4:.5 Ab4:.5 Bb4:2 r:1 |"
            "C5:1.5 Bb4:.5 Ab4:1 G4:1 | F4:.5 G4:.5 Ab4:2 r:1 |"
            "Bb4:1 Db5:.5 Bb4:.5 G4:1 F4:1 | E4:.5 F4:.5 G4:2 r:1 |"
            "r:.5 C4:.5 F4:.5 G4:.5 Ab4:1 C5:1 | Bb4:.5 Ab4:.5 G4:2 r:1",
            energy=1.04,
        ),
        Section(
            name="outro",
            chords="Fm9 | Bbm9 | Dbmaj7 C7 | Fm9 | Fm7/Eb | Dbmaj7 | Bbm7 | C7",
            groove=SLOW_CHORUS,
            fill=TOM_FILL,
            crash=True,
            bass="R:1.5 R:.25 r:.75 5:.5 8:.5 a:.5 | R:.75 R:.25 r:.75 R:.75 8:.5 5:.5 a:.5",
            keys="X:1.5 x:.5 r:.5 x:1 n:.5",
            lead="r:1 C5:1 Ab4:1 F4:1 | F4:.5 Ab4:.5 Db5:2 r:1 |"
            "r:.5 C5:.5 Ab4:.5 F4:.5 E4:1 G4:1 | F4:3 r:1 |"
            "r:1 Ab4:1 Bb4:.5 Ab4:.5 F4:1 | F4:.5 Ab4:.5 F4:2 r:1 |"
            "r:.5 Db5:.5 C5:.5 Bb4:.5 Ab4:.5 Bb4:.5 F4:1 | G4:1 E4:1 G4:1 C5:1",
            energy=1.06,
        ),
        Section(
            name="stop",
            chords="Fm",
            groove=HARD_HIT,
            bass="R:.4 r:3.6",
            keys="X:.4 r:3.6",
            lead="F4:.5 r:3.5",
            energy=1.18,
        ),
    ),
)

MARIGOLD = Song(
    folder="03 Marigold and Rain",
    title="Marigold and Rain",
    key="D major",
    tempo_bpm=112.0,
    metre=3,
    bar_beats=3.0,
    opening="on the beat",
    ending="ring-out",
    before_s=0.05,
    after_s=0.9,
    programs={"drums": 40, "bass": 32, "keys": 0, "lead": 71},
    seed=3,
    known='title = "Marigold and Rain"\nkey = "D major"\ntempo_bpm = 112.0\nmetre = 3\n\n'
    '[roles]\n"drums.ogg" = "drums"\n"bass.ogg" = "bass"\n"keys.ogg" = "keys"\n'
    '"lead.ogg" = "lead"\n',
    sections=(
        Section(
            name="intro, piano",
            chords="D | D/F# | G | A7",
            groove=WALTZ_INTRO,
            keys="1:.5 2:.5 3:.5 4:.5 3:.5 2:.5",
            bass="R:2.5 r:.5",
            energy=0.84,
        ),
        Section(
            name="intro, band",
            chords="D | Bm7 | Em7 | A7",
            groove=WALTZ,
            fill=WALTZ_FILL,
            bass="R:1.5 5:1 r:.5 | R:2 a:1",
            keys="1:.5 2:.5 3:.5 4:.5 3:.5 2:.5",
            energy=0.9,
        ),
        Section(
            name="verse",
            chords="D | D/F# | G | G | Em7 | A7 | D | A7 |D | D/F# | G | Gm6 | D | A7 | D | D",
            groove=WALTZ,
            fill=WALTZ_FILL,
            bass="R:1.5 5:1 r:.5 | R:2 a:1",
            keys="X:1 x:1 x:.5 1:.5 | X:1 x:1 x:1",
            lead="F#4:2 A4:1 | D5:2 A4:1 | B4:2 G4:1 | D4:2 r:1 |"
            "E4:1 G4:1 B4:1 | C#5:1.5 B4:.5 A4:1 | F#4:2 G4:1 | E4:2 r:1 |"
            "F#4:2 A4:1 | D5:2 E5:1 | D5:1 B4:1 G4:1 | Bb4:2 r:1 |"
            "A4:1 F#4:1 A4:1 | G4:1.5 F#4:.5 E4:1 | D4:3 | ~:1 r:2",
            energy=0.95,
        ),
        Section(
            name="chorus",
            chords="G | A7 | F#m7 | Bm7 | Em7 | A7 | D | D7",
            groove=WALTZ_CHORUS,
            fill=WALTZ_FILL,
            crash=True,
            bass="R:1 5:1 8:.5 5:.5 | R:1.5 5:.5 a:1",
            keys="X:1 x:.5 x:.5 x:1",
            lead="B4:1 D5:1 G5:1 | E5:2 C#5:1 | A4:1 C#5:1 F#5:1 | D5:2 r:1 |"
            "G4:1 B4:1 E5:1 | C#5:1.5 B4:.5 A4:1 | F#5:3 | ~:1 r:2",
            energy=1.06,
        ),
        Section(
            name="outro",
            chords="G | A7 | D/F# | Bm7 | Em7 | A7 | D | D",
            groove=WALTZ_CHORUS,
            fill=WALTZ_FILL,
            bass="R:1 5:1 8:.5 5:.5 | R:1.5 5:.5 a:1",
            keys="X:1 x:.5 x:.5 x:1",
            lead="B4:1 D5:1 G5:1 | E5:2 C#5:1 | D5:1 A4:1 F#4:1 | B4:2 r:1 |"
            "G4:1 A4:1 B4:1 | C#5:1.5 D5:.5 E5:1 | D5:3 | ~:2 r:1",
            energy=1.0,
        ),
        Section(
            name="last chord",
            chords="D | D",
            groove=LAST_WALTZ,
            bass="R:3 | ~:3",
            keys="X:3 | ~:3",
            energy=0.95,
        ),
    ),
)

BICYCLE = Song(
    folder="04 Borrowed Bicycle",
    title="Borrowed Bicycle",
    key="G major",
    tempo_bpm=104.0,
    metre=4,
    opening="pick-up",
    ending="fade",
    pickup_beats=2.0,
    before_s=0.15,
    fade_beats=28.0,
    programs={"drums": 0, "bass": 33, "keys": 5, "guitar": 25, "lead": 65},
    seed=4,
    swing=0.56,
    sections=(
        Section(
            name="pick-up",
            chords="D7",
            groove=PICKUP_FILL,
            bass="r:1 D2:.5 F#2:.5",
            lead="D4:.5 E4:.5 G4:.5 A4:.5",
            bar_beats=2.0,
        ),
        Section(
            name="intro hook",
            chords="G | Em7 | C | D7",
            groove=SHUFFLE,
            fill=SHUFFLE_FILL,
            crash=True,
            bass="R:1 r:.5 R:.5 5:.5 R:.5 8:.5 a:.5",
            keys="r:1 x:.5 r:1.5 x:.5 r:.5",
            guitar="X:1 x:.5 x:.5 r:.5 x:.5 x:.5 x:.5",
            lead="B4:1.5 A4:.5 G4:1 E4:1 | G4:.5 A4:.5 B4:2 r:1 |"
            "E5:1.5 D5:.5 C5:1 G4:1 | A4:2.5 r:1.5",
        ),
        Section(
            name="verse",
            chords="G | Em7 | C | D | G | Em7 | Am7 | D7",
            groove=SHUFFLE,
            fill=SHUFFLE_FILL,
            bass="R:1 r:.5 R:.5 5:.5 R:.5 8:.5 a:.5",
            keys="r:1 x:.5 r:1.5 x:.5 r:.5",
            guitar="X:1 x:.5 x:.5 r:.5 x:.5 x:.5 x:.5",
            lead="B4:1 D5:.5 B4:.5 A4:1 G4:1 | E4:.5 G4:.5 G4:2 r:1 |"
            "r:.5 E4:.5 G4:1 A4:.5 B4:.5 G4:1 | A4:3 r:1 |"
            "B4:1 D5:.5 B4:.5 A4:1 G4:1 | B4:.5 A4:.5 G4:2 r:1 |"
            "r:.5 E4:.5 A4:1 C5:.5 B4:.5 A4:1 | F#4:1 A4:1 D5:1 r:1",
            energy=0.94,
        ),
        Section(
            name="chorus",
            chords="C | D | G | Em7 | Am7 | D7 | G | G",
            groove=SHUFFLE_CHORUS,
            fill=SHUFFLE_FILL,
            crash=True,
            bass="R:.5 R:.5 r:.5 R:.5 5:.5 8:.5 5:.5 a:.5",
            keys="X:1.5 x:1 x:1.5",
            guitar="X:.5 x:.5 x:.5 x:.5 X:.5 x:.5 x:.5 x:.5",
            lead="E5:1.5 D5:.5 C5:1 G4:1 | F#4:.5 A4:.5 D5:2 r:1 |"
            "B4:1 D5:1 G5:1 D5:1 | E5:.5 D5:.5 B4:2 r:1 |"
            "C5:1 E5:1 D5:.5 C5:.5 A4:1 | F#4:1 A4:1 C5:1 A4:1 |"
            "B4:.5 A4:.5 G4:2.5 r:.5 | r:4",
            energy=1.04,
        ),
        Section(
            name="vamp",
            chords="G | Em7 | C | D7 | G | Em7 | C | D7",
            groove=SHUFFLE_CHORUS,
            fill=SHUFFLE_FILL,
            crash=True,
            bass="R:1 r:.5 R:.5 5:.5 R:.5 8:.5 a:.5",
            keys="X:1.5 x:1 x:1.5",
            guitar="X:1 x:.5 x:.5 r:.5 x:.5 x:.5 x:.5",
            lead="B4:1.5 A4:.5 G4:1 E4:1 | G4:.5 A4:.5 B4:2 r:1 |"
            "E5:1.5 D5:.5 C5:1 G4:1 | A4:2.5 r:1.5 |"
            "B4:1.5 D5:.5 G5:1 E5:1 | D5:.5 B4:.5 A4:.5 G4:1.5 r:1 |"
            "E5:1.5 D5:.5 C5:1 G4:1 | F#4:.5 A4:.5 D5:2 r:1",
            energy=1.02,
        ),
    ),
)

WINDOW = Song(
    folder="05 Every Window Lit",
    title="Every Window Lit",
    key="Bb major",
    tempo_bpm=128.0,
    metre=4,
    opening="free intro",
    ending="ring-out",
    before_s=0.3,
    after_s=1.3,
    free_beats_s=(
        *(0.74, 0.70, 0.72, 0.78),
        *(0.71, 0.68, 0.70, 0.76),
        *(0.70, 0.66, 0.69, 0.78),
        *(0.74, 0.78, 0.86, 1.05),
    ),
    programs={"drums": 16, "bass": 38, "keys": 0, "pad": 48, "lead": 66},
    seed=5,
    known='title = "Every Window Lit"\n\n[roles]\n"drums.ogg" = "drums"\n"bass.ogg" = "bass"\n'
    '"keys.ogg" = "keys"\n"pad.ogg" = "synth"\n"lead.ogg" = "voice"\n',
    sections=(
        Section(
            name="free introduction",
            chords="Bbmaj9 | Gm9 | Ebmaj9 | F7sus4",
            keys="x:1 2:.5 3:.5 4:1 3:1 | x:1 2:.5 4:.5 3:1 4:1",
            pad="x:4",
            energy=0.98,
        ),
        Section(
            name="groove in",
            chords="Bb | Gm7 | Ebmaj7 | F7",
            groove=DANCE_INTRO,
            fill=DANCE_FILL,
            crash=True,
            bass="R:.5 8:.5 R:.5 8:.5 R:.5 8:.5 R:.5 8:.5",
            keys="X:.75 x:.75 x:1 x:.75 x:.75",
            pad="x:4",
            energy=0.95,
        ),
        Section(
            name="verse",
            chords="Bb | Dm7 | Gm7 | Gm7 | Ebmaj7 | Cm7 | F7sus4 | F7",
            groove=DANCE,
            fill=DANCE_FILL,
            crash=True,
            bass="R:.5 8:.5 R:.5 8:.5 R:.5 8:.5 5:.5 a:.5",
            keys="X:.75 x:.75 x:1 x:.75 x:.75",
            lead="r:.5 F4:.5 Bb4:1 C5:.5 D5:.5 Bb4:1 | A4:.5 F4:.5 A4:2 r:1 |"
            "r:.5 G4:.5 Bb4:1 D5:.5 C5:.5 Bb4:1 | G4:1 Bb4:1 D5:1 r:1 |"
            "r:.5 G4:.5 Bb4:1 D5:1 Eb5:1 | D5:.5 C5:.5 Bb4:2 r:1 |"
            "r:.5 C5:.5 Eb5:1 D5:.5 C5:.5 Bb4:1 | A4:1 C5:1 F5:1 r:1",
            energy=0.98,
        ),
        Section(
            name="chorus",
            chords="Ebmaj7 | F7 | Dm7 | Gm7 | Cm7 | F7 | Bb | Bb",
            groove=DANCE_CHORUS,
            fill=DANCE_FILL,
            crash=True,
            bass="R:.5 8:.5 R:.5 8:.5 R:.5 8:.5 5:.5 a:.5",
            keys="X:.75 x:.75 x:1 X:.75 x:.75",
            pad="x:4",
            lead="G5:1.5 F5:.5 Eb5:1 Bb4:1 | A4:.5 C5:.5 F5:2 r:1 |"
            "F5:1.5 Eb5:.5 D5:1 A4:1 | Bb4:.5 C5:.5 D5:2 r:1 |"
            "Eb5:1 D5:.5 C5:.5 G4:1 C5:1 | A4:.5 Bb4:.5 C5:1 Eb5:1 r:1 |"
            "D5:.5 C5:.5 Bb4:2.5 r:.5 | r:4",
            energy=1.06,
        ),
        Section(
            name="last chorus",
            chords="Ebmaj7 | F7 | Bb | Gm7 | Cm7 | F7 | Ebmaj7 | F7",
            groove=DANCE_CHORUS,
            fill=DANCE_FILL,
            crash=True,
            bass="R:.5 8:.5 R:.5 8:.5 R:.5 8:.5 5:.5 a:.5",
            keys="X:.75 x:.75 x:1 X:.75 x:.75",
            pad="x:4",
            lead="G5:1.5 F5:.5 Eb5:1 Bb4:1 | A4:.5 C5:.5 F5:2 r:1 |"
            "D5:1 F5:1 Bb5:1 F5:1 | G5:.5 F5:.5 D5:2 r:1 |"
            "Eb5:1 D5:.5 C5:.5 G4:1 C5:1 | A4:.5 Bb4:.5 C5:1 Eb5:1 r:1 |"
            "G5:1.5 F5:.5 Eb5:1 G5:1 | A5:1.5 G5:.5 F5:1 Eb5:1",
            energy=1.08,
        ),
        Section(
            name="last chord",
            chords="Bb | Bb",
            groove=LAST_HIT,
            bass="R:4 | ~:2 r:2",
            keys="X:4 | ~:3 r:1",
            pad="x:4 | ~:3 r:1",
            lead="D5:4 | ~:2 r:2",
            energy=1.1,
        ),
    ),
)

SONGS: Final = (COPPER, TELEGRAPH, MARIGOLD, BICYCLE, WINDOW)
