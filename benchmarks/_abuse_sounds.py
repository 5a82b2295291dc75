"""Sound files as nobody should write them, each with what it is."""

from __future__ import annotations

import io
import os
import random
import struct
from typing import TYPE_CHECKING, Final

import numpy as np
import soundfile

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

RATE_HZ: Final = 22_050
FORMATS: Final = {
    "wav": ("WAV", "PCM_16"),
    "flac": ("FLAC", "PCM_16"),
    "aiff": ("AIFF", "PCM_16"),
    "ogg": ("OGG", "VORBIS"),
    "mp3": ("MP3", "MPEG_LAYER_III"),
}
PLAIN_FLOAT, PLAIN_INT = 3, 1
"""Format tags of a WAV (Multimedia Programming Interface and Data Specifications 1.0)."""
NAMES: Final = (
    "tab\tname", "two\nlines", "carriage\rreturn", 'quo"te', "apo'strophe", "back\\slash", "-dash",
    "--help", " lead", "trail ", "[red]markup[red]", "[bold", "{brace}", "%s%n", "$HOME", "`id`",
    "a;b", "*", "?", "песня", "歌", "أغنية", "שיר", "गीत", "เพลง", "노래", "🎵", "é", "é",
    "\u202eflip", "\u200bzero", "\x1b[31mred", "\x07bell", "\x7f", "\udcff", "n\u2028p", "CON",
    "a" * 251, "é" * 125, "..wav", "01", "0", "<b>&amp;", "#hash", "~",
)  # fmt: skip


def chord(length_s: float = 3.0) -> np.ndarray:
    """A plain song, stereo."""
    time_s = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    sound = sum(np.sin(2 * np.pi * hz * time_s) for hz in (220.0, 277.2, 329.6)) * 0.1
    sound = sound * (0.2 + 0.8 * np.exp(-(time_s % 0.5) / 0.1))
    return np.column_stack([sound, sound]).astype(np.float32)


def encoded(suffix: str, samples: np.ndarray | None = None) -> bytes:
    """A sound in one of the formats."""
    kind, subtype = FORMATS[suffix]
    file = io.BytesIO()
    soundfile.write(file, chord() if samples is None else samples, RATE_HZ, subtype, format=kind)
    return file.getvalue()


def wav(
    data: bytes,
    *,
    tag: int = PLAIN_INT,
    n_channels: int = 2,
    rate_hz: int = RATE_HZ,
    bits: int = 16,
    declared: int | None = None,
) -> bytes:
    """A WAV whose header says whatever it is told to."""
    block = n_channels * bits // 8 & 0xFFFF
    said = (tag, n_channels, rate_hz, rate_hz * block & 0xFFFFFFFF, block, bits)
    form = b"fmt " + struct.pack("<IHHIIHH", 16, *said)
    size = len(data) if declared is None else declared
    body = b"WAVE" + form + b"data" + struct.pack("<I", size) + data
    return b"RIFF" + struct.pack("<I", len(body)) + body


def float_wav(samples: np.ndarray) -> bytes:
    """A WAV of 32-bit floats, whatever their values."""
    return wav(samples.astype("<f4").tobytes(), tag=PLAIN_FLOAT, bits=32)


