"""Any number of channels to two, by the coefficients of ITU-R BS.775.

A centre and the surrounds enter both sides or their own at -3 dB, the
low-frequency channel is left out, and mono goes to both sides at 0 dB.

References
----------
.. [BS775] ITU-R BS.775-3, "Multichannel stereophonic sound system with and
   without accompanying picture", 2012, annex 4, table 2 (downward mixing).
.. [RFC9639] RFC 9639, "Free Lossless Audio Codec (FLAC)", 2024, table 9: the
   channel order of FLAC, which is also that of WAVE.
.. [Vorbis] Vorbis I specification, section 4.3.9: output channel order, also
   that of Opus by RFC 7845, section 5.1.1.2.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

MAX_CHANNELS: Final = 8  # 7.1 and no more

ChannelOrder = Literal["wave", "vorbis"]

HALF_POWER: Final = math.sqrt(0.5)
"""Gain of a centre or surround channel in a stereo mix, -3 dB [BS775]_."""

WAVE_ORDER: Final = {
    1: "M",
    2: "L R",
    3: "L R C",
    4: "L R Ls Rs",
    5: "L R C Ls Rs",
    6: "L R C LFE Ls Rs",
    7: "L R C LFE Cs Ls Rs",
    8: "L R C LFE Ls Rs Ls Rs",
}
"""Channels of a file by their number [RFC9639]_; back and side pairs are both Ls Rs."""

VORBIS_ORDER: Final = {
    **WAVE_ORDER,
    3: "L C R",
    5: "L C R Ls Rs",
    6: "L C R Ls Rs LFE",
    7: "L C R Ls Rs Cs LFE",
    8: "L C R Ls Rs Ls Rs LFE",
}
"""The same for Ogg Vorbis and Opus [Vorbis]_."""

_GAINS: Final = {
    "M": (1.0, 1.0),
    "L": (1.0, 0.0),
    "R": (0.0, 1.0),
    "C": (HALF_POWER, HALF_POWER),
    "Ls": (HALF_POWER, 0.0),
    "Rs": (0.0, HALF_POWER),
    "Cs": (0.5, 0.5),  # BS.775 halves its power before it goes to both sides at -3 dB
    "LFE": (0.0, 0.0),
}


def stereo_matrix(n_channels: int, *, order: ChannelOrder = "wave") -> npt.NDArray[np.float64]:
    """Gains that take each channel to left and right.

    Parameters
    ----------
    n_channels : int
        1 to 8.
    order : {'wave', 'vorbis'}
        Which convention names the channels.

    Returns
    -------
    ndarray, shape (n_channels, 2)
        Multiply audio by it, ``samples @ stereo_matrix(n_channels)``.

    Raises
    ------
    ValueError
        If there are fewer than 1 or more than 8 channels.

    Examples
    --------
    >>> stereo_matrix(3).round(3).tolist()
    [[1.0, 0.0], [0.0, 1.0], [0.707, 0.707]]
    """
    names = (WAVE_ORDER if order == "wave" else VORBIS_ORDER).get(n_channels)
    if names is None:
        raise ValueError(f"expected 1 to {MAX_CHANNELS} channels, got {n_channels}")
    return np.array([_GAINS[name] for name in names.split()])
