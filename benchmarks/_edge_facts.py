"""Facts of an edge of which only the pulse and the ending count."""

from __future__ import annotations

from typing import TYPE_CHECKING

from segue.analysis.facts import EdgeFacts, KeyFact, LevelFact
from segue.music.key import Key

if TYPE_CHECKING:
    from segue.analysis.facts import Ending, PulseFact
    from segue.audio.clip import SongEdge


def facts_of_end(song: SongEdge, ending: Ending, pulse: PulseFact) -> EdgeFacts:
    """Facts with no key and no level."""
    return EdgeFacts(
        file=song.path.name,
        title=song.title,
        edge="end",
        duration_s=song.duration_s,
        edge_start_s=song.start_s,
        edge_end_s=song.end_s,
        key=KeyFact(key=Key(tonic=0, mode="major"), confidence=0.0),
        tuning_cents=0.0,
        pulse=pulse,
        level=LevelFact(loudness_lufs=-14.0, true_peak_dbtp=-1.0),
        ending=ending,
    )
