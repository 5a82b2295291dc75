"""The drum bridge: the right drums found, on the beat, as loud as in the song."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from segue.audio.clip import Clip, SongEdge, Stem
from segue.plan.layer import DrumHit, DrumLayer
from segue.render import render_candidate
from segue.render.drum_kit import drum_kit
from tests.render.conftest import RATE_HZ, song
from tests.render.measure import attack_frames, only, rms_db, spectrum_of

BPM = 112.0
ON_BEAT_S = 0.001


def kick(rate_hz):
    time_s = np.arange(round(0.25 * rate_hz)) / rate_hz
    pitch = 55 + 90 * np.exp(-time_s / 0.02)
    return 0.9 * np.sin(2 * np.pi * np.cumsum(pitch) / rate_hz) * np.exp(-time_s / 0.07)


def snare(rate_hz, generator):
    time_s = np.arange(round(0.2 * rate_hz)) / rate_hz
    wires = sosfilt(
        butter(2, (1_000, min(9_000, 0.45 * rate_hz)), "bandpass", fs=rate_hz, output="sos"),
        generator.standard_normal(len(time_s)),
    )
    body = np.sin(2 * np.pi * 195 * time_s) * np.exp(-time_s / 0.05)
    return 0.35 * body + 0.35 * wires * np.exp(-time_s / 0.05)


def hat(rate_hz, generator):
    time_s = np.arange(round(0.08 * rate_hz)) / rate_hz
    high = butter(4, min(7_500, 0.34 * rate_hz), "highpass", fs=rate_hz, output="sos")
    noise = sosfilt(high, generator.standard_normal(len(time_s)))
    return 0.2 * noise * np.exp(-time_s / 0.02)


def groove(rate_hz=RATE_HZ, length_s=16.0, drums=("kick", "snare", "hat")):
    """Kick on one and three, snare on two and four, hats in eighths, some of them alone."""
    generator = np.random.default_rng(11)
    sound = np.zeros((round(length_s * rate_hz), 2))
    for number in range(int((length_s - 0.5) * BPM / 60 * 2)):
        at = round((0.2 + number * 30 / BPM) * rate_hz)
        name = ("kick", "hat", "snare", "hat")[number % 4]
        if name in drums:
            hit = (
                kick(rate_hz)
                if name == "kick"
                else (snare if name == "snare" else hat)(rate_hz, generator)
            )
            sound[at : at + len(hit)] += hit[:, None] * generator.uniform(0.85, 1.0)
        if "hat" in drums and not number % 2 and number % 3:
            sound[at : at + round(0.08 * rate_hz)] += hat(rate_hz, generator)[:, None]
    return sound


def stems_of(*parts, rate_hz=RATE_HZ):
    base = song(parts[0][1], rate_hz=rate_hz)
    stems = tuple(
        Stem(
            role=role,
            file=f"{role}.wav",
            clip=Clip(samples=samples.astype(np.float32), rate_hz=rate_hz),
        )
        for role, samples in parts
    )
    return SongEdge(path=base.path, title="Groove", edge="end", stems=stems, duration_s=16.0)


def bridge(*hits, **changes):
    layer = DrumLayer(
        name="bridge",
        song="outgoing",
        start_beat=4,
        end_beat=12,
        hits=tuple(DrumHit(beat=beat, drum=drum) for beat, drum in hits),
    )
    return replace(layer, **changes)


PATTERN = (
    (4.0, "kick"), (5.0, "snare"), (6.0, "kick"), (6.75, "hat"), (7.5, "hat"), (8.25, "kick"),
    (9.25, "snare"), (10.5, "hat"),
)  # fmt: skip


def share_db(sound, rate_hz, low_hz, high_hz):
    hertz, spectrum = spectrum_of(sound, rate_hz)
    inside = (hertz >= low_hz) & (hertz < high_hz)
    return float(10 * np.log10(np.square(spectrum[inside]).sum() / np.square(spectrum).sum()))


@pytest.mark.parametrize("rate_hz", [22_050, 44_100, 48_000, 96_000])
def test_every_drum_is_found_and_is_itself(rate_hz):
    kit, remarks = drum_kit(groove(rate_hz).astype(np.float32), rate_hz)
    assert set(kit) == {"kick", "snare", "hat"}
    assert not remarks
    assert share_db(kit["kick"].samples, rate_hz, 35, 170) > -1.5
    assert share_db(kit["snare"].samples, rate_hz, 150, 10_000) > -1.5
    assert share_db(kit["snare"].samples, rate_hz, 0, 110) < -15
    assert share_db(kit["hat"].samples, rate_hz, 5_000, rate_hz) > -1.5


@pytest.mark.parametrize("rate_hz", [22_050, 48_000, 96_000])
def test_every_attack_is_on_its_beat(plan, rate_hz, incoming):
    """Within 1 ms, also on the ramp from beat 4 to 12."""
    edge = stems_of(("drums", groove(rate_hz)), rate_hz=rate_hz)
    other = song(np.zeros((1_000, 2)), rate_hz=rate_hz)
    made = render_candidate(only(plan, bridge(*PATTERN)), edge, other).interlude.samples
    wanted = np.array([plan.seconds_at(beat) * rate_hz for beat, _ in PATTERN])
    found = attack_frames(made, np.round(wanted).astype(int), rate_hz)
    assert np.abs(found - wanted).max() / rate_hz < ON_BEAT_S


def test_drums_are_as_loud_as_in_the_song(plan, incoming):
    """The song's own pattern played by the bridge, in power over the same time."""
    own = groove()
    edge = stems_of(("drums", own))
    beats = [(4 + number, "snare" if number % 2 else "kick") for number in range(8)]
    quiet = only(plan, bridge(*beats), outgoing_gain_db=-6.0)  # below the limiter
    made = render_candidate(quiet, edge, incoming).interlude.samples * 10 ** (6 / 20)
    first, last = (round(plan.seconds_at(beat) * RATE_HZ) for beat in (4, 12))
    played = np.square(made[first:last]).sum() / 8
    bare = groove(drums=("kick", "snare"))
    wanted = np.square(bare).sum() / int((16.0 - 0.5) * BPM / 60)
    assert 10 * np.log10(played / wanted) == pytest.approx(0.0, abs=1.5)


