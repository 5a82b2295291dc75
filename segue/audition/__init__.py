"""Audition: a run folder in, one page out on which the band listens and compares."""

from segue.audition.page import write_page

__all__ = ["write_page"]
