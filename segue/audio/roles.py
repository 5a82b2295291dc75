"""What a stem plays, from the name of its file.

Names are cut into words at case changes, digits and separators; words that all
files of a folder start with (a song's name) count last. The vocabulary is
common practice, no source.
"""

from __future__ import annotations

import re
from itertools import takewhile
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.audio.clip import Role

ROLE_WORDS: Final[tuple[tuple[Role, str], ...]] = (
    ("drums", "kickdrum bassdrum"),
    ("voice", "voice vocal vox vocs voc vx vocalist sing singer singing sung choir backings"),
    ("voice", "bgv bgvs bvs bvox ldvox"),
    ("bass", "bass sub 808 bs upright"),
    ("drums", "drum drm drummer kick kik bd snare sd snr hat hihat hh cymbal crash ride tom"),
    ("drums", "overhead perc percussion beat groove clap shaker tambourine conga bongo cajon kit"),
    ("guitar", "guitar gtr gt gtrs strat acoustic banjo ukulele mandolin"),
    ("keys", "key keyboard piano pno rhodes wurli wurlitzer organ hammond clavinet clav epiano ep"),
    ("keys", "harpsichord accordion"),
    ("lead", "lead melody solo ld"),
    ("synth", "synth synthesizer syn pad arp arpeggio pluck sequence seq"),
    ("other", "other fx sfx string brass horn sax saxophone trumpet trombone violin viola cello"),
    ("other", "flute clarinet harmonica noise ambience atmos sample rest misc"),
    ("mix", "mix mixdown master fullmix stereomix twotrack bounce"),
)
"""Words of each role; the first line that fits wins, so "lead vocal" is a voice."""

_QUALIFIERS: Final = frozenset({"e", "el", "electric", "ac", "back", "backing", "rhythm", "main"})
_WORD = re.compile(r"808|[A-Z]+(?![a-z])|[A-Z]?[a-z]+|[^\W\d_a-zA-Z]+")
_PHRASES: Final = re.compile(r"\b(kick|bass)[\W_]*(drum)", re.IGNORECASE)
_ROLE_OF_WORD: Final[dict[str, tuple[int, Role]]] = {
    word: (rank, role) for rank, (role, words) in enumerate(ROLE_WORDS) for word in words.split()
}


def stem_roles(names: Sequence[str]) -> tuple[Role, ...]:
    """Role of each file of one folder.

    Parameters
    ----------
    names : sequence of str
        File names, with or without extension.

    Returns
    -------
    tuple of Role
        'other' where no word of the name is known; 'mix' for what is called a mix.

    Examples
    --------
    >>> stem_roles(["Bass Drop - 01 DRUMS.wav", "Bass Drop - 02 leadVox.wav"])
    ('drums', 'voice')
    """
    words = [_words(name) for name in names]
    shared = _n_shared(words)
    return tuple(
        _role_of_words(own[shared:]) or _role_of_words(own[:shared]) or "other" for own in words
    )


def _n_shared(words: Sequence[Sequence[str]]) -> int:
    """How many words all of several names start with."""
    if len(words) == 1:
        return 0
    columns = (len(set(column)) == 1 for column in zip(*words, strict=False))
    return sum(takewhile(bool, columns))


def _words(name: str) -> list[str]:
    stem = re.sub(r"\.\w{2,4}$", "", name)
    return [word.lower() for word in _WORD.findall(_PHRASES.sub(r"\1\2", stem))]


def _role_of_words(words: Sequence[str]) -> Role | None:
    ranked = [found for word in words if (found := _word_role(word)) is not None]
    return min(ranked)[1] if ranked else None


def _word_role(word: str) -> tuple[int, Role] | None:
    if (known := _known(word)) is not None:
        return known
    halves = ((word[:cut], word[cut:]) for cut in range(1, len(word)))
    glued = (
        min(found)
        for first, second in halves
        if (found := [role for half in (first, second) if (role := _known(half))])
        and all(_known(half) or half in _QUALIFIERS for half in (first, second))
    )
    return next(glued, None)


def _known(word: str) -> tuple[int, Role] | None:
    return _ROLE_OF_WORD.get(word) or _ROLE_OF_WORD.get(word.removesuffix("s"))
