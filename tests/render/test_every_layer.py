"""All kinds of layers together: repeatable, finite, whole, and never on each other's buses."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from segue.audio.true_peak import true_peak_dbtp
from segue.plan.layer import (
    DrumHit,
    DrumLayer,
    FrozenLayer,
    PadLayer,
    ReversedLayer,
    SongLayer,
    SweepLayer,
    Voicing,
)
from segue.render import render_candidate
from tests.render.conftest import NEW_BPM, OLD_BPM, curve, key_frames, music, song
from tests.render.test_drum_kit import groove

KINDS = ("song", "pad", "drums", "frozen", "riser", "swell", "impact", "reversed")


def layers():
    chord = Voicing(start_beat=4, end_beat=12, notes_midi=(45, 57, 60, 64), symbol="Am")
    sends = {"reverb_db": curve((4, -12)), "echo_db": curve((4, -60), (8, -9))}
    return {
        "song": SongLayer(
            name="song",
            song="outgoing",
            start_beat=0,
            end_beat=8,
            time_map=key_frames(0, 8, OLD_BPM),
            pitch_semitones=curve((4, 0), (8, -1)),
            pan=curve((4, 0), (8, 0.5)),
            **sends,
        ),
        "pad": PadLayer(name="pad", voicings=(chord,), gain_db=curve((4, -12)), **sends),
        "drums": DrumLayer(
            name="drums",
            song="incoming",
            start_beat=4,
            end_beat=12,
            hits=(DrumHit(beat=5, drum="kick"), DrumHit(beat=6.5, drum="snare", gain_db=-3)),
            **sends,
        ),
        "frozen": FrozenLayer(
            name="frozen",
            song="outgoing",
            source_s=3.0,
            start_beat=4,
            end_beat=12,
            pitch_semitones=curve((4, 0), (12, 2)),
            tone_midi=57.0,
            thinning=curve((4, 0), (12, 1)),
            **sends,
        ),
        "riser": SweepLayer(
            name="riser", sweep="riser", start_beat=4, end_beat=12, tone_midi=67, **sends
        ),
        "swell": SweepLayer(name="swell", sweep="swell", start_beat=8, end_beat=12),
        "impact": SweepLayer(
            name="impact", sweep="impact", start_beat=8, end_beat=12, tone_midi=31, **sends
        ),
        "reversed": ReversedLayer(
            name="reversed",
            song="incoming",
            source_s=0.6,
            length_s=0.8,
            start_beat=8,
            end_beat=12,
        ),
    }


@cache
def songs(rate_hz):
    old = song(music(9.0, OLD_BPM, rate_hz=rate_hz), rate_hz=rate_hz)
    beat = groove(rate_hz, 9.0) + 0.3 * music(9.0, NEW_BPM, rate_hz=rate_hz, seed=2)
    return old, song(beat, rate_hz=rate_hz)


@pytest.mark.parametrize("rate_hz", [22_050, 44_100, 96_000])
def test_every_kind_of_layer_renders_the_same_twice_with_and_without_click(plan, rate_hz):
    full = replace(plan, layers=tuple(layers().values()), end_beat=13, click=plan.click[:13])
    made = render_candidate(full, *songs(rate_hz))
    again = render_candidate(replace(full, click=(), cue=()), *songs(rate_hz))
    assert np.array_equal(made.music.samples, again.music.samples)
    assert np.isfinite(made.music.samples).all()
    assert made.music.n_frames == int(np.ceil(full.duration_s * rate_hz - 1e-6))
    # EBU R 128: true peak at most -1 dBTP
    assert true_peak_dbtp(made.music, oversampling=16) <= -1.0
    assert made.click.samples.any()


@pytest.fixture(scope="module")
def alone(plan):
    """The music of each kind of layer on its own, 18 dB down, at 22.05 kHz."""
    return {
        name: render_candidate(replace(plan, layers=(quiet(layer),)), *songs(22_050)).music.samples
        for name, layer in layers().items()
    }


def quiet(layer):
    return replace(layer, gain_db=curve((0, -18)))


def test_what_is_cut_out_of_the_songs_is_told_from_what_is_made(plan):
    kinds = layers()

    def share(*names, trim_db=0.0, bridge_lu=()):
        drums, *others = (quiet(kinds[name]) for name in names)
        chosen = (replace(drums, trim_db=trim_db), *others)
        changed = replace(plan, layers=chosen, bridge_lu=bridge_lu)
        return render_candidate(changed, *songs(22_050)).own_share

    assert share("reversed", "frozen", "drums") == 1.0
    assert share("pad", "riser") == 0.0
    # drums beside a pad: each counts with its power, also after a fader or a hand has moved it
    powers = [
        np.square(
            render_candidate(replace(plan, layers=(quiet(kinds[name]),)), *songs(22_050))
            .interlude.samples[slice(*(round(plan.seconds_at(b) * 22_050) for b in (4, 12)))],
            dtype=np.float64,
        ).sum()
        for name in ("drums", "pad")
    ]  # fmt: skip
    together = share("drums", "pad")
    assert together == pytest.approx(powers[0] / sum(powers), rel=0.01)
    assert share("drums", "pad", trim_db=-12.0) < together < share("drums", "pad", trim_db=12.0)
    ridden = share("frozen", "pad", bridge_lu=curve((4, -2.0)))
    assert 0.0 < ridden < 1.0


def test_layers_do_not_change_the_sound_of_each_other(plan, alone):
    """Together they are the sum of each alone: no shared randomness or effect memory."""
    together = replace(plan, layers=tuple(quiet(layer) for layer in layers().values()))
    made = render_candidate(together, *songs(22_050)).music.samples
    assert np.abs(made - sum(alone.values())).max() < 2e-6


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_sounds_before_its_layer(plan, kind, alone):
    first = round((plan.seconds_at(layers()[kind].start_beat) - 0.011) * 22_050)
    assert not alone[kind][: max(first, 0)].any()
    assert np.abs(alone[kind]).max() > 1e-3
