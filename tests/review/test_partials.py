"""Whether anybody sings, and how late: read at the voice's own partials, over all that is sung."""

from dataclasses import replace

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.audio.write import write_wav24
from segue.review.partials import ABSENT_BELOW, phrase_late_s, presence
from segue.review.stems import edge_at_hand
from segue.review.voice import sung_part
from tests.review.conftest import RATE_HZ, record_at
from tests.review.test_voice import _AT_S, LENGTH_S, MIDI, NOTE_S, _document, _hz, _sung

NOTES = ((5.0, 6.5, MIDI), (7.0, 8.2, MIDI + 2), (8.6, 9.6, MIDI - 3))
BREATH_S = (10.2, 11.6)
"""The singer's microphone has noise there, and no note."""


def voice(midi_up=0.0):
    sung = sum(_sung(start_s, end_s, midi + midi_up) for start_s, end_s, midi in NOTES)
    noise = 0.05 * np.random.default_rng(2).normal(size=len(_AT_S))
    inside = (BREATH_S[0] < _AT_S) & (BREATH_S[1] > _AT_S)
    return sung + np.where(inside, noise, 0.0)


def band():
    """Two held notes that share no partial with the voice, and some noise."""
    tones = sum(0.1 * np.sin(2 * np.pi * _hz(midi) * _AT_S) for midi in (40.3, 47.6))
    return tones + 0.003 * np.random.default_rng(5).normal(size=len(_AT_S))


@pytest.fixture(scope="module", name="document")
def _song(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sung")
    for name, sound in (("voice", voice()), ("keys", band())):
        samples = np.stack([sound] * 2, axis=1).astype(np.float32)
        write_wav24(folder / f"{name}.wav", Clip(samples=samples, rate_hz=RATE_HZ))
    return _document(folder)


@pytest.fixture(scope="module", name="part")
def _part(document, plan):
    return sung_part(
        document, record_at(plan, 1), edge_at_hand(document, "incoming", document.rate_hz)
    )


@pytest.fixture(scope="module", name="late_s")
def _late_s(plan):
    """From the song's own time to the render's."""
    return plan.seconds_at(plan.singer_beat) - NOTE_S


def take(late_s, *, sung=1.0, cents=0.0, extra_s=0.0):
    """The song as the room hears it in the render's time, the voice later than planned."""
    n_before = round(late_s * RATE_HZ)
    whole = np.zeros(n_before + len(_AT_S))
    whole[n_before:] += band()
    shifted = np.roll(voice(cents / 100), round(extra_s * RATE_HZ))
    whole[n_before:] += sung * shifted
    return Clip(samples=np.stack([whole] * 2, axis=1).astype(np.float32), rate_hz=RATE_HZ)


def same(plan_s):
    return plan_s


def test_only_sung_notes_are_read_each_at_its_pitch(part, late_s):
    own_s = part.at_s - late_s
    for start_s, end_s, midi in NOTES:
        inside = (own_s > start_s + 0.1) & (own_s < end_s - 0.1)
        assert inside.sum() > 20
        assert part.midi[inside] == pytest.approx(midi, abs=0.1)
    assert not ((own_s > BREATH_S[0] + 0.1) & (own_s < BREATH_S[1] - 0.1)).any()
    assert own_s.max() < LENGTH_S
    assert part.weights.shape[0] == len(part.at_s)
    assert (part.weights >= 0.0).all()


def test_the_voice_stands_out_where_it_sings_and_the_band_does_not(part):
    assert part.sung_db - part.band_db > 6.0


@pytest.mark.parametrize("cents", [0.0, 40.0, -60.0])
def test_a_singer_is_there_also_a_little_flat_or_sharp(part, late_s, cents):
    heard = presence(part, take(late_s, cents=cents), same, 0.0)
    assert heard == pytest.approx(1.0, abs=0.25)


def test_nobody_is_not_there(part, late_s):
    assert presence(part, take(late_s, sung=0.0), same, 0.0) < ABSENT_BELOW
    soft = presence(part, take(late_s, sung=0.3), same, 0.0)
    assert presence(part, take(late_s, sung=0.0), same, 0.0) < soft


@pytest.mark.parametrize("extra_s", [-0.2, 0.0, 0.12, 0.24])
def test_a_phrase_is_as_late_as_all_of_it_is(part, late_s, extra_s):
    told = phrase_late_s(part, take(late_s, extra_s=extra_s), same, 0.0)
    assert told == pytest.approx(extra_s, abs=0.04)


def test_without_a_singer_or_a_stem_nothing_is_looked_for(document, plan):
    record = record_at(plan, 1)
    assert (
        sung_part(
            document,
            replace(record, singer_s=None),
            edge_at_hand(document, "incoming", document.rate_hz),
        )
        is None
    )
    assert sung_part(document, record, None) is None
