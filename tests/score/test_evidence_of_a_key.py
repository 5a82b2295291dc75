"""How soon a new key counts as clear, on chords without any sound around them."""

from types import SimpleNamespace

import numpy as np
import pytest

from segue.music.key import parse_key
from segue.score.arrival import clear_since_s
from segue.score.tones import HOP_S, Tones

CHORD_S = 1.0
TRIAD = (0, 4, 7)
CADENCE = (0, 5, 7, 0)
"""Tonic, subdominant, dominant, tonic: roots above the tonic."""


def _chords(roots):
    """Chroma of major triads of a second each."""
    rows = np.zeros((len(roots), 12))
    for row, root in zip(rows, roots, strict=True):
        row[[(root + degree) % 12 for degree in TRIAD]] = 1 / len(TRIAD)
    chroma = np.repeat(rows, round(CHORD_S / HOP_S), axis=0)
    return Tones(times_s=(np.arange(len(chroma)) + 0.5) * HOP_S, chroma=chroma)


def _chords_until_clear(old, new):
    """How many chords of the new key sound until it is clear."""
    before = [old.tonic + root for root in 2 * CADENCE]
    tones = _chords(before + [new.tonic + root for root in 2 * CADENCE])
    heard = SimpleNamespace(tones=tones, plan=SimpleNamespace(key_from=old, key_to=new))
    return clear_since_s(heard, len(tones.chroma) * HOP_S) / CHORD_S - len(before)


@pytest.mark.parametrize("name", ["F# major", "D major", "Eb major", "A major"])
def test_a_new_key_rises_over_two_or_three_chords(name):
    # Krumhansl and Kessler 1982, Psychological Review 89(4): a new key is established within
    # the second and third chord; one chord is not enough, a fourth is not needed
    assert 1.0 < _chords_until_clear(parse_key("C major"), parse_key(name)) <= 3.0
