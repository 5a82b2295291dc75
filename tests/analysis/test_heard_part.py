"""What the pulse is heard from, where the drums are a part of their own."""

from pathlib import Path

import numpy as np
import pytest

from segue.analysis.heard_part import heard_part
from segue.analysis.onsets import HOP_S
from segue.audio.clip import Clip, SongEdge, Stem

RATE_HZ = 48_000
DRUMS_S = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0)
BASS_S = (0.75, 1.25, 1.75, 2.25, 2.75, 3.25)
"""As often as the drums, and never with them."""


def _struck(*times_s):
    """The same short low stroke at some times."""
    sound = np.zeros(4 * RATE_HZ)
    after_s = np.arange(round(0.2 * RATE_HZ)) / RATE_HZ
    stroke = 0.3 * np.sin(2 * np.pi * 90 * after_s) * np.exp(-after_s / 0.05)
    for time_s in times_s:
        first = round(time_s * RATE_HZ)
        sound[first : first + len(stroke)] += stroke
    return Clip(samples=np.stack([sound] * 2, axis=1).astype(np.float32), rate_hz=RATE_HZ)


def _edge(drums, bass):
    stems = tuple(
        Stem(role=role, file=f"{role}.wav", clip=clip)
        for role, clip in (("drums", drums), ("bass", bass))
    )
    return SongEdge(path=Path("song"), title="song", edge="start", stems=stems, duration_s=4.0)


def _onset_near(heard, time_s):
    hop = round((time_s - heard.start_s) / HOP_S)
    return heard.evidence.bands[hop - 4 : hop + 5].max()


def test_what_others_strike_counts_less_than_the_drums_but_counts():
    heard = heard_part(_edge(_struck(*DRUMS_S), _struck(*BASS_S)))
    on_drums, on_bass, between = (
        np.median([_onset_near(heard, time_s) for time_s in times_s[1:]])
        for times_s in (DRUMS_S, BASS_S, np.array(DRUMS_S) + 0.125)
    )
    # the same strokes: foremost the drums tell the beat, but no attack is unheard
    assert between < 0.02 * on_drums
    assert 0.1 * on_drums < on_bass < 0.7 * on_drums


@pytest.mark.parametrize(("notes_midi", "bareness"), [((81,), 1.0), ((69, 72, 76, 79), 0.0)])
def test_a_click_is_bare_and_chords_as_short_and_as_far_apart_are_not(notes_midi, bareness):
    after_s = np.arange(round(0.1 * RATE_HZ)) / RATE_HZ
    fade = np.exp(-after_s / 0.02)
    stroke = sum(
        np.sin(2 * np.pi * 440 * 2 ** ((n - 69) / 12) * after_s) * fade for n in notes_midi
    )
    sound = np.zeros(12 * RATE_HZ)
    for first in range(RATE_HZ // 2, len(sound) - RATE_HZ, RATE_HZ):
        sound[first : first + len(stroke)] += 0.2 * stroke
    clip = Clip(samples=np.stack([sound] * 2, axis=1).astype(np.float32), rate_hz=RATE_HZ)
    stem = Stem(role="mix", file="mix.wav", clip=clip)
    edge = SongEdge(path=Path("song"), title="", edge="start", stems=(stem,), duration_s=12.0)
    assert heard_part(edge).evidence.bareness == bareness
