"""Keys of recordings without labels: what several general estimators agree on.

Four sets of key profiles on the harmonic pitch class profiles of one library, and a fifth on
pitch class profiles of our own settings by its Euclidean distance. Nobody's answer is the
truth, but where at least four of five agree it is good evidence.

References
----------
.. [AS13] J. Albrecht and D. Shanahan, "The use of large corpora to train a new type of
   key-finding algorithm", Music Perception 31(1), 2013, 59-67.
"""

from collections import Counter
from pathlib import Path

import numpy as np

from benchmarks._baselines import ESSENTIA_RATE_HZ, Mono, mono
from segue.music.key import ALL_KEYS, parse_key

PROFILES = ("krumhansl", "temperley2005", "bgate", "shaath")
ALBRECHT_SHANAHAN = (
    (0.238, 0.006, 0.111, 0.006, 0.137, 0.094, 0.016, 0.214, 0.009, 0.080, 0.008, 0.081),
    (0.220, 0.006, 0.104, 0.123, 0.019, 0.103, 0.012, 0.214, 0.062, 0.022, 0.061, 0.052),
)
"""Of major and minor, tonic first [AS13]_."""
LOWEST_HZ, HIGHEST_HZ = 100.0, 3500.0
FROM_A_TO_C = -3
"""The library's profiles begin on A."""


def agreed_key(path: Path) -> tuple[int, int]:
    """The key (a place in ``ALL_KEYS``) that most of five estimators give, and how many do."""
    votes = Counter(estimates(mono(str(path), ESSENTIA_RATE_HZ)))
    return votes.most_common(1)[0]


def estimates(sound: Mono) -> list[int]:
    """Five keys, places in ``ALL_KEYS``."""
    import essentia.standard

    found = []
    for profile in PROFILES:
        tonic, mode, _ = essentia.standard.KeyExtractor(profileType=profile)(sound)
        found.append(ALL_KEYS.index(parse_key(f"{tonic} {mode}")))
    return [*found, _nearest(_pitch_classes(sound))]


def _nearest(chroma: np.ndarray) -> int:
    profiles = [np.roll(np.array(ALBRECHT_SHANAHAN[mode]) / sum(ALBRECHT_SHANAHAN[mode]), tonic)
                for mode in (0, 1) for tonic in range(12)]  # fmt: skip
    return int(np.argmin([np.linalg.norm(chroma - profile) for profile in profiles]))


def _pitch_classes(sound: Mono) -> np.ndarray:
    from essentia import standard

    window, spectrum = standard.Windowing(type="hann"), standard.Spectrum()
    peaks = standard.SpectralPeaks(
        orderBy="magnitude", magnitudeThreshold=1e-4, minFrequency=LOWEST_HZ,
        maxFrequency=HIGHEST_HZ, maxPeaks=60, sampleRate=ESSENTIA_RATE_HZ,
    )  # fmt: skip
    whitening = standard.SpectralWhitening(maxFrequency=HIGHEST_HZ, sampleRate=ESSENTIA_RATE_HZ)
    profile = standard.HPCP(
        size=12, harmonics=4, bandPreset=False, minFrequency=LOWEST_HZ, maxFrequency=HIGHEST_HZ,
        weightType="cosine", nonLinear=False, windowSize=1.0, sampleRate=ESSENTIA_RATE_HZ,
        normalized="none",
    )  # fmt: skip
    total = np.zeros(12)
    frames = standard.FrameGenerator(sound, frameSize=8192, hopSize=4096, startFromZero=True)
    for frame in frames:
        bins = spectrum(window(frame))
        hertz, magnitudes = peaks(bins)
        if len(hertz):
            total += profile(hertz, whitening(bins, hertz, magnitudes))
    total = np.roll(total, FROM_A_TO_C)
    return np.asarray(total / (total.sum() + 1e-9))
