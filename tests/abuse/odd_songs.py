"""Short songs that are odd to a machine and ordinary to musicians, with known truth.

Everything is made from a seed at `RATE_HZ`: a song is a dict of parts, each of shape
``(n_frames,)``; `mix_edge` and `stem_edge` make the edge of a song of them, `written` a file.
"""

from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
import soundfile

from segue.audio.clip import Clip, Edge, Role, SongEdge, Stem
from segue.music.key import parse_key

RATE_HZ: Final = 22_050
Sound = npt.NDArray[np.float64]
Parts = dict[Role, Sound]

FIGURES: Final = {
    "3/4": (3, {"kick": (0,), "snare": (1, 2), "hat": (0, 0.5, 1, 1.5, 2, 2.5)}),
    "4/4": (4, {"kick": (0, 2), "snare": (1, 3), "hat": tuple(n / 2 for n in range(8))}),
    "5/4": (5, {"kick": (0, 3), "snare": (2, 4), "hat": tuple(n / 2 for n in range(10))}),
    "6/8": (2, {"kick": (0, 5 / 3), "snare": (1,), "hat": tuple(n / 3 for n in range(6))}),
}
"""Beats a bar and where the drums are hit in it; 6/8 is counted in dotted beats, and the three
and two of 5/4 as most bands play it (common practice, no source)."""

_ROUNDS: Final = {"major": (0, 9, 5, 7), "minor": (0, 8, 3, 10)}
"""Roots of the chords, one a bar: I vi IV V and i VI III VII (common practice, no source)."""
_DRUMS: Final = {
    "kick": ((40, 150), 0.06, 0.4),
    "snare": ((250, 5000), 0.05, 0.16),
    "hat": ((5000, 10_500), 0.02, 0.05),
}
"""Band in Hz, decay in seconds and level of the noise of a hit."""


def even_beats(bpm: float, n_beats: int, *, first_s: float = 0.2) -> Sound:
    """Beats of a machine."""
    return first_s + np.arange(n_beats + 1) * 60.0 / bpm


def drifting_beats(bpm: tuple[float, float], n_beats: int, *, first_s: float = 0.2) -> Sound:
    """Beats of a band that goes from one tempo to another, evenly."""
    lengths_s = 60.0 / np.linspace(*bpm, n_beats)
    return first_s + np.concatenate([[0.0], np.cumsum(lengths_s)])


def rubato_beats(n_beats: int, *, seed: int, first_s: float = 0.2) -> Sound:
    """Beats that linger and hurry: each 0.45 to 1.3 s long, in phrases and at a whim."""
    rng = np.random.default_rng(seed)
    phrase = 0.35 * np.sin(np.arange(n_beats) * 2 * np.pi / 7.3)
    lengths_s = 0.75 * np.exp(phrase + rng.uniform(-0.25, 0.25, n_beats))
    return first_s + np.concatenate([[0.0], np.cumsum(lengths_s)])


