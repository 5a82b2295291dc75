"""Whether anybody sings, and how late: read at the voice's own partials, over all that is sung."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.audio.write import write_wav24
from segue.review import partials
from segue.review.partials import (
    ABSENT_BELOW,
    excerpt,
    note_levels,
    outstanding_db,
    partial_hz,
    peaks,
    phrase_late_s,
    presence,
    read_at,
    spectra,
)
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


A4 = 69.0
LONG_FRAMES, PADDED_FRAMES = 2048, 8192


def tones(*parts, length_s=1.0, rate_hz=RATE_HZ):
    """A clip of sines, each by its frequency and amplitude, on one side twice as loud."""
    at_s = np.arange(round(length_s * rate_hz)) / rate_hz
    sound = sum(size * np.sin(2 * np.pi * hz * at_s) for hz, size in parts)
    both = np.stack([4 / 3 * sound, 2 / 3 * sound], axis=1)
    return Clip(samples=both.astype(np.float32), rate_hz=rate_hz)


def test_an_excerpt_is_the_sound_of_both_sides_and_silence_outside_it():
    clip = tones((440.0, 0.3))
    at_s = np.arange(round(0.7 * partials.RATE_HZ)) / partials.RATE_HZ
    for start_s in (-0.2, 0.2, 0.8):
        found = excerpt(clip, start_s, start_s + 0.7)
        assert found.shape == at_s.shape
        own_s = start_s + at_s
        there = (own_s >= 0) & (own_s < 1.0)
        expected = np.where(there, 0.3 * np.sin(2 * np.pi * 440.0 * own_s), 0.0)
        edge = np.abs(own_s[:, None] - [0.0, 1.0, start_s, start_s + 0.7]).min(axis=1) < 0.02
        assert np.allclose(found[~edge], expected[~edge], atol=2e-3)
    assert not excerpt(clip, 3.0, 3.5).any()


def test_a_spectrum_is_that_of_the_128_ms_around_a_time():
    clip = tones((1_000.0, 0.3), length_s=2.0)
    cut = clip.samples.copy()
    cut[:RATE_HZ] = 0.0
    late = Clip(samples=cut, rate_hz=RATE_HZ)
    bin_hz = partials.RATE_HZ / PADDED_FRAMES
    at_s = np.array([0.5, 0.93, 1.0, 1.07, 1.5])
    found = spectra(late, at_s)
    assert found.shape == (5, PADDED_FRAMES // 2 + 1)
    # a Hann window sums to half its frames, and half of a sine is at its frequency
    whole = 0.3 * LONG_FRAMES / 4
    peak = found[:, round(1_000.0 / bin_hz)]
    assert peak[0] == pytest.approx(0.0, abs=0.01 * whole)
    assert peak[1] == pytest.approx(0.0, abs=0.01 * whole)  # 64 ms to each side, less a little
    assert peak[2] == pytest.approx(whole / 2, rel=0.02)
    assert peak[3:] == pytest.approx([whole] * 2, rel=0.01)
    short = spectra(late, at_s, window_frames=800)
    assert short[4, round(1_000.0 / bin_hz)] == pytest.approx(0.3 * 800 / 4, rel=0.01)
    assert spectra(clip, np.array([0.5]))[0, round(1_000.0 / bin_hz)] == pytest.approx(
        whole, rel=0.01
    )


def test_partials_of_a_pitch_are_multiples_of_it():
    # ISO 16: A4 has 440 Hz
    assert partial_hz(np.array([A4, A4 - 12])).tolist() == [
        [440.0 * n for n in range(1, 11)],
        [220.0 * n for n in range(1, 11)],
    ]


def test_magnitudes_are_read_between_bins_and_not_above_5_khz():
    bin_hz = partials.RATE_HZ / PADDED_FRAMES
    ramp = np.arange(PADDED_FRAMES // 2 + 1.0) * np.array([[1.0], [2.0]])
    hz = np.array([[0.0, 10.25 * bin_hz, 4_999.0, 5_001.0]] * 2)
    found = read_at(ramp, hz)
    assert found[0] == pytest.approx([0.0, 10.25, 4_999.0 / bin_hz, 0.0])
    assert found[1] == pytest.approx(2 * found[0])


@pytest.mark.parametrize("cents", [-40.0, -3.0, 0.0, 17.0, 55.0])
def test_a_peak_is_told_in_cents_from_its_place(cents):
    hz = partial_hz(np.array(A4 + cents / 100))
    clip = tones(*((each, 0.1) for each in hz[:6]))
    found, above = peaks(spectra(clip, np.array([0.5])), np.array([A4]), reach_cents=60.0)
    assert found.shape == above.shape == (1, 10)
    assert found[0, :6] == pytest.approx([cents] * 6, abs=1.5)
    assert (above[0, :6] == 8.0).all()  # far above what is around it, and counts no more


def test_where_there_is_no_peak_in_reach_none_is_told():
    clip = tones((440.0 * 2 ** (90 / 1200), 0.1))
    found, above = peaks(spectra(clip, np.array([0.5])), np.array([A4]), reach_cents=60.0)
    assert np.isnan(found[0, 0])
    assert above[0, 0] == 0.0
    high = partial_hz(np.array(A4 + 30))  # partials above 5 kHz are not read
    found, above = peaks(spectra(clip, np.array([0.5])), np.array([A4 + 30]), reach_cents=60.0)
    assert np.isnan(found[0, high >= 5_000.0]).all()
    assert not above[0, high >= 5_000.0].any()


def test_a_peak_counts_by_what_is_around_it():
    rng = np.random.default_rng(6)
    noise = 0.02 * rng.standard_normal(2 * RATE_HZ)
    at_s = np.arange(2 * RATE_HZ) / RATE_HZ
    sizes = (0.002, 0.004)
    told = []
    for size in sizes:
        sound = noise + size * np.sin(2 * np.pi * 880.0 * at_s)
        clip = Clip(samples=np.stack([sound] * 2, axis=1).astype(np.float32), rate_hz=RATE_HZ)
        told.append(
            peaks(spectra(clip, np.arange(0.2, 1.8, 0.1)), np.full(16, 81.0), reach_cents=50.0)[1][
                :, 0
            ]
        )
    assert 0.3 < np.median(told[0]) < np.median(told[1]) < 8.0


@pytest.mark.parametrize(
    ("cents", "is_its"),
    [(-140.0, True), (0.0, True), (45.0, True), (130.0, False), (-280.0, False)],
)
def test_a_note_may_come_up_from_below_and_be_a_little_sharp(cents, is_its):
    clip = tones((440.0 * 2 ** (cents / 1200), 0.1))
    levels, between = note_levels(clip, np.array([0.4, 0.5]), A4, near_cents=50.0)
    assert levels.shape == between.shape == (2, 10)
    share = levels[0, 0] / (0.1 * 800 / 4)
    assert bool(share > 0.9) is is_its
    assert bool(share < 0.75) is not is_its


@pytest.mark.parametrize(
    ("hz", "is_between"), [(440.0, False), (616.0, True), (660.0, True), (704.0, True)]
)
def test_strokes_are_between_the_partials_as_well(hz, is_between):
    _, between = note_levels(tones((hz, 0.1)), np.array([0.5]), A4, near_cents=50.0)
    share = between[0, 0] / (0.1 * 800 / 4)
    assert bool(share > 0.95) is is_between
    assert bool(share < 0.05) is not is_between


def _sung_part(n_readings, *, sung_db=8.0, band_db=2.0, at_s=None):
    at_s = np.linspace(1.0, 2.0, n_readings) if at_s is None else at_s
    return SimpleNamespace(
        at_s=at_s, midi=np.full(len(at_s), A4), weights=np.ones((len(at_s), 10)),
        sung_db=sung_db, band_db=band_db,
    )  # fmt: skip


@pytest.mark.parametrize(("n_readings", "is_told"), [(20, True), (19, False)])
def test_twenty_readings_tell_who_sings(n_readings, is_told):
    clip = tones(*((440.0 * n, 0.05) for n in range(1, 11)), length_s=3.0)
    part = _sung_part(n_readings)
    assert (presence(part, clip, same, 0.0) is not None) is is_told
    assert (phrase_late_s(part, clip, same, 0.0) is not None) is is_told
    near = _sung_part(21, at_s=np.concatenate([np.linspace(1.0, 2.0, 19), [0.39, 2.61]]))
    assert presence(near, clip, same, 0.0) is None  # so near to an end nothing is read
    inside = _sung_part(21, at_s=np.concatenate([np.linspace(1.0, 2.0, 19), [0.41, 2.59]]))
    assert presence(inside, clip, same, 0.0) is not None


def test_presence_lies_between_the_band_alone_and_the_singer_of_the_plan(monkeypatch):
    monkeypatch.setattr(partials, "outstanding_db", lambda *_: 5.0)
    clip = tones((440.0, 0.1), length_s=3.0)
    assert presence(_sung_part(30), clip, same, 0.0) == pytest.approx(0.5)
    assert presence(_sung_part(30, band_db=-1.0), clip, same, 0.0) == pytest.approx(6 / 9)
    assert presence(_sung_part(30, sung_db=2.9), clip, same, 0.0) is None  # hardly stands out
    assert presence(_sung_part(30, sung_db=3.1), clip, same, 0.0) is not None


def test_a_take_that_is_tuned_otherwise_is_read_there():
    clip = tones(*((440.0 * 2 ** (300 / 1200) * n, 0.05) for n in range(1, 9)), length_s=3.0)
    there, not_there = (
        presence(_sung_part(30, sung_db=18.0, band_db=0.0), clip, same, cents)
        for cents in (300.0, 0.0)
    )
    assert there > 0.7
    assert not_there < 0.3


def test_tones_stand_out_by_18_db_at_the_most():
    at_s, midi = np.linspace(1.0, 2.0, 30), np.full(30, A4)
    clip = tones(*((440.0 * n, 0.05) for n in range(1, 11)), length_s=3.0)
    weights = np.zeros((30, 10))
    weights[:, :5] = 1.0
    assert outstanding_db(clip, at_s, midi, weights) == pytest.approx(18.0, abs=0.1)
    for cents in (-155.0, 155.0):  # a singer off by so much is heard nevertheless
        assert outstanding_db(clip, at_s, midi + cents / 100, weights) > 12.0
    assert outstanding_db(clip, at_s, midi + 3.5, weights) < 6.0
    short = np.zeros((3 * RATE_HZ, 2))
    short[: round(1.3 * RATE_HZ)] = clip.samples[: round(1.3 * RATE_HZ)]
    early = Clip(samples=short.astype(np.float32), rate_hz=RATE_HZ)
    late_s = np.linspace(1.35, 1.5, 30)  # 0.3 s late is heard, at its lateness
    assert outstanding_db(early, late_s, midi, weights) > 12.0
