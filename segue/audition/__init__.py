"""Audition: a run folder in, one page out on which the band listens and compares."""

from segue.audition.page import write_page
from segue.audition.sound import bus_mp3s, buses_of

__all__ = ["bus_mp3s", "buses_of", "write_page"]
