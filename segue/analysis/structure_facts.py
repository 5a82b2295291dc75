"""How an edge is built: its phrases, its loops, and what sounds in each bar.

Times are seconds from the start of the file, and lie on the beats of its pulse.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

BarSource = Literal["stems", "mix"]

PHRASE_CONFIDENCE = 0.7
"""From here on songs are left and entered on phrase starts. Set by judgement."""


def check_share(name: str, value: float) -> None:
    """Refuse what is no share.

    Raises
    ------
    ValueError
        If the value is not within 0..1.
    """
    if not 0.0 <= value <= 1.0:
        raise ValueError(f"{name} must be within 0..1, got {value}")


@dataclass(frozen=True, slots=True, kw_only=True)
class PhraseFact:
    """How the bars of an edge are grouped.

    Parameters
    ----------
    starts_s : tuple of float
        Ascending: the downbeats on which a group of `n_bars` starts. A group may be shorter
        where a new part sets in. Empty where no grouping was heard.
    n_bars : int
        Bars a group: 4; eights are not told from fours.
    confidence : float
        Chance that the groups start on these downbeats and not on others, 0..1.
    boundaries_s : tuple of float
        The downbeats among the starts on which something clearly changes: players or a part
        set in or leave off.
    """

    starts_s: tuple[float, ...] = ()
    n_bars: int = 4
    confidence: float = 0.0
    boundaries_s: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        check_share("confidence", self.confidence)
        if any(later <= earlier for earlier, later in pairwise(self.starts_s)):
            raise ValueError("phrase starts must ascend")
        if not set(self.boundaries_s) <= set(self.starts_s):
            raise ValueError("every boundary must be a phrase start")

    @property
    def is_sure(self) -> bool:
        """Whether joins go by it: less sure, any bar line is as good."""
        return bool(self.starts_s) and self.confidence >= PHRASE_CONFIDENCE


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopFact:
    """Whole bars of a song that may be played over and over.

    Parameters
    ----------
    start_s, end_s : float
        Two downbeats.
    n_bars : int
        1, 2 or 4.
    quality : float
        How well it loops, 0..1: from .7 on nothing is heard of the seam; below .4 do not loop it.
    seam_db : float
        How far the sound after its end in the song differs from that after its start: root
        mean square over 40 bands; up to 4 is clean, above 6 is heard.
    repeats : float
        How like it the bars before or after are, -1..1: from .65 on the band itself loops it.
    steady_db : float
        Standard deviation of the level over its beats.
    voice : float
        Presence of a singing or leading voice in it, 0..1.
    drums : float
        Presence of drums in it, 0..1.
    """

    start_s: float
    end_s: float
    n_bars: int
    quality: float
    seam_db: float
    repeats: float
    steady_db: float
    voice: float
    drums: float

    def __post_init__(self) -> None:
        for name in ("quality", "voice", "drums"):
            check_share(name, getattr(self, name))
        if not self.end_s > self.start_s:
            raise ValueError(f"a loop must have a length, got {self.start_s} to {self.end_s}")


@dataclass(frozen=True, slots=True, kw_only=True)
class BarFact:
    """What sounds in one bar.

    Parameters
    ----------
    start_s, end_s : float
        Its bar line and the next; the last bar may end with the sound.
    level_lufs : float
        K-weighted level of the bar, without gates; -120 stands for silence.
    onsets_a_beat : float
        Attacks a beat, of all instruments together.
    voice, bass, drums : float
        Presence of each, 0 (absent) to 1 (plain to hear). From the stems where `source` is
        'stems'; else estimated from the mix: the bass well, drums roughly, and the voice as no
        more than a hint, for strings and leads glide as well.
    """

    start_s: float
    end_s: float
    level_lufs: float
    onsets_a_beat: float
    voice: float
    bass: float
    drums: float
    source: BarSource = "mix"

    def __post_init__(self) -> None:
        for name in ("voice", "bass", "drums"):
            check_share(name, getattr(self, name))
