"""What an option was made of, so that it can be changed later.

The songs are named and not kept: their sound is told by a digest, so that another song under the
same name is noticed.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from segue.errors import text_of
from segue.plan.places_asked import PlacesAsked
from segue.recipes.recipe import Recipe

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
