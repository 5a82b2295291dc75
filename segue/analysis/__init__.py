"""Analysis: the edge of a song in, its `EdgeFacts` out.

`segue.analysis.hear.hear_edge` hears key, tuning, tempo, beats, bars, level, how
the song ends or starts, and the first sung note; what the musician says goes
over what is heard. It is not imported here, so that plans and run folders can
use the facts without loading the ears.
"""

from segue.analysis.facts import EdgeFacts
from segue.audio.clip import Overrides

__all__ = ["EdgeFacts", "Overrides"]
