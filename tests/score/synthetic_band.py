"""The synthetic band: tones with overtones, a drum kit of noise bursts, a voice."""

from __future__ import annotations

import numpy as np

RATE_HZ = 24_000
DEGREES = {
    "major": ((0, "major"), (9, "minor"), (5, "major"), (7, "major")),
    "minor": ((0, "minor"), (8, "major"), (5, "minor"), (7, "major")),
}
TUNE = (7, 7, 3, 2, 0, 0, 2, 3)
"""Semitones above the chord's root that the voice sings, beat by beat."""


def tone(midi: float, n_frames: int, *, n_overtones: int = 6, attack_s: float = 0.008):
    hz = 440.0 * 2.0 ** ((midi - 69.0) / 12.0)
    t = np.arange(n_frames) / RATE_HZ
    sound = sum(
        np.sin(2 * np.pi * hz * k * t + k) / k**1.3
        for k in range(1, n_overtones + 1)
        if hz * k < RATE_HZ / 2.2
    )
    n_in, n_out = min(int(attack_s * RATE_HZ), n_frames // 2), min(480, n_frames // 4)
    envelope = np.ones(n_frames)
    envelope[:n_in] *= np.linspace(0, 1, n_in)
    envelope[n_frames - n_out :] *= np.linspace(1, 0, n_out)
    return sound * envelope


def add(bus, sound, at_s):
    start = round(at_s * RATE_HZ)
    first, last = max(start, 0), min(start + len(sound), len(bus))
    if last > first:
        bus[first:last] += sound[first - start : last - start]


def kick():
    t = np.arange(int(0.18 * RATE_HZ)) / RATE_HZ
    return 0.9 * np.sin(2 * np.pi * (50 * t + 4 * (1 - np.exp(-t * 40)))) * np.exp(-t * 18)


def burst(rng, decay, n_s=0.1):
    t = np.arange(int(n_s * RATE_HZ)) / RATE_HZ
    return rng.normal(size=len(t)) * np.exp(-t * decay)


def chord_midi(root, quality, low=52):
    third = 4 if quality == "major" else 3
    return sorted(low + (root + d - low) % 12 for d in (0, third, 7))


def play_chord(bus, notes, start_s, end_s, gain, *, attack_s=0.008):
    n_frames = int((end_s - start_s) * RATE_HZ)
    for note in notes:
        add(bus, gain * tone(note, n_frames, attack_s=attack_s), start_s)


def play_drums(bus, in_bar, span_s, rng, *, gain=1.0):
    """Kick or snare and two hats on one beat."""
    at_s, next_s = span_s
    if in_bar in (0, 2):
        add(bus, gain * 0.5 * kick(), at_s)
    else:
        add(bus, gain * 0.22 * burst(rng, 30), at_s)
    for half in (at_s, (at_s + next_s) / 2):
        add(bus, gain * 0.06 * np.diff(burst(rng, 70, 0.05)), half)


def play_band(bus, key, seconds_at, beats, rng, *, phase=0):
    """Drums, bass and chords of a song on whole beats; bars start where (beat - phase) % 4 == 0."""
    for beat in beats:
        at_s, next_s = seconds_at(beat), seconds_at(beat + 1)
        in_bar = (beat - phase) % 4
        root, quality = DEGREES[key.mode][((beat - phase) // 4) % 4]
        root = (key.tonic + root) % 12
        play_drums(bus, in_bar, (at_s, next_s), rng)
        bass = 28 + (root - 28) % 12
        n_bass = int((next_s - at_s) * RATE_HZ)
        add(bus, 0.16 * tone(bass, n_bass, n_overtones=4), at_s)
        if in_bar == 0:
            ends_s = seconds_at(min(beat + 4, beats[-1] + 1))
            play_chord(bus, chord_midi(root, quality), at_s, ends_s, 0.07)


def bass_note(key, beat, *, phase=0):
    """The bass note of a beat, as MIDI."""
    root, _ = DEGREES[key.mode][((beat - phase) // 4) % 4]
    return 28 + (key.tonic + root - 28) % 12


def play_bass(bus, key, seconds_at, beats, *, phase=0, semitones=0.0):
    """The bass line alone, beat by beat."""
    for beat in beats:
        n_frames = int((seconds_at(beat + 1) - seconds_at(beat)) * RATE_HZ)
        note = bass_note(key, beat, phase=phase) + semitones
        add(bus, 0.16 * tone(note, n_frames, n_overtones=4), seconds_at(beat))


def play_voice(bus, key, seconds_at, beats, *, phase=0):
    """A singing line on chord tones, beat by beat."""
    for beat in beats:
        n_frames = int(0.95 * (seconds_at(beat + 1) - seconds_at(beat)) * RATE_HZ)
        note = bass_note(key, beat, phase=phase) + 36 + TUNE[beat % len(TUNE)]
        add(bus, 0.08 * tone(note, n_frames, n_overtones=8, attack_s=0.03), seconds_at(beat))