def test_level_match_counts(plan, incoming):
    edge = stems_of(("drums", groove()))
    loud, quiet = (
        render_candidate(only(plan, bridge(*PATTERN), outgoing_gain_db=level), edge, incoming)
        for level in (-6.0, -12.0)
    )
    assert rms_db(loud.interlude.samples) - rms_db(quiet.interlude.samples) == pytest.approx(
        6.0, abs=0.01
    )


def test_a_missing_hat_is_borrowed_and_a_missing_kick_left_out(plan, incoming):
    edge = stems_of(("drums", groove(drums=("snare",))))
    made = render_candidate(only(plan, bridge(*PATTERN)), edge, incoming)
    assert any("no kick was found" in note for note in made.notes)
    assert any("the top of the snare stands in" in note for note in made.notes)
    at = round(plan.seconds_at(10.5) * RATE_HZ)
    borrowed = made.interlude.samples[at - 100 : at + 4_000]
    assert share_db(borrowed, RATE_HZ, 5_000, RATE_HZ) > -2
    kick_at = round(plan.seconds_at(6.0) * RATE_HZ)
    assert rms_db(made.interlude.samples[kick_at : kick_at + 2_000]) < -70


@pytest.mark.parametrize("rate_hz", [22_050, 48_000])
def test_where_nothing_beats_time_a_short_noise_does(rate_hz):
    """The top of kicks and plucked notes, far under them, is no hat that anybody hears."""
    hits = groove(rate_hz, drums=("kick",))
    hats = groove(rate_hz, drums=("kick", "hat")) - hits
    hits = hits + 10 ** (-40 / 20) * hats
    kit, remarks = drum_kit(hits.astype(np.float32), rate_hz)
    assert set(kit) == {"kick", "hat"}
    assert remarks == ("no snare was found", "no hat was found: a short noise stands in")
    sound = kit["hat"]
    assert share_db(sound.samples, rate_hz, 3_000, rate_hz) > -1.0
    over_db = 20 * np.log10(np.abs(sound.samples).max()) - rms_db(hits)
    assert over_db == pytest.approx(6.0, abs=0.1)
    again, _ = drum_kit(hits.astype(np.float32), rate_hz)
    assert np.array_equal(sound.samples, again["hat"].samples)