def broken_files() -> Iterator[tuple[str, bytes]]:
    """Name and bytes of files that are cut, flipped, misnamed, empty or full of lies."""
    for suffix in FORMATS:
        whole = encoded(suffix)
        yield f"empty.{suffix}", b""
        for tenth in range(10):
            yield f"cut {tenth}.{suffix}", whole[: len(whole) * tenth // 10]
        for seed in range(12):
            yield f"flipped {seed}.{suffix}", _flipped(whole, seed)
        yield f"noise.{suffix}", random.Random(1).randbytes(5000)
        yield f"jpeg.{suffix}", b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + bytes(range(256)) * 8
        yield f"page.{suffix}", b"<!DOCTYPE html><html><body>404</body></html>\n" * 20
        yield f"zeros.{suffix}", bytes(4096)
    yield from _lying_headers((chord() * 20_000).astype("<i2").tobytes())
    for name, value in (("nan", np.nan), ("inf", np.inf), ("minus inf", -np.inf)):
        for place in (0, 10, -1):
            samples = chord()
            samples[place, 1] = value
            yield f"{name} at {place}.wav", float_wav(samples)
    yield from tagged_files()


def _lying_headers(pcm: bytes) -> Iterator[tuple[str, bytes]]:
    for rate_hz in (0, 1, 7_999, 384_000, 0xFFFFFFFF):
        yield f"rate {rate_hz}.wav", wav(pcm, rate_hz=rate_hz)
    for n_channels in (0, 64, 1024, 65_535):
        yield f"channels {n_channels}.wav", wav(pcm, n_channels=n_channels)
    for bits in (0, 1, 7, 24, 64, 65_535):
        yield f"bits {bits}.wav", wav(pcm, bits=bits)
    for tag in (0, 2, 6, 17, 80, 0xFFFE):
        yield f"tag {tag}.wav", wav(pcm, tag=tag)
    for declared in (0, 1, 0x7FFFFFFF, 0x80000000, 0xFFFFFFF0, 0xFFFFFFFF):
        yield f"declared {declared}.wav", wav(pcm, declared=declared)
        yield f"riff {declared}.wav", b"RIFF" + struct.pack("<I", declared) + wav(pcm)[8:]
    yield "over four GiB.rf64", _rf64(pcm, 5 << 30)
    yield "zero frames.wav", wav(b"")
    yield "one frame.wav", wav(pcm[:4])


def odd_files() -> Iterator[tuple[str, bytes]]:
    """Sound that is whole and readable, but no music."""
    n_frames = len(chord())
    for name, value in (("silence", 0.0), ("dc", 0.5), ("denormal", 1e-40), ("huge", 3e38)):
        yield f"{name}.wav", float_wav(np.full((n_frames, 2), value))
    yield "denormal hits.wav", float_wav(chord() * 1e-39)
    square = np.where(np.arange(n_frames) // 50 % 2, 1.0, -1.0)
    yield "square.wav", float_wav(np.column_stack([square, square]))
    one = np.zeros((n_frames, 2))
    one[n_frames // 2] = 1.0
    yield "one click.wav", float_wav(one)
    yield "opposite.wav", float_wav(chord() * np.array([1.0, -1.0]))
    yield "loud.wav", float_wav(chord() * 1e6)
    yield "short.wav", float_wav(chord(2.01))


NO_TEXT: Final = b"caf\xe9 \x00\x1b[31m\xff\xfe" * 50
"""What an artist may be called by somebody who means no good."""


def tagged_files() -> Iterator[tuple[str, bytes]]:
    """Whole sounds with names of artists in them that are no text, or lie about their length."""
    mp3 = encoded("mp3")
    for name, said in (("says", len(NO_TEXT) + 11), ("hides", 1 << 20), ("lies", (1 << 28) - 1)):
        size = bytes((said >> shift) & 0x7F for shift in (21, 14, 7, 0))
        frame = b"TPE1" + struct.pack(">IH", len(NO_TEXT) + 1, 0) + b"\x00" + NO_TEXT
        yield f"tag {name}.mp3", b"ID3\x03\x00\x00" + size + frame + mp3
    yield "tag behind.mp3", mp3 + b"TAG" + NO_TEXT[:125]
    info = b"INFO" + b"IART" + struct.pack("<I", len(NO_TEXT)) + NO_TEXT
    plain = wav((chord() * 32_000).astype("<i2").tobytes())
    yield "tag list.wav", plain + b"LIST" + struct.pack("<I", len(info)) + info
    yield "tag list lies.wav", plain + b"LIST" + struct.pack("<I", 0x7FFFFFFF) + info
    flac = encoded("flac")
    comment = struct.pack("<I", 4) + b"none" + struct.pack("<II", 1, len(NO_TEXT)) + NO_TEXT
    for name, said in (("says", len(comment)), ("lies", (1 << 24) - 1)):
        block = bytes([4]) + said.to_bytes(3, "big") + comment
        yield f"tag {name}.flac", flac[:42] + block + flac[42:]


def odd_places(folder: Path) -> list[Path]:
    """Paths that lead to no file, or to none that ends."""
    os.mkfifo(folder / "fifo.wav")
    (folder / "folder.wav").mkdir()
    (folder / "loop.wav").symlink_to("loop.wav")
    (folder / "around").mkdir()
    (folder / "around" / "again").symlink_to(folder / "around")
    (folder / "dangling.wav").symlink_to("nowhere.wav")
    stems = folder / "stems"
    stems.mkdir()
    os.mkfifo(stems / "drums.wav")
    names = ("fifo.wav", "folder.wav", "loop.wav", "around", "dangling.wav", "stems", "missing.wav")
    far = ("x" * 256 + ".wav", "/dev/null", "/dev/zero", "/proc/self/mem", "", ".", "a\0b.wav")
    return [folder / name for name in (*names, *far) if "\0" not in name]


def _flipped(whole: bytes, seed: int) -> bytes:
    rng = random.Random(seed)
    damaged = bytearray(whole)
    within = 80 if seed % 2 else len(damaged)
    for _ in range(1 + seed):
        damaged[rng.randrange(within)] ^= 1 << rng.randrange(8)
    return bytes(damaged)


def _rf64(pcm: bytes, declared: int) -> bytes:
    """A 64-bit WAV (EBU Tech 3306) that promises more than there is."""
    sizes = struct.pack("<QQQI", declared + 80, declared, declared // 4, 0)
    form = struct.pack("<IHHIIHH", 16, PLAIN_INT, 2, RATE_HZ, RATE_HZ * 4, 4, 16)
    body = b"WAVEds64" + struct.pack("<I", len(sizes)) + sizes + b"fmt " + form
    return b"RF64\xff\xff\xff\xff" + body + b"data\xff\xff\xff\xff" + pcm
