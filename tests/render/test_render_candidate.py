"""A candidate: exact length, buses that line up and never leak, level, peaks, joins."""

from dataclasses import replace

import numpy as np
import pytest

from segue.audio.clip import SongEdge, Stem
from segue.audio.loudness import integrated_lufs
from segue.audio.true_peak import true_peak_dbtp
from segue.plan.layer import MapPoint, PadLayer, SongLayer, Voicing
from segue.render import render_candidate
from tests.render.conftest import OLD_BPM, RATE_HZ, curve, key_frames, music, song


@pytest.fixture(scope="module")
def candidate(plan, outgoing, incoming):
    return render_candidate(plan, outgoing, incoming)


def old_layer(**changes):
    base = SongLayer(
        name="old", song="outgoing", start_beat=0, end_beat=12, time_map=key_frames(0, 12, OLD_BPM)
    )
    return replace(base, **changes)


def test_length_is_exact_and_buses_line_up(candidate, plan):
    n_frames = int(np.ceil(plan.duration_s * RATE_HZ))
    for bus in (candidate.music, candidate.click, candidate.cue, candidate.incoming):
        assert bus.n_frames == n_frames
    assert candidate.music.samples.shape[1] == 2
    assert candidate.click.samples.shape[1] == candidate.cue.samples.shape[1] == 1


def test_the_sides_add_up_to_the_music(candidate):
    """Below the ceiling nothing but the sum may happen."""
    total = sum(
        side.samples.astype(np.float64)
        for side in (candidate.outgoing, candidate.interlude, candidate.incoming)
    )
    assert true_peak_dbtp(candidate.music) < -1
    assert np.abs(total - candidate.music.samples).max() < 1e-6


def test_without_its_sides_a_candidate_keeps_its_buses_and_takes_no_memory_for_them(candidate):
    bare = candidate.without_sides()
    assert bare.music is candidate.music
    assert bare.click is candidate.click
    assert not bare.interlude.samples.any()
    assert bare.interlude.samples.strides == (0, 0)


def test_music_is_the_same_bit_for_bit_without_click_and_cue(candidate, plan, outgoing, incoming):
    bare = render_candidate(replace(plan, click=(), cue=()), outgoing, incoming)
    assert candidate.click.samples.any()
    assert candidate.cue.samples.any()
    assert not bare.click.samples.any()
    assert np.array_equal(bare.music.samples, candidate.music.samples)


def test_the_same_plan_gives_the_same_samples(candidate, plan, outgoing, incoming):
    again = render_candidate(plan, outgoing, incoming)
    assert np.array_equal(again.music.samples, candidate.music.samples)


def test_layers_made_side_by_side_sound_the_same(candidate, plan, outgoing, incoming):
    together = render_candidate(plan, outgoing, incoming, n_threads=2)
    assert np.array_equal(together.music.samples, candidate.music.samples)
    assert together.notes == candidate.notes


def test_steady_audio_is_the_songs_own(candidate, plan, outgoing):
    """Beat 1 to 3 of the old song, at 0 dB, unfiltered."""
    first, last = (round(plan.seconds_at(beat) * RATE_HZ) for beat in (1, 3))
    offset = round((1.0 - plan.lead_in_s) * RATE_HZ)
    expected = outgoing.mix.samples[first + offset : last + offset]
    assert np.array_equal(candidate.outgoing.samples[first:last], expected)


def test_a_layer_sounds_only_between_its_beats(with_layers, outgoing, incoming):
    plan = with_layers(old_layer(start_beat=2, end_beat=6))
    made = render_candidate(plan, outgoing, incoming).outgoing.samples
    first, last = (round(plan.seconds_at(beat) * RATE_HZ) for beat in (2, 6))
    assert not made[:first].any()
    assert not made[last:].any()
    assert made[first:last].any()


