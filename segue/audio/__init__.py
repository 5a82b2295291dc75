"""Sound: reading the edges of songs, resampling, and level."""
