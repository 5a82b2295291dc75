"""Analysis: the edge of a song in, its `EdgeFacts` out."""
