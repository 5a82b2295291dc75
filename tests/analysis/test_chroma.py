import numpy as np
import pytest

from segue.analysis.chroma import N_NOTES, chroma_of, note_strengths
from segue.analysis.key_evidence import QUALITIES, chord_posteriors
from tests.analysis.key_sounds import CADENCE, MAJOR, MINOR, edge_of, note, song


@pytest.mark.parametrize("midi", range(40, 85, 4))
def test_a_note_is_heard_at_its_own_pitch_class(midi):
    _, chroma = chroma_of(edge_of(mix=note(midi)).mix, tuning_cents=0.0)
    assert set(chroma[:-1].argmax(axis=1)) == {midi % 12}


def test_overtones_are_credited_to_their_note():
    # Partials 3 and 6 are a fifth and partial 5 a third above; they carry 40 % of the amplitude.
    _, chroma = chroma_of(edge_of(mix=note(48)).mix, tuning_cents=0.0)
    assert chroma[1, 0] > 3 * max(chroma[1, 7], chroma[1, 4])


def test_tuning_is_followed():
    _, straight = chroma_of(song(0.0, CADENCE["major"]).mix, tuning_cents=0.0)
    _, bent = chroma_of(song(0.4, CADENCE["major"]).mix, tuning_cents=40.0)
    assert np.corrcoef(straight.ravel(), bent.ravel())[0, 1] > 0.98


def test_steps_cover_the_clip_in_file_time():
    clip = edge_of(mix=note(60), start_s=100.0).mix
    times_s, chroma = chroma_of(clip, tuning_cents=0.0, hop_s=0.25)
    assert times_s.tolist() == [100.125, 100.375, 100.625, 100.875]
    assert chroma.shape == (4, 12)


def test_silence_has_no_notes():
    _, chroma = chroma_of(edge_of(mix=np.zeros(24_000)).mix, tuning_cents=0.0)
    assert not chroma.any()


def test_a_clip_shorter_than_a_step_is_heard():
    _, chroma = chroma_of(edge_of(mix=note(64, 0.1)).mix, tuning_cents=0.0)
    assert chroma.shape == (1, 12)
    assert int(chroma[0].argmax()) == 4


def test_strengths_are_never_negative():
    noise = np.random.default_rng(1).random((3, 240))
    strengths = note_strengths(noise)
    assert strengths.shape == (3, N_NOTES)
    assert (strengths >= 0).all()


@pytest.mark.parametrize("root", range(12))
@pytest.mark.parametrize(
    ("quality", "above"), [pytest.param(0, MAJOR, id="major"), pytest.param(1, MINOR, id="minor")]
)
def test_a_triad_is_named(root, quality, above):
    chroma = np.zeros((4, 12))
    chroma[:, [(root + n) % 12 for n in above]] = 1.0
    posterior = chord_posteriors(chroma, np.eye(12)[[root] * 4])
    assert np.unravel_index(posterior[1].argmax(), posterior[1].shape) == (quality, root)
    assert posterior.sum(axis=(1, 2)) == pytest.approx(np.ones(4))


def test_no_notes_leave_every_chord_possible():
    posterior = chord_posteriors(np.zeros((2, 12)), np.zeros((2, 12)))
    assert posterior.shape == (2, len(QUALITIES), 12)
    assert np.ptp(posterior, axis=2).max() < 1e-9


def test_bass_decides_between_a_minor_seventh_and_its_relative_sixth():
    # A C E G is A minor seventh over A and C major sixth over C (common practice, no source).
    chroma = np.zeros((2, 12))
    chroma[:, [9, 0, 4, 7]] = 1.0
    over_a, over_c = (chord_posteriors(chroma, np.eye(12)[[bass] * 2])[0] for bass in (9, 0))
    assert np.unravel_index(over_a.argmax(), over_a.shape) == (1, 9)
    assert np.unravel_index(over_c.argmax(), over_c.shape) == (0, 0)
