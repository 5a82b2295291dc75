"""Sound: reading the edges of songs, resampling, and level.

Takes a path; returns the end or the start of a song as stereo clips that line
up, with what the musician noted about it (`read_song`).
"""

from segue.audio.clip import ROLES, Clip, Edge, Overrides, Role, SongEdge, Stem
from segue.audio.read import read_song

__all__ = ["ROLES", "Clip", "Edge", "Overrides", "Role", "SongEdge", "Stem", "read_song"]
