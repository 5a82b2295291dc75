"""A `SongEdge` in, a `HeardEdge` out; what was heard before is not heard again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts
    from segue.audio.clip import Role


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardEdge:
    """A song's edge as the planner sees it.

    Parameters
    ----------
    roles : frozenset of Role
        Of its stems that sound; empty for a mix.
    sound : str
        Digest of its sound, so that another song under the same name is noticed later.
    """

    facts: EdgeFacts
    roles: frozenset[Role]
    has_stems: bool
    sound: str = ""
