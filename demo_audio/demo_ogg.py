"""Ogg Vorbis files with a chosen stream number, so that equal music gives equal files."""

from __future__ import annotations

import io
from typing import Final

import numpy as np
import soundfile as sf
from demo_sound import RATE_HZ, Audio

CHUNK_FRAMES: Final = 4096
"""Vorbis is written in small pieces: libsndfile overflows its stack on long ones."""


def vorbis(audio: Audio, *, quality: float, serial: int) -> bytes:
    """An Ogg Vorbis file of the audio, shape (n_frames, n_channels); quality 0 to 1."""
    buffer = io.BytesIO()
    with sf.SoundFile(
        buffer,
        "w",
        RATE_HZ,
        audio.shape[1],
        format="OGG",
        subtype="VORBIS",
        compression_level=1.0 - quality,
    ) as file:
        for start in range(0, len(audio), CHUNK_FRAMES):
            file.write(audio[start : start + CHUNK_FRAMES].astype(np.float32))
    return steady_serial(buffer, serial=serial)


def steady_serial(ogg: io.BytesIO, *, serial: int) -> bytes:
    """An Ogg file with a chosen stream number, so that two renders are equal to the byte."""
    data = bytearray(ogg.getvalue())
    place = 0
    while place < len(data):
        n_segments = data[place + 26]
        size = 27 + n_segments + sum(data[place + 27 : place + 27 + n_segments])
        page = data[place : place + size]
        page[14:18] = serial.to_bytes(4, "little")
        page[22:26] = bytes(4)
        page[22:26] = _ogg_crc(page).to_bytes(4, "little")
        data[place : place + size] = page
        place += size
    return bytes(data)


def _crc_table() -> list[int]:
    table = []
    for byte in range(256):
        crc = byte << 24
        for _ in range(8):
            crc = ((crc << 1) ^ (0x04C11DB7 if crc & 0x80000000 else 0)) & 0xFFFFFFFF
        table.append(crc)
    return table


OGG_CRC: Final = _crc_table()
"""CRC-32 of polynomial 0x04C11DB7, no reflection, as RFC 3533 asks."""


def _ogg_crc(page: bytes | bytearray) -> int:
    crc = 0
    for byte in page:
        crc = ((crc << 8) & 0xFFFFFFFF) ^ OGG_CRC[(crc >> 24) ^ byte]
    return crc