def test_a_mix_gives_its_drums_with_a_warning(plan, incoming):
    time_s = np.arange(round(16.0 * RATE_HZ))[:, None] / RATE_HZ
    chord = sum(0.08 * np.sin(2 * np.pi * hertz * time_s) for hertz in (220.0, 277.2, 329.6))
    edge = song(groove() + chord + np.zeros((1, 2)))
    made = render_candidate(only(plan, bridge(*PATTERN)), edge, incoming)
    assert any("come out of its mix" in note for note in made.notes)
    wanted = np.array([plan.seconds_at(beat) * RATE_HZ for beat, _ in PATTERN])
    found = attack_frames(made.interlude.samples, np.round(wanted).astype(int), RATE_HZ)
    assert np.abs(found - wanted).max() / RATE_HZ < 2 * ON_BEAT_S


def test_a_song_without_drums_is_silent_and_says_so(plan, incoming):
    edge = stems_of(("drums", np.zeros((16 * RATE_HZ, 2))))
    made = render_candidate(only(plan, bridge(*PATTERN)), edge, incoming)
    assert not made.interlude.samples.any()
    for drum in ("kick", "snare", "hat"):
        assert any(f"no {drum} was found" in note for note in made.notes)


def test_nothing_clicks_where_the_bridge_ends(plan, incoming):
    edge = stems_of(("drums", groove()))
    made = render_candidate(
        only(plan, bridge((4.0, "kick"), (11.95, "snare"))), edge, incoming
    ).interlude.samples
    end = round(plan.seconds_at(12) * RATE_HZ)
    assert not made[end:].any()
    assert np.abs(made[end - 5 : end]).max() < 1e-3


def test_a_kick_is_cleaner_for_being_averaged_over_its_hits(monkeypatch):
    """Under tones that change with every hit: against the best hit alone."""
    generator = np.random.default_rng(5)
    drums = groove(length_s=16.0, drums=("kick",))
    time_s = np.arange(len(drums)) / RATE_HZ
    bed = np.zeros(len(drums))
    for start_s in np.arange(0.0, 16.0, 0.4):
        inside = (time_s >= start_s) & (time_s < start_s + 0.4)
        hertz = generator.uniform(80.0, 900.0, 3)
        bed[inside] = sum(np.sin(2 * np.pi * x * time_s[inside]) for x in hertz)
    mixed = (drums + 0.03 * bed[:, None]).astype(np.float32)

    def clean_db():
        kit, _ = drum_kit(mixed, RATE_HZ)
        made = kit["kick"].samples[kit["kick"].attack_frame :].mean(axis=1, dtype=np.float64)
        wanted = kick(RATE_HZ)[: round(0.15 * RATE_HZ)]
        best = -np.inf
        for shift in range(-40, 41):
            part = np.roll(made, shift)[: len(wanted)]
            own = wanted * (wanted @ part) / (wanted @ wanted)
            best = max(best, rms_db(own) - rms_db(part - own))
        return best

    averaged_db = clean_db()
    monkeypatch.setattr("segue.render.drum_kit.MOST_AVERAGED", 1)
    assert averaged_db > clean_db() + 3.0
