"""Layers of every kind, rendered alone and together: ``python -m tests.regression.write_sounds``.

Of each is kept how loud it is every half second, by bands of two octaves and by sides. Nothing
here is planned: the layers are written by hand, so that only the render can move them.
"""

from dataclasses import replace
from functools import cache

import numpy as np
from scipy.signal import butter, sosfiltfilt

from segue.plan.layer import (
    DrumHit,
    DrumLayer,
    PadLayer,
    PlayedLayer,
    PlayedNote,
    SongLayer,
    SweepLayer,
    Voicing,
)
from segue.render import render_candidate
from tests.regression.kept import write
from tests.render.conftest import NEW_BPM, OLD_BPM, curve, key_frames, music, plan_by_hand, song
from tests.render.test_drum_kit import groove
from tests.render.test_every_layer import layers

NAME = "sounds.json"
RATE_HZ = 22_050
STEP_S = 0.5
CUTS_HZ = (125.0, 500.0, 2_000.0)
FLOOR_DB = -70.0
"""What is softer is silence here: nobody hears it beside anything else."""
AM = Voicing(start_beat=4, end_beat=8, notes_midi=(45, 57, 60, 64), symbol="Am")
G = Voicing(start_beat=8, end_beat=12, notes_midi=(43, 59, 62, 67), symbol="G")


@cache
def songs():
    """Chords with noise on every beat; the new one has a kit of its own as well."""
    old = song(music(14.0, OLD_BPM, rate_hz=RATE_HZ), rate_hz=RATE_HZ)
    kit = groove(RATE_HZ, 14.0) + 0.3 * music(14.0, NEW_BPM, rate_hz=RATE_HZ, seed=2)
    return old, song(0.5 * kit, rate_hz=RATE_HZ)


def stretched(**fields):
    """The old song on a tempo that falls, from beat 4 on."""
    made = SongLayer(
        name="old",
        song="outgoing",
        start_beat=4,
        end_beat=12,
        time_map=key_frames(4, 12, OLD_BPM),
    )
    return replace(made, **fields)


def pads(**fields):
    return replace(PadLayer(name="pad", voicings=(AM, G), gain_db=curve((4, -9))), **fields)


def played(sound):
    octave = -12 if sound == "bass" else 0
    notes = [
        PlayedNote(start_beat=beat, end_beat=beat + 0.8, midi=midi + octave, gain_db=-3.0 * (n > 0))
        for beat in (4, 5.5, 8, 10)
        for n, midi in enumerate((57, 60, 64))
    ]
    return PlayedLayer(name=sound, voicings=(AM, G), notes=tuple(notes), sound=sound)


def drums():
    hits = [
        DrumHit(beat=4 + n / 2, drum=("kick", "hat", "snare", "hat")[n % 4], gain_db=-1.0 * (n % 3))
        for n in range(16)
    ]
    return DrumLayer(name="kit", song="incoming", start_beat=4, end_beat=12, hits=tuple(hits))


def alone():
    """Layers by what they are."""
    by_kind = {f"{name} as it is": layer for name, layer in layers().items()}
    return {
        **by_kind,
        "stretched": stretched(),
        "stretched, a fourth up": stretched(pitch_semitones=curve((4, 5))),
        "its harmony alone": stretched(part="harmonic"),
        "its hits alone": stretched(part="percussive"),
        "a filter that closes": stretched(lowpass_hz=curve((4, 8_000), (12, 200))),
        "a filter that opens below": stretched(highpass_hz=curve((4, 20), (12, 2_000))),
        "to the left, with an echo": stretched(
            end_beat=6, pan=curve((4, 0), (6, -1)), echo_db=curve((4, -6)), echo_beats=0.5
        ),
        "into the hall": stretched(end_beat=6, reverb_db=curve((4, -3)), trim_db=2.0),
        **{f"pad, {sound}": pads(sound=sound) for sound in ("warm", "glass", "choir")},
        **{sound: played(sound) for sound in ("keys", "pluck", "organ", "bass")},
        "the act's own kit": drums(),
        "a riser of noise": SweepLayer(name="up", sweep="riser", start_beat=4, end_beat=12),
        "an impact of noise": SweepLayer(name="hit", sweep="impact", start_beat=8, end_beat=12),
    }


def bridges():
    """Whole segues whose bridge has a level, between songs that are not as loud."""
    plan = plan_by_hand()
    old, _, new = plan.layers
    old = replace(old, end_beat=4.2, gain_db=(), time_map=key_frames(0, 5, OLD_BPM))
    between = (pads(), drums(), played("keys"))
    whole = replace(plan, layers=(old, *between, new), incoming_gain_db=-4.0)
    return {
        "level": replace(whole, bridge_lu=curve((4, -2.0))),
        "a rise": replace(whole, bridge_lu=curve((4, -8.0), (12, 1.0))),
        "a bed to talk over": replace(
            whole, layers=(old, pads(), new), bridge_lu=curve((4, -14.0)), talk_s=4.0
        ),
        "as its layers make it": replace(whole, key_to_tuning_cents=20.0),
    }


CASES = tuple(alone()) + tuple(f"bridge, {name}" for name in bridges())


def levels(clip):
    """Decibels, a row of bands and sides for each half second, as one line of text each."""
    samples = clip.samples.astype(np.float64)
    below = [
        sosfiltfilt(butter(4, cut, "lowpass", fs=RATE_HZ, output="sos"), samples, axis=0)
        for cut in CUTS_HZ
    ]
    bands = np.diff(np.stack([np.zeros_like(samples), *below, samples]), axis=0)
    step = round(STEP_S * RATE_HZ)
    n_steps = len(samples) // step
    cut = bands[:, : n_steps * step].reshape(len(bands), n_steps, step, -1)
    decibels = 10 * np.log10(np.mean(np.square(cut), axis=2) + 10 ** (FLOOR_DB / 10))
    return [" ".join(f"{x:.2f}" for x in row.ravel()) for row in decibels.swapaxes(0, 1)]


def sound(case):
    """What is heard of a case; of a whole segue the click and the cue, too."""
    made = alone()
    if case in made:
        plan = replace(plan_by_hand(), layers=(made[case],))
        return {"music": levels(render_candidate(plan, *songs()).music)}
    candidate = render_candidate(bridges()[case.removeprefix("bridge, ")], *songs())
    return {bus: levels(getattr(candidate, bus)) for bus in ("music", "click", "cue")}


if __name__ == "__main__":
    write(NAME, {case: sound(case) for case in CASES})
