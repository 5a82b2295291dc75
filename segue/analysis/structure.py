"""How an edge is built: phrases, loops and what sounds in each bar, all from one spectrum."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from segue.analysis.bar_facts import bar_facts
from segue.analysis.bar_features import bar_features
from segue.analysis.loopable import best_loops
from segue.analysis.phrases import hear_phrases
from segue.analysis.structure_facts import BarFact, LoopFact, PhraseFact

if TYPE_CHECKING:
    from segue.analysis.facts import Ending, Opening, PulseFact
    from segue.audio.clip import SongEdge


@dataclass(frozen=True, slots=True, kw_only=True)
class Structure:
    """Phrases, loops and bars of an edge; nothing where it has no bars."""

    phrases: PhraseFact = field(default_factory=PhraseFact)
    loops: tuple[LoopFact, ...] = ()
    bars: tuple[BarFact, ...] = ()


def hear_structure(edge: SongEdge, pulse: PulseFact, join: Ending | Opening) -> Structure:
    """How an edge is built.

    Parameters
    ----------
    pulse : PulseFact
        Its beats and bars.
    join : Ending or Opening
        How it ends or starts.
    """
    features = bar_features(edge, pulse)
    if features is None:
        return Structure()
    bars = bar_facts(edge, features)
    return Structure(
        phrases=hear_phrases(features, pulse.downbeat_confidence, join),
        loops=best_loops(features, bars),
        bars=bars,
    )
