"""What is known about the edge of a song: the facts between analysis and plan.

Times are seconds from the start of the file. Uncertainty is part of each fact.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

from segue.analysis.structure_facts import BarFact, LoopFact, PhraseFact, check_share
from segue.audio.clip import Edge
from segue.audio.clip import EndingKind as EndingKind
from segue.audio.clip import OpeningKind as OpeningKind
from segue.music.chord import Chord
from segue.music.key import Key

Source = Literal["heard", "given"]

SURE_CONFIDENCE = 0.8
"""From here on a fact is told without a question mark; checked by the ears benchmark."""
PULSE_CONFIDENCE = 0.3
"""Below this a song counts as in free time."""
KEY_CONFIDENCE = 0.2
"""Below this no key was heard: of 24 keys by chance each would have 0.04. Set by judgement."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyWeight:
    """A key and how likely it is, 0..1."""

    key: Key
    weight: float

    def __post_init__(self) -> None:
        check_share("weight", self.weight)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyFact:
    """The key of an edge.

    Parameters
    ----------
    key : Key
        The most likely key.
    confidence : float
        Chance that it is right, 0..1; 1 when given by the musician.
    runners_up : tuple of KeyWeight
        The next keys, most likely first.
    """

    key: Key
    confidence: float
    runners_up: tuple[KeyWeight, ...] = ()
    source: Source = "heard"

    def __post_init__(self) -> None:
        check_share("confidence", self.confidence)

    @property
    def is_known(self) -> bool:
        """Whether there is a key to go by: heard at all, or given."""
        return self.source == "given" or self.confidence >= KEY_CONFIDENCE

    @property
    def known_key(self) -> Key | None:
        """The key where there is one to go by."""
        return self.key if self.is_known else None


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeChord:
    """The chord that the edge itself plays: the last one of an ending, the first of an opening.

    Parameters
    ----------
    chord : Chord
        Root and third; sevenths are not told.
    confidence : float
        Chance that both are right, 0..1.
    """

    chord: Chord
    confidence: float

    def __post_init__(self) -> None:
        check_share("confidence", self.confidence)