def test_level_match_and_gain_add_up_in_decibels(with_layers, outgoing, incoming):
    # both so soft that the whole is not lowered for its peaks
    plain = render_candidate(with_layers(old_layer(gain_db=curve((0, -3)))), outgoing, incoming)
    quiet = render_candidate(
        with_layers(old_layer(gain_db=curve((0, -7))), outgoing_gain_db=-2.0), outgoing, incoming
    )
    lowered = integrated_lufs(plain.outgoing) - integrated_lufs(quiet.outgoing)
    assert lowered == pytest.approx(6.0, abs=0.001)


def test_at_most_minus_60_db_is_silence(with_layers, outgoing, incoming):
    layer = old_layer(gain_db=curve((4, 0), (6, -60), (12, -60)))
    plan = with_layers(layer)
    made = render_candidate(plan, outgoing, incoming).outgoing.samples
    assert not made[round(plan.seconds_at(6.01) * RATE_HZ) :].any()


def test_a_reverb_tail_rings_on_after_its_layer(with_layers, outgoing, incoming):
    dry = with_layers(old_layer(end_beat=6))
    wet = with_layers(old_layer(end_beat=6, reverb_db=curve((4, -6))))
    after = slice(round(dry.seconds_at(6.1) * RATE_HZ), round(dry.seconds_at(7) * RATE_HZ))
    tail = render_candidate(wet, outgoing, incoming).outgoing.samples
    assert not render_candidate(dry, outgoing, incoming).outgoing.samples[after].any()
    assert np.abs(tail[after]).max() > 0.01
    assert np.abs(tail[-RATE_HZ // 2 :]).max() < np.abs(tail[after]).max() / 4


def test_peaks_stay_below_the_ceiling_and_lowering_is_said(with_layers, outgoing, incoming):
    plan = with_layers(old_layer(gain_db=curve((0, 16))))
    loud = render_candidate(plan, outgoing, incoming)
    # EBU R 128: true peak at most -1 dBTP
    assert -1.6 < true_peak_dbtp(loud.music, oversampling=16) <= -1.0
    assert any("lower than planned" in note for note in loud.notes)
    most = np.abs(loud.outgoing.samples).max()
    assert 20 * np.log10(most) < 0.3, "the limiter itself may take no more than 1 dB"


def test_no_join_makes_a_step_of_its_own(candidate, plan):
    """A step at a join at most the 99.99th percentile of the material around it."""
    steps = np.abs(np.diff(candidate.music.samples, axis=0)).max(axis=1)
    for beat in (4, 12, 14):
        centre = round(plan.seconds_at(beat) * RATE_HZ)
        around = steps[centre - RATE_HZ : centre + RATE_HZ]
        at_join = steps[centre - 2_000 : centre - 100]  # the attack on the beat is the song's
        assert at_join.max() <= np.percentile(around, 99.99)


def test_sound_that_was_not_decoded_is_silence_and_said(with_layers, outgoing, incoming):
    points = (MapPoint(beat=0, source_s=11.0), MapPoint(beat=12, source_s=17.0))
    made = render_candidate(with_layers(old_layer(time_map=points)), outgoing, incoming)
    assert any("not decoded" in note for note in made.notes)


def test_a_mix_says_what_it_cannot_give(with_layers, outgoing, incoming):
    drums = old_layer(roles=("drums",), part="percussive")
    (note,) = render_candidate(with_layers(drums), outgoing, incoming).notes
    assert note.startswith(f"The drums of {outgoing.title} come out of its mix")
    rest = old_layer(roles=("bass", "keys"), part="harmonic")
    (note,) = render_candidate(with_layers(rest), outgoing, incoming).notes
    assert note.startswith(f"Drums are taken out of the mix of {outgoing.title}")
    bass = old_layer(roles=("bass", "keys"))
    (note,) = render_candidate(with_layers(bass), outgoing, incoming).notes
    assert "plays all of it, not bass and keys alone" in note
    most = old_layer(roles=("drums", "keys", "guitar", "synth", "other"))
    (note,) = render_candidate(with_layers(most), outgoing, incoming).notes
    assert note.endswith("has its bass in it, too.")
    band = old_layer(roles=("drums", "bass", "keys", "guitar", "synth", "other"))
    assert render_candidate(with_layers(band), outgoing, incoming).notes == ()


def test_stems_are_chosen_by_role_and_part(with_layers, incoming):
    drums, keys = (song(music(14.0, OLD_BPM, seed=n)).stems[0].clip for n in (3, 4))
    edge = SongEdge(
        path=song(np.zeros((8, 2))).path,
        title="Stems",
        edge="end",
        stems=(
            Stem(role="drums", file="drums.wav", clip=drums),
            Stem(role="keys", file="keys.wav", clip=keys),
        ),
        duration_s=14.0,
    )
    for changes, clip in (({"roles": ("keys",)}, keys), ({"part": "percussive"}, drums)):
        plan = with_layers(old_layer(end_beat=4, time_map=key_frames(0, 4, OLD_BPM), **changes))
        made = render_candidate(plan, edge, incoming).outgoing.samples
        first, last = (round(plan.seconds_at(beat) * RATE_HZ) for beat in (1, 3))
        offset = round((1.0 - plan.lead_in_s) * RATE_HZ)
        assert np.array_equal(made[first:last], clip.samples[first + offset : last + offset])
    silent = render_candidate(with_layers(old_layer(roles=("voice",))), edge, incoming)
    assert any("no stem" in note for note in silent.notes)


def test_drums_of_a_voice_and_its_backing_are_those_of_the_backing(with_layers, incoming):
    voice, track = (song(music(14.0, OLD_BPM, seed=n)).stems[0].clip for n in (3, 4))
    alone = song(track.samples)
    sung = Stem(role="voice", file="voice.wav", clip=voice)
    named = Stem(role="other", file="strings.wav", clip=track)
    tracks = replace(named, file="instrumental.wav", is_backing=True)

    def made(edge, **changes):
        layer = old_layer(end_beat=4, time_map=key_frames(0, 4, OLD_BPM), **changes)
        return render_candidate(with_layers(layer), edge, incoming)

    edge = replace(alone, stems=(sung, tracks))
    drums = made(edge, roles=("drums",))
    wanted = made(alone, part="percussive").outgoing.samples
    assert wanted.any()
    assert np.array_equal(drums.outgoing.samples, wanted)
    assert any("A drum stem is better." in note for note in drums.notes)
    rest = made(edge, roles=("bass", "other"))
    whole = made(edge, roles=("drums", "other"))
    parts = drums.outgoing.samples + rest.outgoing.samples
    assert np.abs(parts - whole.outgoing.samples).max() < 1e-5
    assert any(note.startswith("Drums are taken out") for note in rest.notes)
    bare = made(replace(alone, stems=(sung, named)), roles=("drums",))
    assert not bare.outgoing.samples.any()


def test_a_pad_at_0_db_has_the_target_loudness(with_layers, outgoing, incoming):
    for sound in ("warm", "glass", "choir"):
        pad = PadLayer(
            name="pad",
            sound=sound,
            voicings=(
                Voicing(start_beat=0, end_beat=16, notes_midi=(45, 57, 60, 64), symbol="Am"),
            ),
        )
        made = render_candidate(with_layers(pad), outgoing, incoming).interlude
        assert integrated_lufs(made) == pytest.approx(-16.0, abs=0.1)


def test_a_pad_fades_out_fully(candidate, plan):
    assert not candidate.interlude.samples[round(plan.seconds_at(14.05) * RATE_HZ) :].any()


def test_two_rates_are_refused(plan, outgoing):
    other = song(np.zeros((1_000, 2)), rate_hz=44_100)
    with pytest.raises(ValueError, match="48000 and 44100"):
        render_candidate(plan, outgoing, other)


def test_how_many_layers_are_left_is_told_after_each(plan, outgoing, incoming):
    told = []
    render_candidate(plan, outgoing, incoming, on_layer=told.append)
    assert told == [*reversed(range(len(plan.layers)))]
