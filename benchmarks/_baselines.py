"""The general libraries, asked the same questions.

Each is used as its own documentation shows, on the whole excerpt. An answer has the form of
``segue analyse --json`` with the fields that the library gives. Essentia is optional: where
it is not installed, its rows are absent and the table says so.

References
----------
.. [KK82] C. Krumhansl and E. Kessler, "Tracing the dynamic changes in perceived tonal
   organization in a spatial representation of musical keys", Psychological Review 89(4),
   1982, 334-368.
"""

import importlib.util
import time
from collections.abc import Callable
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import soundfile
import soxr

from benchmarks._draft import PITCH_CLASSES

KRUMHANSL_KESSLER: Final = (
    (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88),
    (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17),
)
"""Probe tone ratings of the major and the minor key, tonic first [KK82]_."""
ESSENTIA_PROFILES: Final = (
    "diatonic", "krumhansl", "temperley", "tonictriad", "temperley2005", "thpcp",
    "shaath", "gomez", "noland", "edmm", "edma", "bgate", "braw",
)  # fmt: skip
"""Profiles of the key extractor that know both modes (Wei Chai's has no minor)."""
TOGETHER: Final = {
    "librosa together": ("librosa chroma_cqt + KK", "librosa beat_track", "librosa tuning"),
    "essentia together": ("essentia key bgate", "essentia rhythm", "essentia tuning"),
}
"""What has to run for all the facts that a library gives, for a fair speed."""
LIBROSA_RATE_HZ: Final = 22_050
ESSENTIA_RATE_HZ: Final = 44_100

Mono = npt.NDArray[np.float32]
Answer = dict[str, Any]


def has_essentia() -> bool:
    """Whether essentia is installed."""
    return importlib.util.find_spec("essentia") is not None


def mono(path: str, rate_hz: int) -> Mono:
    """The channels' mean at the rate that a library expects."""
    audio, file_rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    resampled = soxr.resample(audio.mean(axis=1), file_rate_hz, rate_hz)
    return np.ascontiguousarray(resampled, dtype=np.float32)


def warm_up() -> None:
    """Compile and load what the first call of a library compiles and loads; not timed."""
    noise = np.random.default_rng(0).normal(0, 0.1, 3 * LIBROSA_RATE_HZ).astype(np.float32)
    _librosa_key(noise, "chroma_cqt")
    _librosa_beats(noise)
    if has_essentia():
        _essentia_key(noise, "bgate")


def baseline_answers(path: str) -> dict[str, Answer]:
    """Every library's answer to one file, with its processor time as ``took_s``."""
    answers: dict[str, Answer] = {}
    sound = mono(path, LIBROSA_RATE_HZ)
    for name in ("chroma_cqt", "chroma_cens"):
        answers[f"librosa {name} + KK"] = _timed(_librosa_key, sound, name)
    answers["librosa beat_track"] = _timed(_librosa_beats, sound)
    answers["librosa tuning"] = _timed(_librosa_tuning, sound)
    if has_essentia():
        sound = mono(path, ESSENTIA_RATE_HZ)
        for profile in ESSENTIA_PROFILES:
            answers[f"essentia key {profile}"] = _timed(_essentia_key, sound, profile)
        answers["essentia rhythm"] = _timed(_essentia_rhythm, sound)
        answers["essentia tuning"] = _timed(_essentia_tuning, sound)
    return answers


def with_together(answers: dict[str, Answer]) -> dict[str, Answer]:
    """The answers, and those of each library with all its parts and their summed time."""
    joined = dict(answers)
    for name, parts in TOGETHER.items():
        if all(part in answers for part in parts):
            took_s = sum(answers[part]["took_s"] for part in parts)
            facts = {key: fact for part in parts for key, fact in answers[part].items()}
            joined[name] = facts | {"took_s": took_s}
    return joined


def _timed(ask: Callable[..., Answer], *given: object) -> Answer:
    start_s = time.process_time()
    answer = ask(*given)
    return answer | {"took_s": time.process_time() - start_s}


def _librosa_key(sound: Mono, chroma_name: str) -> Answer:
    import librosa

    chroma = getattr(librosa.feature, chroma_name)(y=sound, sr=LIBROSA_RATE_HZ).mean(axis=1)
    fits = [
        np.corrcoef(chroma, np.roll(profile, tonic))[0, 1]
        for profile in KRUMHANSL_KESSLER
        for tonic in range(12)
    ]
    mode, tonic = divmod(int(np.argmax(fits)), 12)
    return {"key": {"tonic": PITCH_CLASSES[tonic], "mode": ("major", "minor")[mode]}}


def _librosa_beats(sound: Mono) -> Answer:
    import librosa

    tempo, beats_s = librosa.beat.beat_track(y=sound, sr=LIBROSA_RATE_HZ, units="time")
    return {"tempo_bpm": float(np.atleast_1d(tempo)[0]), "beats_s": beats_s.tolist()}


def _librosa_tuning(sound: Mono) -> Answer:
    import librosa

    return {"tuning_cents": 100 * float(librosa.estimate_tuning(y=sound, sr=LIBROSA_RATE_HZ))}


def _essentia_key(sound: Mono, profile: str) -> Answer:
    standard = _essentia()
    tonic, mode, _ = standard.KeyExtractor(profileType=profile)(sound)
    return {"key": {"tonic": tonic, "mode": mode}}


def _essentia_rhythm(sound: Mono) -> Answer:
    bpm, beats_s, *_ = _essentia().RhythmExtractor2013(method="multifeature")(sound)
    return {"tempo_bpm": float(bpm), "beats_s": np.asarray(beats_s).tolist()}


def _essentia_tuning(sound: Mono) -> Answer:
    hz = np.median(_essentia().TuningFrequencyExtractor()(sound))
    return {"tuning_cents": float(1200 * np.log2(hz / 440))}


def _essentia() -> Any:  # noqa: ANN401 - the library has no types
    import essentia

    essentia.log.infoActive = False
    essentia.log.warningActive = False
    import essentia.standard

    return essentia.standard
