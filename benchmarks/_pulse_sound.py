"""Sound of made songs for the beat net: quick, through any SoundFont, a room and a poor desk.

A song of 26 s takes a tenth of a second, so that a night's worth is made while the net learns.
"""

from pathlib import Path
from typing import Any, Final

import numpy as np
from scipy import fft, signal

from benchmarks._pulse_songs import MadeSong
from benchmarks._render import DRUM_CHANNEL
from segue.analysis.onsets import RATE_HZ

Sound = np.ndarray
ATTACK_BELOW_LOUDEST_DB: Final = 15.0
"""As in `benchmarks._attacks`."""
ATTACK_WITHIN_S: Final = 0.2
NEAR_BEAT_S: Final = 0.035
TOGETHER_S: Final = 0.01
DRUM_DELAY_S: Final = 0.002
FADE_TO_DB: Final = -50.0
SILENCE_DB: Final = -60.0


class Player:
    """A SoundFont that plays notes; `tinysoundfont` does the work."""

    def __init__(self, soundfont: Path) -> None:
        import tinysoundfont

        self._synth: Any = tinysoundfont.Synth(gain=-6, samplerate=RATE_HZ)
        self._font = self._synth.sfload(str(soundfont))
        self._delays_s: dict[int, float] = {}

    def sound(
        self, notes: np.ndarray, programs: dict[int, int], volumes: dict[int, int], to_s: float
    ) -> Sound:
        """Notes (rows as of a made song) from the start to `to_s`, shape (n_frames,)."""
        self._set_up(sorted({int(channel) for channel in notes[:, 4]}), programs, volumes)
        events = [(round(n[0] * RATE_HZ), 1, n) for n in notes if n[0] < to_s]
        events += [(round((n[0] + n[1]) * RATE_HZ), 0, n) for n in notes if n[0] < to_s]
        events.sort(key=lambda event: event[:2])
        pieces, at_frame, n_frames = [], 0, round(to_s * RATE_HZ)
        for frame, is_on, (_, _, midi, velocity, channel) in events:
            if min(frame, n_frames) > at_frame:
                pieces.append(self._next(min(frame, n_frames) - at_frame))
                at_frame = min(frame, n_frames)
            if is_on:
                self._synth.noteon(int(channel), int(midi), int(np.clip(velocity, 1, 127)))
            else:
                self._synth.noteoff(int(channel), int(midi))
        pieces.append(self._next(max(n_frames - at_frame, 1)))
        return np.concatenate(pieces)[:n_frames]

    def _next(self, n_frames: int) -> Sound:
        stereo = np.frombuffer(self._synth.generate(n_frames), dtype=np.float32).reshape(-1, 2)
        return np.asarray(stereo.mean(axis=1))

    def _set_up(
        self, channels: list[int], programs: dict[int, int], volumes: dict[int, int]
    ) -> None:
        self._synth.sounds_off()
        for channel in channels:
            is_drums = channel == DRUM_CHANNEL
            self._synth.program_select(
                channel, self._font, 128 if is_drums else 0, programs.get(channel, 0), is_drums
            )
            self._synth.control_change(channel, 7, volumes.get(channel, 100))

    def delay_s(self, program: int) -> float:
        """From the key to the attack that is heard, of the middle of an instrument."""
        if program not in self._delays_s:
            heard = []
            for midi in (48, 60, 72):
                note = np.array([(0.05, 0.8, midi, 96, 0)])
                sound = self.sound(note, {0: program}, {0: 110}, 0.9)[round(0.05 * RATE_HZ) :]
                level = np.abs(sound[: round(ATTACK_WITHIN_S * RATE_HZ)])
                loud = level.max() * 10 ** (-ATTACK_BELOW_LOUDEST_DB / 20)
                heard.append(float(np.argmax(level >= loud)) / RATE_HZ)
            self._delays_s[program] = float(np.median(heard))
        return self._delays_s[program]


