"""What is kept of a run: its options, their versions, and what each was made of.

The songs are named and not kept: their sound is told by a digest, so that another song under the
same name is noticed, and an option can be changed later.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from segue.analysis.facts import EdgeFacts
from segue.errors import text_of
from segue.plan.bridge_words import length_words
from segue.plan.places_asked import PlacesAsked
from segue.plan.plan import Plan
from segue.recipes.recipe import Recipe
from segue.score.scorecard import Scorecard
from segue.score.weights import Purpose, weights_for

if TYPE_CHECKING:
    from pathlib import Path


LABEL: Final = re.compile(r"([1-9][0-9]{0,2})([a-z]{0,2})")
"""The number of an option, and the letters of its version."""
_N_LETTERS: Final = 26  # of the alphabet
MOST_VERSIONS: Final = 100
"""Of one option; more are no help to anybody. Set by judgement."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SongSource:
    """Where one of the two songs came from.

    Parameters
    ----------
    path : str
        The file or folder of stems, from the root of the disk.
    sound : str
        Digest of what was read of it.
    has_stems : bool
        Whether it came as stems.
    """

    path: str
    sound: str
    has_stems: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RunSources:
    """What a run was made from, as far as its facts and plans do not tell.

    Parameters
    ----------
    edge_s : float
        How much of each song was read.
    match : bool
        Whether both songs were brought to one loudness.
    own_weights : mapping of str to float, or None
        The band's own weights, where they weighed the measures.
    """

    outgoing: SongSource
    incoming: SongSource
    edge_s: float
    match: bool = False
    own_weights: Mapping[str, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Making:
    """How an option was made.

    Parameters
    ----------
    recipe : Recipe
        As it was planned by: of a version, with what was changed in it.
    asked : PlacesAsked
        Where the musician wanted to leave and to enter, and the bars between.
    pad : str
        File of the user's own pad sound; empty is none.
    """

    recipe: Recipe
    asked: PlacesAsked
    pad: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Version:
    """An option that was changed by hand.

    Parameters
    ----------
    option : int
        Number of the option that it is a version of.
    letters : str
        Which version: 'b' is the first, after the option itself.
    of : str
        What it was changed from: '2', or a version such as '2b'.
    changes : tuple of str
        What was changed, in words.
    """

    option: int
    letters: str
    of: str
    changes: tuple[str, ...]

    @property
    def label(self) -> str:
        """What it is called: '2b'."""
        return f"{self.option}{self.letters}"


def place_text(path: Path) -> str:
    """Where a file is, from the root of the disk, as a text file can hold it."""
    return text_of(os.path.abspath(path))  # noqa: PTH100 - without following links


def version_letters(n: int) -> str:
    """Letters of the n-th version.

    Parameters
    ----------
    n : int
        0 is the first.

    Examples
    --------
    >>> [version_letters(n) for n in (0, 1, 24, 25, 26)]
    ['b', 'c', 'z', 'aa', 'ab']
    """
    n += 1  # the option itself would be 'a'
    if n < _N_LETTERS:
        return chr(ord("a") + n)
    return chr(ord("a") + n // _N_LETTERS - 1) + chr(ord("a") + n % _N_LETTERS)


@dataclass(frozen=True, slots=True, kw_only=True)
class BarReport:
    """A bar line in seconds of the candidate, for readers that know no tempo curves."""

    number: int
    time_s: float
    section: Literal["outgoing", "interlude", "incoming"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CandidateRecord:
    """A candidate in the run folder.

    Parameters
    ----------
    rank : int
        1 is the best scored; versions follow in the order in which they were made, and keep
        theirs for good.
    is_tie : bool
        Whether it scores the same as the one ranked before it, within the noise of the measures.
    bars : tuple of BarReport
        Every bar line, in seconds from the start of the WAV.
    exit_s, entry_s : float
        Where the interlude starts and where bar one of the incoming song is.
    singer_s : float or None
        Where the first sung note is.
    music_file, click_file, cue_file : str
        WAV names, relative to the run folder.
    picture_file : str
        Picture of key path, tempo and loudness.
    loudness_lufs, true_peak_dbtp : float
        Of the music bus.
    lowered_db : float
        How far the music was turned down to be as loud as the others.
    made : Making or None
        How it was made; None in runs of before there were versions.
    version : Version or None
        Of which option it is a version; None for an option as it was first made.
    """

    rank: int
    plan: Plan
    scorecard: Scorecard
    bars: tuple[BarReport, ...]
    exit_s: float
    entry_s: float
    singer_s: float | None
    music_file: str
    click_file: str
    cue_file: str
    picture_file: str
    loudness_lufs: float
    true_peak_dbtp: float
    notes: tuple[str, ...]
    is_tie: bool = False
    lowered_db: float = 0.0
    made: Making | None = None
    version: Version | None = None

    @property
    def sound_files(self) -> tuple[str, str, str]:
        """Names of its music, click and cue."""
        return self.music_file, self.click_file, self.cue_file

    @property
    def label(self) -> str:
        """What it is called: '2', or '2b' for a version."""
        return str(self.rank) if self.version is None else self.version.label

    @property
    def length_words(self) -> str:
        """How long the bridge is, such as '4 bars, 10.0 s'."""
        n_bars = sum(bar.section == "interlude" for bar in self.bars)
        return length_words(n_bars, self.entry_s - self.exit_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What the band chose, by its rank."""

    rank: int
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunDocument:
    """A whole run.

    Parameters
    ----------
    rate_hz : int
        Of all WAVs.
    candidates : tuple of CandidateRecord
        Best first, then versions in the order in which they were made.
    purpose : {'talk', 'lift', 'calm', 'dance'} or None
        What the segue is for, as far as the weights go.
    weights : {'table', 'own'}
        Whether the published table weighed the measures or the band's own weights.
    sources : RunSources or None
        What it was made from; None in runs of before there were versions.
    """

    schema_version: Literal[1]
    segue_version: str
    rate_hz: int
    outgoing: EdgeFacts
    incoming: EdgeFacts
    candidates: tuple[CandidateRecord, ...]
    choice: Choice | None = None
    purpose: Purpose | None = None
    weights: Literal["table", "own"] = "table"
    sources: RunSources | None = None

    @property
    def options(self) -> tuple[CandidateRecord, ...]:
        """The candidates without the versions."""
        return tuple(record for record in self.candidates if record.version is None)

    @property
    def versions(self) -> tuple[CandidateRecord, ...]:
        """Those that were changed by hand, the latest last."""
        return tuple(record for record in self.candidates if record.version is not None)

    def weights_of(self, record: CandidateRecord) -> Mapping[str, float]:
        """What each measure counted in the overall score of an option."""
        own = None if self.sources is None else self.sources.own_weights
        if self.weights == "own" and own is not None:
            return own
        is_talk = record.plan.talk_s is not None
        return weights_for(self.purpose or ("talk" if is_talk else None))

    @property
    def chosen_recipe(self) -> str | None:
        """The recipe of the chosen candidate."""
        if self.choice is None:
            return None
        rank = self.choice.rank
        return next((c.plan.recipe for c in self.candidates if c.rank == rank), None)
