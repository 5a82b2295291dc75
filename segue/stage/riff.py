"""Chunks of a WAV file beyond the sound: markers, and what broadcasters say about it.

References
----------
.. [RIFF91] Microsoft and IBM, "Multimedia Programming Interface and Data
   Specifications 1.0", 1991: `cue ` and `LIST` `adtl` chunks.
.. [Tech3285] EBU Tech 3285, "Specification of the Broadcast Wave Format",
   version 2, 2011: the `bext` chunk.
"""

from __future__ import annotations

import math
import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

_UNSET: Final = 0x7FFF
"""What a loudness field holds where nothing was measured [Tech3285]_."""
_HUNDREDTHS: Final = 100  # levels are stored in hundredths (EBU Tech 3285)
_BEXT: Final = struct.Struct("<256s32s32s10s8sIIH64s5h180s")
_CUE_POINT: Final = struct.Struct("<II4sIII")


@dataclass(frozen=True, slots=True, kw_only=True)
class CuePoint:
    """A named frame."""

    frame: int
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BroadcastFacts:
    """What the `bext` chunk says.

    Parameters
    ----------
    description : str
        Shown by players; at most 256 characters.
    originator : str
        At most 32 characters.
    date, time : str
        As ``2030-05-17`` and ``21:05:00``.
    loudness_lufs, range_lu, true_peak_dbtp, momentary_lufs, short_term_lufs : float
        Infinite or not a number where nothing was measured.
    """

    description: str
    originator: str
    date: str
    time: str
    loudness_lufs: float
    range_lu: float
    true_peak_dbtp: float
    momentary_lufs: float
    short_term_lufs: float
    history: str


def cue_chunks(points: Sequence[CuePoint]) -> bytes:
    """The `cue ` chunk and the `LIST` `adtl` chunk with the names.

    Empty where there are no points.
    """
    if not points:
        return b""
    numbered = list(enumerate(points, start=1))
    cues = b"".join(
        _CUE_POINT.pack(number, point.frame, b"data", 0, 0, point.frame)
        for number, point in numbered
    )
    labels = b"".join(
        chunk(b"labl", struct.pack("<I", number) + _text(point.name) + b"\0")
        for number, point in numbered
    )
    return chunk(b"cue ", struct.pack("<I", len(points)) + cues) + chunk(b"LIST", b"adtl" + labels)


def bext_chunk(facts: BroadcastFacts) -> bytes:
    """The `bext` chunk, version 2."""
    levels = (
        facts.loudness_lufs,
        facts.range_lu,
        facts.true_peak_dbtp,
        facts.momentary_lufs,
        facts.short_term_lufs,
    )
    fixed = _BEXT.pack(
        _ascii(facts.description),
        _ascii(facts.originator),
        b"",
        _ascii(facts.date),
        _ascii(facts.time),
        0,
        0,
        2,
        b"",
        *(_hundredths(level) for level in levels),
        b"",
    )
    return chunk(b"bext", fixed + _ascii(facts.history) + b"\r\n")


def chunk(name: bytes, body: bytes) -> bytes:
    """A RIFF chunk, padded to an even length."""
    return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)


def with_chunks(wav: bytes, *, before_data: bytes, after_data: bytes) -> bytes:
    """A WAV file with chunks put around its sound.

    Parameters
    ----------
    before_data, after_data : bytes
        Whole chunks.

    Raises
    ------
    ValueError
        If it is no RIFF WAV file, or grows beyond 4 GiB.
    """
    if wav[:4] != b"RIFF" or wav[8:12] != b"WAVE":
        raise ValueError("not a RIFF WAV file")
    parts = []
    for name, whole in _chunks(wav):
        parts += [before_data, whole, after_data] if name == b"data" else [whole]
    body = b"WAVE" + b"".join(parts)
    if len(body) > 0xFFFFFFFF:  # noqa: PLR2004 - largest 32-bit size
        raise ValueError("a RIFF file holds 4 GiB at most")
    return b"RIFF" + struct.pack("<I", len(body)) + body


def _chunks(wav: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = 12
    while at + 8 <= len(wav):
        (size,) = struct.unpack_from("<I", wav, at + 4)
        end = at + 8 + size + size % 2
        yield wav[at : at + 4], wav[at:end].ljust(end - at, b"\0")
        at = end


def _hundredths(level: float) -> int:
    if not math.isfinite(level):
        return _UNSET
    return max(min(round(level * _HUNDREDTHS), _UNSET - 1), -_UNSET)


def _ascii(text: str) -> bytes:
    """`bext` text is ASCII; signs of keys have spellings there."""
    return text.replace("♯", "#").replace("♭", "b").encode("ascii", "replace")


def _text(name: str) -> bytes:
    return name.replace("\0", " ").encode("utf-8")