def rendered(
    song: MadeSong, player: Player, rng: np.random.Generator
) -> tuple[Sound, np.ndarray, np.ndarray] | None:
    """Sound at `RATE_HZ` without silence at its ends, beats where they are heard, and downbeats."""
    whole = player.sound(song.notes, song.programs, song.volumes, song.to_s)
    sound = whole[round(song.from_s * RATE_HZ) :].copy()
    if song.fade_s:
        n_fade = min(round(song.fade_s * RATE_HZ), len(sound))
        sound[-n_fade:] *= 10 ** (np.linspace(0, FADE_TO_DB, n_fade) / 20)
    loudest = float(np.abs(sound).max(initial=0.0))
    if loudest == 0.0:
        return None
    sound = with_effects(sound / loudest, rng)
    audible = np.flatnonzero(np.abs(sound) > 10 ** (SILENCE_DB / 20) * np.abs(sound).max())
    first, last = int(audible[0]), int(audible[-1]) + 1
    beats_s = _heard_beats_s(song, player) - song.from_s - first / RATE_HZ
    inside = (beats_s > -0.03) & (beats_s < (last - first) / RATE_HZ)
    return sound[first:last], beats_s[inside], song.is_down[inside]


def _heard_beats_s(song: MadeSong, player: Player) -> np.ndarray:
    """Each beat at the attacks on it, drums first; one without follows its neighbours."""
    starts_s, channels = song.notes[:, 0], song.notes[:, 4].astype(int)
    delays_s = np.array([
        DRUM_DELAY_S if c == DRUM_CHANNEL else player.delay_s(song.programs.get(c, 0))
        for c in channels
    ])  # fmt: skip
    offs_s = np.full(len(song.beats_s), np.nan)
    for number, beat_s in enumerate(song.beats_s):
        near = np.flatnonzero(np.abs(starts_s - beat_s) < NEAR_BEAT_S)
        drums = near[channels[near] == DRUM_CHANNEL]
        near = drums if len(drums) else near
        if len(near):
            heard_s = starts_s[near] + delays_s[near]
            offs_s[number] = heard_s[heard_s <= heard_s.min() + TOGETHER_S].mean() - beat_s
    usual_s = float(np.nanmedian(offs_s)) if np.isfinite(offs_s).any() else 0.0
    return np.asarray(song.beats_s + np.where(np.isnan(offs_s), usual_s, offs_s))


def with_effects(sound: Sound, rng: np.random.Generator) -> Sound:
    """A sound in a room, through an equaliser, overdriven, compressed or noisy, as it falls."""
    if rng.random() < 0.55:
        sound = _in_a_room(sound, rng)
    if rng.random() < 0.75:
        sound = _equalised(sound, rng)
    sound = sound / max(float(np.abs(sound).max()), 1e-9)
    if rng.random() < 0.5:
        sound = np.tanh(float(np.exp(rng.uniform(0, np.log(8)))) * sound)
    if rng.random() < 0.25:
        level = signal.lfilter([0.0005], [1, -0.9995], np.abs(sound))
        sound = sound / (level + 0.05) ** 0.6
    if rng.random() < 0.35:
        level_db = rng.uniform(-75, -38)
        sound = sound + rng.normal(size=len(sound)) * 10 ** (level_db / 20) * np.abs(sound).max()
    return np.asarray(sound, dtype=np.float32)


def _in_a_room(sound: Sound, rng: np.random.Generator) -> Sound:
    decay_s = float(np.exp(rng.uniform(np.log(0.25), np.log(3.0))))
    at_s = np.arange(round(min(decay_s, 2.5) * RATE_HZ)) / RATE_HZ
    tail = rng.normal(size=len(at_s)) * np.exp(-6.9 * at_s / decay_s) * (at_s > 0.004)
    keep = np.exp(-2 * np.pi * rng.uniform(1500, 7000) / RATE_HZ)
    tail = signal.lfilter([1 - keep], [1, -keep], tail)
    wet = signal.fftconvolve(sound, tail / np.linalg.norm(tail))[: len(sound)]
    return np.asarray(sound + rng.uniform(0.05, 0.55) * wet)


def _equalised(sound: Sound, rng: np.random.Generator) -> Sound:
    """Seven bands up and down; at times no bass or no treble."""
    gains_db = rng.normal(0, 5, 7)
    if rng.random() < 0.15:
        gains_db[:2] -= (18, 9)
    if rng.random() < 0.2:
        gains_db[-2:] -= (rng.uniform(5, 18), 20)
    octaves = np.log2(np.maximum(fft.rfftfreq(len(sound), 1 / RATE_HZ), 20.0))
    knots = np.log2([30, 90, 250, 700, 2000, 5000, 11_000])
    gain = 10 ** (np.interp(octaves, knots, gains_db) / 20)
    return np.asarray(fft.irfft(fft.rfft(sound) * gain, len(sound)))
