"""What is said for ears, and how long a level may be listened to, by published limits.

These are limits for whole populations at work or at leisure, not a promise of
safety; local rules and the engineer on site decide.

References
----------
.. [NIOSH98] National Institute for Occupational Safety and Health, "Criteria for
   a recommended standard: occupational noise exposure", publication 98-126,
   1998: 85 dB(A) for 8 hours a day, halved for every 3 dB more.
.. [H870] WHO and ITU-T H.870, "Guidelines for safe listening devices/systems",
   2018: 80 dB(A) for 40 hours a week for adults, the same energy otherwise.
"""

from __future__ import annotations

from typing import Final

from segue.render.guide_sounds import CEILING_DBFS

NIOSH_DBA: Final = 85.0  # recommended limit of exposure over a working day [NIOSH98]_
NIOSH_HOURS_A_DAY: Final = 8.0  # hours a day at that level [NIOSH98]_
H870_DBA: Final = 80.0  # reference level for adults [H870]_
H870_HOURS_A_WEEK: Final = 40.0  # hours a week at that level [H870]_
EXCHANGE_DB: Final = 3.0
"""Half the time for 3 dB more: the same energy [NIOSH98]_, [H870]_."""


def niosh_hours_a_day(level_dba: float) -> float:
    """Hours a day at a level that use up the daily limit [NIOSH98]_.

    Examples
    --------
    >>> niosh_hours_a_day(94.0)
    1.0
    """
    return float(NIOSH_HOURS_A_DAY / 2 ** ((level_dba - NIOSH_DBA) / EXCHANGE_DB))


def h870_hours_a_week(level_dba: float) -> float:
    """Hours a week at a level that use up the weekly allowance [H870]_.

    Examples
    --------
    >>> h870_hours_a_week(89.0)
    5.0
    """
    return float(H870_HOURS_A_WEEK / 2 ** ((level_dba - H870_DBA) / EXCHANGE_DB))


def time_words(hours: float) -> str:
    """Hours as a person would say them, rounded down.

    Examples
    --------
    >>> time_words(1.59), time_words(0.25), time_words(0.004)
    ('1 h 35 min', '15 min', '14 s')
    """
    seconds = int(hours * 3600 + 1e-6)
    if seconds < 60:  # noqa: PLR2004 - a minute
        return f"{seconds} s"
    whole, minutes = divmod(seconds // 60, 60)
    if whole == 0:
        return f"{minutes} min"
    return f"{whole} h {minutes} min" if minutes and whole < 24 else f"{whole} h"  # noqa: PLR2004 - a day


def exposure_sentence(level_dba: float) -> str:
    """What the limits allow at a measured level, in one sentence."""
    return (
        f"At a measured {level_dba:g} dB(A) in the ear, {time_words(niosh_hours_a_day(level_dba))} "
        f"a day reach the NIOSH limit (85 dB(A) for 8 h, 3 dB exchange), and "
        f"{time_words(h870_hours_a_week(level_dba))} a week the WHO/ITU-T H.870 allowance "
        "(80 dB(A) for 40 h)."
    )


_CARE: Final = (
    "Start in-ears and headphones low and raise them only as far as needed; the click and the cue "
    "never exceed {ceiling:g} dBFS. Hearing damage does not heal. House and local "
    "rules and a qualified engineer decide on levels."
)


def care_words(in_ear_dba: float | None = None) -> tuple[str, ...]:
    """What a sheet says for the ears of who wears in-ears, and of a level measured in the ear."""
    care = _CARE.format(ceiling=CEILING_DBFS)
    return (care,) if in_ear_dba is None else (care, exposure_sentence(in_ear_dba))