@dataclass(frozen=True, slots=True, kw_only=True)
class PulseFact:
    """Tempo, beats and bars of an edge.

    Parameters
    ----------
    tempo_bpm : float
        Tempo near the join: of the median of its nearest beats, not a rounded one.
    tempo_alternatives_bpm : tuple of float
        Its half, its double and what else fits, likeliest first.
    beats_s, downbeats_s : tuple of float
        Ascending, seconds from the start of the file; downbeats are a subset
        of beats. Both may be empty where there is no pulse.
    metre : int
        Beats a bar.
    confidence : float
        How clear the beats are, 0..1. Below 0.3: treat as free time.
    downbeat_confidence : float
        How clear the bars are, 0..1.
    residual_ms : float
        Root mean square distance of the heard onsets from the fitted grid.
    heard_bpm : float or None
        Where the counting was changed to fit that of another song, the tempo as it was heard
        alone; None elsewhere.
    """

    tempo_bpm: float
    tempo_alternatives_bpm: tuple[float, ...]
    beats_s: tuple[float, ...]
    downbeats_s: tuple[float, ...]
    metre: int
    confidence: float
    downbeat_confidence: float
    residual_ms: float
    source: Source = "heard"
    heard_bpm: float | None = None

    def __post_init__(self) -> None:
        check_share("confidence", self.confidence)
        check_share("downbeat_confidence", self.downbeat_confidence)
        if not self.tempo_bpm > 0:
            raise ValueError(f"tempo_bpm must be positive, got {self.tempo_bpm}")
        for times in (self.beats_s, self.downbeats_s):
            if any(later <= earlier for earlier, later in pairwise(times)):
                raise ValueError("beats and downbeats must ascend")
        if not set(self.downbeats_s) <= set(self.beats_s):
            raise ValueError("every downbeat must be a beat")

    @property
    def is_known(self) -> bool:
        """Whether there is a pulse to go by: heard clearly enough, or given."""
        return self.source == "given" or self.confidence >= PULSE_CONFIDENCE

    @property
    def known_bpm(self) -> float | None:
        """The tempo where there is a pulse to go by."""
        return self.tempo_bpm if self.is_known else None

    @property
    def beat_s(self) -> float:
        """Length of a beat in seconds."""
        return 60.0 / self.tempo_bpm


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelFact:
    """Level of an edge.

    Parameters
    ----------
    loudness_lufs : float
        Integrated loudness, ITU-R BS.1770, as it plays over two speakers: of the stereo
        that every file is made into; -120 stands for silence.
    true_peak_dbtp : float
        True peak over all channels; -120 stands for silence.
    file_lufs : float or None
        Integrated loudness of the file's own channels, ITU-R BS.1770; of one channel it
        is 3.01 LU below `loudness_lufs`. None where there are more than two, whose
        weights differ.
    """

    loudness_lufs: float
    true_peak_dbtp: float
    file_lufs: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ending:
    """How a song ends.

    Parameters
    ----------
    kind : {'keeps going', 'cold stop', 'ring-out', 'fade'}
        'keeps going': still at full level when the file stops; 'cold stop':
        the band stops at once (reverb may follow); 'ring-out': a last chord
        decays; 'fade': the level falls while the band plays on.
    last_hit_s : float
        The last attack of the band; without a pulse, where what it holds is let go,
        if that is later.
    sound_end_s : float
        Where the sound has fallen 60 dB below the body of the edge, or the
        file stops.
    fade_start_s : float or None
        Where a fade has taken the level 3 dB below the body; None otherwise.
    last_chord_s : float or None
        Where the last chord starts: the last change of notes before the sound ends. None
        where nothing is pitched, or it was not looked for.
    last_bar_line_s : float or None
        The last bar line at which the band plays, at or before the last hit; None without
        a pulse.
    held_until_s : float or None
        Where what sounds after the last hit is let go; until then it is held, or changes too
        softly for a hit. None for a song that keeps going and for a fade.
    rung_out_s : float or None
        Where the last chord has fallen 20 dB: before it nothing cuts what rings. None for a
        song that keeps going and for a fade.
    outro_start_s : float or None
        Where a last part begins that is clearly quieter than the body and does not fade;
        None where there is none. How the song ends is how this part ends.
    outro_db : float
        Level of that part against the body of the edge; 0 where there is none.
    """

    kind: EndingKind
    confidence: float
    last_hit_s: float
    sound_end_s: float
    fade_start_s: float | None = None
    last_chord_s: float | None = None
    last_bar_line_s: float | None = None
    held_until_s: float | None = None
    rung_out_s: float | None = None
    outro_start_s: float | None = None
    outro_db: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """How a song starts.

    Parameters
    ----------
    kind : {'on the beat', 'pick-up', 'free intro'}
        'free intro': there is sound before the pulse.
    sound_start_s : float
        First sound.
    first_downbeat_s : float
        Bar one: the first downbeat of the pulse.
    pickup_beats : float
        Beats of pick-up before bar one; 0 unless the kind is 'pick-up'.
    faded_in_s : float or None
        When a song that fades or swells in has come up; None for any other.
    """

    kind: OpeningKind
    confidence: float
    sound_start_s: float
    first_downbeat_s: float
    pickup_beats: float = 0.0
    faded_in_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstNote:
    """The first sung or lead note.

    Parameters
    ----------
    midi : float
        Pitch in MIDI note numbers with cents as decimals, A4 = 69 at 440 Hz.
    time_s : float
        Its attack.
    """

    midi: float
    time_s: float
    confidence: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeFacts:
    """All facts of one edge of one song.

    Exactly one of `ending` and `opening` is set, as `edge` says.

    Parameters
    ----------
    file : str
        Path as given by the user.
    duration_s : float
        Length of the whole song.
    edge_start_s, edge_end_s : float
        The part of the file that was read.
    tuning_cents : float
        How far the song is above A4 = 440 Hz, -50..50.
    tuning_spread_cents : float
        How far estimates from different parts of the edge lie apart; 0 when given.
    edge_chord : EdgeChord or None
        The last chord heard of an ending, the first of an opening, whatever the key; None
        where nothing is pitched.
    first_note : FirstNote or None
        None where no vocal or lead is given or heard.
    applause_s : float or None
        Where applause begins at the end of the song, or is over at its start; the
        other facts are heard without it. None where there is none.
    died_away_s : float or None
        From when on the end of a song lies so far under it, for so long, that no room would hear
        it; the other facts are heard without that. None where there is no such murmur.
    doubts : tuple of str
        Sentences about what is uncertain.
    phrases : PhraseFact
        Groups of four or eight bars.
    loops : tuple of LoopFact
        The most loopable one, two and four bars, best first; at most one of each length.
    bars : tuple of BarFact
        Every bar of the edge that is whole or nearly so; none without a pulse.
    """

    file: str
    title: str
    edge: Edge
    duration_s: float
    edge_start_s: float
    edge_end_s: float
    key: KeyFact
    tuning_cents: float
    pulse: PulseFact
    level: LevelFact
    ending: Ending | None = None
    opening: Opening | None = None
    edge_chord: EdgeChord | None = None
    first_note: FirstNote | None = None
    applause_s: float | None = None
    died_away_s: float | None = None
    doubts: tuple[str, ...] = ()
    tuning_spread_cents: float = 0.0
    phrases: PhraseFact = field(default_factory=PhraseFact)
    loops: tuple[LoopFact, ...] = ()
    bars: tuple[BarFact, ...] = ()

    def __post_init__(self) -> None:
        expected = self.ending if self.edge == "end" else self.opening
        if expected is None or (self.ending is not None and self.opening is not None):
            raise ValueError("an end edge has an ending and a start edge an opening, never both")


def have_keys(*edges: EdgeFacts) -> bool:
    """Whether all of some edges have a key to go by."""
    return all(facts.key.is_known for facts in edges)


def have_pulses(*edges: EdgeFacts) -> bool:
    """Whether all of some edges have a pulse to go by."""
    return all(facts.pulse.is_known for facts in edges)
