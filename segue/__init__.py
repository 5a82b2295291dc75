"""Segue: from the end of one song to the start of the next.

Two song edges go in; three auditionable ways across come out, each planned in
bars and keys, rendered to audio, and measured on the sound.
"""

from typing import Final

__version__: Final = "0.1.0"
