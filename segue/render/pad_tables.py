"""Single cycles of the pad's three sounds, without a partial above 0.45 of the rate.

Vowel formants are the means for men's voices of [PB52]_ (from memory).

References
----------
.. [PB52] G. Peterson and H. Barney, "Control methods used in a study of the
   vowels", JASA 24(2), 1952, 175-184.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, assert_never

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.plan.layer import PadSound

TABLE_FRAMES: Final = 8_192
"""Long enough that reading between its points by straight lines stays below -80 dB."""
HIGHEST_RATIO: Final = 0.45
_VOWEL_OO: Final = (300.0, 870.0, 2_240.0)
_VOWEL_AH: Final = (730.0, 1_090.0, 2_440.0)
_FORMANT_DB: Final = (0.0, -7.0, -22.0)
_FORMANT_WIDTH_HZ: Final = (90.0, 110.0, 170.0)
_BETWEEN_FORMANTS_DB: Final = -34.0


def cycle_pair(
    sound: PadSound, pitch_hz: float, rate_hz: int, generator: np.random.Generator
) -> npt.NDArray[np.float64]:
    """A dark and a bright cycle of a sound, between which the pad moves.

    Parameters
    ----------
    sound : {'warm', 'glass', 'choir'}
    pitch_hz : float
        Highest pitch at which the cycles will be read.
    rate_hz : int
    generator : Generator
        Draws the phases, the same for both cycles.

    Returns
    -------
    ndarray, shape (2, TABLE_FRAMES + 1)
        Each of root mean square 1; the last point repeats the first.
    """
    partials = np.arange(1, max(int(HIGHEST_RATIO * rate_hz / pitch_hz), 1) + 1, dtype=np.float64)
    phases = np.exp(2j * np.pi * generator.random(len(partials)))
    spectra = np.zeros((2, TABLE_FRAMES // 2 + 1), dtype=np.complex128)
    used = min(len(partials), TABLE_FRAMES // 8)
    for row, shares in enumerate(_shares(sound, partials, pitch_hz)):
        spectra[row, 1 : used + 1] = (shares * phases)[:used]
    cycles = np.fft.irfft(spectra, axis=1)
    cycles /= np.sqrt(np.mean(cycles**2, axis=1, keepdims=True))
    return np.concatenate((cycles, cycles[:, :1]), axis=1)


def _shares(
    sound: PadSound, partials: npt.NDArray[np.float64], pitch_hz: float
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Amplitudes of the partials of the dark and of the bright cycle."""
    match sound:
        case "warm":
            return partials**-2.0, partials**-1.2
        case "glass":
            bell = np.where(np.isin(partials, (1, 2, 4, 8)), 1.0, 0.12)
            return bell * partials**-1.4, np.where(partials == 1, 0.7, bell) * partials**-0.8
        case "choir":
            hertz = partials * pitch_hz
            breath = partials**-0.4
            return breath * _vowel(hertz, _VOWEL_OO), breath * _vowel(hertz, _VOWEL_AH)
        case _:
            assert_never(sound)


def _vowel(
    hertz: npt.NDArray[np.float64], formants_hz: tuple[float, ...]
) -> npt.NDArray[np.float64]:
    power = np.full(len(hertz), 10 ** (_BETWEEN_FORMANTS_DB / 10))
    for centre, level_db, width in zip(formants_hz, _FORMANT_DB, _FORMANT_WIDTH_HZ, strict=True):
        power += 10 ** (level_db / 10) / (1 + ((hertz - centre) / width) ** 2)
    tilt = 1 / (1 + (hertz / 4_000.0) ** 4)
    shares: npt.NDArray[np.float64] = np.sqrt(power) * tilt
    return shares