def band(
    beats_s: Sound, figure: str = "4/4", *, key: str = "A minor", cents: float = 0.0, seed: int = 1
) -> Parts:
    """Drums, bass and keys on some beats, the last of which is the bar line after the song.

    Parameters
    ----------
    beats_s : ndarray, shape (n_beats + 1,)
    figure : str
        Of `FIGURES`.
    key : str
    cents : float
        Above A4 = 440 Hz.
    seed : int
        Of the noise of the drums.
    """
    metre, struck = FIGURES[figure]
    n_frames = round(beats_s[-1] * RATE_HZ)
    drums, bass, keys = (np.zeros(n_frames) for _ in range(3))
    rng = np.random.default_rng(seed)
    tonic, mode = parse_key(key).tonic, parse_key(key).mode
    for bar in range(-(-(len(beats_s) - 1) // metre)):
        for drum, places in struck.items():
            for place in places:
                _add(drums, _time(beats_s, bar * metre + place), _noise_hit(drum, rng))
        root = tonic + _ROUNDS[mode][bar % 4]
        ends = [_time(beats_s, (bar + n) * metre) for n in (0, 0.5, 1)]
        for start_s, end_s in ((ends[0], ends[1]), (ends[1], ends[2])):
            _add(bass, start_s, _note(33 + (root - 33) % 12, end_s - start_s, 0.16, cents))
        for midi in _triad(root, tonic, mode):
            _add(keys, ends[0], _note(midi, ends[2] - ends[0], 0.05, cents))
    return {"drums": drums, "bass": bass, "keys": keys}


def rubato_piano(*, seed: int, key: str = "A minor", n_beats: int = 24) -> Parts:
    """A piano alone, in free time: a note or a chord at each of `rubato_beats`."""
    beats_s = rubato_beats(n_beats, seed=seed)
    tonic, mode = parse_key(key).tonic, parse_key(key).mode
    keys = np.zeros(round((beats_s[-1] + 1.0) * RATE_HZ))
    for n, start_s in enumerate(beats_s[:-1]):
        root = tonic + _ROUNDS[mode][n // 4 % 4]
        tones = _triad(root, tonic, mode)
        for midi in tones if n % 4 == 0 else (tones[n % 3] + 12,):
            _add(keys, float(start_s), _note(midi, 2.0, 0.08))
    return {"keys": keys}


def ambient(*, seed: int, length_s: float = 20.0, key: str = "D major") -> Parts:
    """Slow swells of a tonic chord that come and go without a pulse or an attack."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    sound = np.zeros(len(time_s))
    tonic = parse_key(key).tonic
    for step in (0, 7, 12, 16, 19, 24, 28):
        hz = 440.0 * 2 ** ((38 + (tonic - 38) % 12 + step - 69) / 12)
        swell = np.sin(np.pi * (time_s / rng.uniform(5.0, 11.0) + rng.uniform(0, 1))) ** 2
        sound += 0.05 * (0.15 + swell) * np.sin(2 * np.pi * hz * time_s + rng.uniform(0, 6))
    edge = np.minimum(1.0, np.minimum(time_s, length_s - time_s) / 2.0)
    return {"synth": sound * edge}


def spoken(*, seed: int, length_s: float = 18.0) -> Parts:
    """Something like speech: syllables that glide, of no pitch and no pulse, and breaths."""
    rng = np.random.default_rng(seed)
    sound = np.zeros(round(length_s * RATE_HZ))
    at_s = 0.3
    while at_s < length_s - 1.0:
        frames = round(rng.uniform(0.08, 0.3) * RATE_HZ)
        glide_hz = np.linspace(*(rng.uniform(90, 190, 2)), frames)
        buzz = np.sign(np.sin(2 * np.pi * np.cumsum(glide_hz) / RATE_HZ))
        hiss = 0.4 * rng.standard_normal(frames)
        _add(sound, at_s, 0.1 * (buzz + hiss) * np.hanning(frames))
        at_s += frames / RATE_HZ + rng.choice([0.03, 0.09, 0.6], p=[0.5, 0.35, 0.15])
    return {"voice": sound}


def applause(length_s: float, *, seed: int) -> Sound:
    """Many hands: claps at random, dense at once and thinner towards the end."""
    rng = np.random.default_rng(seed)
    sound = np.zeros(round(length_s * RATE_HZ))
    density = np.minimum(1.0, np.arange(0, length_s, 0.01) / 0.8)
    density *= np.minimum(1.0, (length_s - np.arange(0, length_s, 0.01)) / (length_s / 2))
    for slot, share in enumerate(density):
        for _ in range(rng.poisson(4 * share)):
            clap = _band_noise((400, 4000), 0.006, rng)
            _add(sound, slot * 0.01, 0.03 * rng.uniform(0.2, 1.0) * clap)
    return sound


def then(parts: Parts, after: Sound, *, overlap_s: float = 0.0, role: Role = "other") -> Parts:
    """A song followed by another sound, which may begin before the song has ended."""
    (n_song,) = {len(sound) for sound in parts.values()}
    n_before = n_song - round(overlap_s * RATE_HZ)
    n_all = max(n_before + len(after), n_song)
    longer: Parts = {part: np.pad(sound, (0, n_all - n_song)) for part, sound in parts.items()}
    longer[role] = np.pad(after, (n_before, n_all - n_before - len(after)))
    return longer


def stopped(parts: Parts, at_s: float, *, over_s: float = 0.15, rest_s: float = 0.6) -> Parts:
    """A song that is cut off at a time: the sound is let go within `over_s`."""

    def let_go(sound: Sound) -> Sound:
        time_s = np.arange(len(sound)) / RATE_HZ
        gone = sound * np.exp(-np.maximum(time_s - at_s, 0.0) / (over_s / 3))
        return np.pad(gone, (0, round(rest_s * RATE_HZ)))

    return {part: let_go(sound) for part, sound in parts.items()}


def faded(parts: Parts, *, from_s: float, by_db: float, silence_s: float = 0.0) -> Parts:
    """A song that is faded out from a time to its end, and silence after it."""

    def fade(sound: Sound) -> Sound:
        time_s = np.arange(len(sound)) / RATE_HZ
        share = np.clip((time_s - from_s) / (len(sound) / RATE_HZ - from_s), 0.0, 1.0)
        gone = sound * 10 ** (-by_db * share / 20) * np.clip((1 - share) * 20, 0, 1)
        return np.pad(gone, (0, round(silence_s * RATE_HZ)))

    return {part: fade(sound) for part, sound in parts.items()}


def mix_edge(parts: Parts, edge: Edge, *, before_s: float = 0.0, title: str = "Song") -> SongEdge:
    """The edge of a song given as a mix, after so much of the song that is not read."""
    return stem_edge({"mix": sum(parts.values())}, edge, before_s=before_s, title=title)


def stem_edge(parts: Parts, edge: Edge, *, before_s: float = 0.0, title: str = "Song") -> SongEdge:
    """The edge of a song given as stems."""
    stems = tuple(
        Stem(role=role, file=f"{role}.wav", clip=_clip(sound, before_s))
        for role, sound in parts.items()
    )
    end_s = stems[0].clip.end_s
    return SongEdge(path=Path(title), title=title, edge=edge, stems=stems, duration_s=end_s)


def written(parts: Parts, path: Path) -> Path:
    """A song as a file where the path ends in .wav, else as a folder of stems."""
    if path.suffix == ".wav":
        soundfile.write(path, sum(parts.values()), RATE_HZ)
        return path
    path.mkdir()
    for role, sound in parts.items():
        soundfile.write(path / f"{role}.wav", sound, RATE_HZ)
    return path


def _clip(sound: Sound, before_s: float) -> Clip:
    stereo = np.repeat(sound.astype(np.float32)[:, None], 2, axis=1)
    return Clip(samples=stereo, rate_hz=RATE_HZ, start_s=before_s)


def _time(beats_s: Sound, beat: float) -> float:
    """Of a beat, also after the last one, where the tempo holds."""
    last = len(beats_s) - 1
    after_s = max(beat - last, 0.0) * (beats_s[-1] - beats_s[-2])
    return float(np.interp(beat, np.arange(len(beats_s)), beats_s) + after_s)


def _triad(root: int, tonic: int, mode: str) -> tuple[int, ...]:
    """A chord of the key, around middle C."""
    scale = {
        (tonic + step) % 12
        for step in ((0, 2, 4, 5, 7, 9, 11) if mode == "major" else (0, 2, 3, 5, 7, 8, 10))
    }
    third = 4 if (root + 4) % 12 in scale else 3
    return tuple(57 + (root + step - 57) % 12 for step in (0, third, 7))


def _note(midi: float, length_s: float, level: float, cents: float = 0.0) -> Sound:
    """A plucked string of six partials, damped at its end."""
    time_s = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    hz = 440.0 * 2 ** ((midi + cents / 100 - 69) / 12)
    partials = (0.6**n * np.sin(2 * np.pi * hz * (n + 1) * time_s) for n in range(6))
    damped = np.minimum(time_s / 0.004, 1.0) * np.clip((length_s - time_s) / 0.02, 0.0, 1.0)
    return level * sum(partials) * damped * np.exp(-0.8 * time_s)


def _noise_hit(drum: str, rng: np.random.Generator) -> Sound:
    band_hz, decay_s, level = _DRUMS[drum]
    return level * _band_noise(band_hz, decay_s, rng)


def _band_noise(band_hz: tuple[float, float], decay_s: float, rng: np.random.Generator) -> Sound:
    n_frames = round(6 * decay_s * RATE_HZ)
    spectrum = np.fft.rfft(rng.standard_normal(n_frames))
    bins_hz = np.fft.rfftfreq(n_frames, 1 / RATE_HZ)
    spectrum[(bins_hz < band_hz[0]) | (bins_hz > band_hz[1])] = 0
    noise = np.fft.irfft(spectrum, n_frames)
    return noise / noise.std() * np.exp(-np.arange(n_frames) / RATE_HZ / decay_s)


def _add(sound: Sound, at_s: float, hit: Sound) -> None:
    first = min(round(at_s * RATE_HZ), len(sound))
    sound[first : first + len(hit)] += hit[: len(sound) - first]
