"""The headers of MP3 packets, and the packet that speaks of the whole file.

References
----------
.. [Layer3] ISO/IEC 11172-3:1993 and 13818-3:1998, header 2.4.1.3, 2.4.2.3.
.. [Lame] "Mp3 Info Tag revision 1 Specifications", LAME project: the Xing/Info
   header, and the delay and padding of the encoder. From memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import mmap

# Bit rates of layer III by index (ISO/IEC 11172-3)
_MPEG1_KBPS: Final = (0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320)
# The same at the lower rates (ISO/IEC 13818-3)
_MPEG2_KBPS: Final = (0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160)
_MPEG1_RATES_HZ: Final = (44_100, 48_000, 32_000)  # sample rates by index (ISO/IEC 11172-3)
_RATE_DIVISOR: Final = {3: 1, 2: 2, 0: 4}
"""By version bits: MPEG-1, MPEG-2, and the extension to lower rates."""
SAME_STREAM: Final = 0xFFFE0C00
"""Header bits that hold for a whole stream: sync, version, layer, rate."""
_SYNC: Final = 0x7FF  # the eleven set bits that a header starts with
_LAYER_3: Final = 1  # its number in the header
_MPEG1: Final = 3  # its version bits in the header
_MONO: Final = 3  # its channel mode in the header
HEADER_BYTES: Final = 4  # of every frame, before its side information
NO_CHECKSUM: Final = 1 << 16  # the header bit that is set where none follows
DECODER_DELAY_FRAMES: Final = 529
"""Frames by which every decoder is late; the Info header does not count them [Lame]_."""
_ENCODER_BYTES: Final = 24
"""From the encoder's name to its delay and padding, 12 bits each [Lame]_."""
# Of the frame that holds the Info header: room enough at every rate
_INFO_BIT_RATE_INDEX: Final = 9


def header_at(view: bytes | mmap.mmap, at: int) -> int:
    """The four bytes at a place as a number."""
    return int.from_bytes(view[at : at + HEADER_BYTES], "big")


def packet_bytes(header: int) -> int:
    """Size of a layer III packet; 0 if this is no header of one."""
    version, layer = header >> 19 & 3, header >> 17 & 3
    bit_rate, rate = header >> 12 & 15, header >> 10 & 3
    is_header = header >> 21 == _SYNC and layer == _LAYER_3 and version in _RATE_DIVISOR
    if not is_header or bit_rate in {0, 15} or rate == len(_MPEG1_RATES_HZ):
        return 0
    kbps = (_MPEG1_KBPS if version == _MPEG1 else _MPEG2_KBPS)[bit_rate]
    return packet_frames(header) // 8 * kbps * 1000 // packet_rate_hz(header) + (header >> 9 & 1)


def packet_rate_hz(header: int) -> int:
    """Sample rate of a layer III packet."""
    return _MPEG1_RATES_HZ[header >> 10 & 3] // _RATE_DIVISOR[header >> 19 & 3]


def packet_channels(header: int) -> int:
    """1 or 2."""
    return 1 if header >> 6 & 3 == _MONO else 2


def packet_frames(header: int) -> int:
    """Frames of sound in a packet."""
    return 1152 if header >> 19 & 3 == _MPEG1 else 576


def _side_info_bytes(header: int) -> int:
    is_mono = header >> 6 & 3 == _MONO
    if header >> 19 & 3 == _MPEG1:
        return 17 if is_mono else 32
    return 9 if is_mono else 17


def side_info_end(packet: bytes) -> int:
    """Where in a packet the bytes of the reservoir begin."""
    header = int.from_bytes(packet[:HEADER_BYTES], "big")
    checksum_bytes = 0 if header & NO_CHECKSUM else 2
    return HEADER_BYTES + checksum_bytes + _side_info_bytes(header)


def reach_bits(header: int) -> int:
    """Bits of main_data_begin: how far before a packet its sound may start, in bytes [Layer3]_."""
    return 9 if header >> 19 & 3 == _MPEG1 else 8


@dataclass(frozen=True, slots=True, kw_only=True)
class InfoHeader:
    """What the silent first packet says of the file; zeros where it says nothing."""

    is_present: bool = False
    n_packets: int = 0
    n_bytes: int = 0
    delay_frames: int = 0
    trailing_frames: int = 0

    @classmethod
    def of(cls, packet: bytes, header: int) -> InfoHeader:
        """What a stream's first packet says, if it is such a header."""
        at = HEADER_BYTES + _side_info_bytes(header)
        if packet[at : at + 4] not in {b"Xing", b"Info"}:
            return cls(is_present=packet[36:40] == b"VBRI")
        flags = int.from_bytes(packet[at + 4 : at + 8], "big")
        at += 8
        counts = []
        for bit, size in ((1, 4), (2, 4), (4, 100), (8, 4)):
            counts.append(int.from_bytes(packet[at : at + 4], "big") if flags & bit else 0)
            at += size if flags & bit else 0
        encoder = packet[at : at + _ENCODER_BYTES]
        if len(encoder) < _ENCODER_BYTES or not encoder[0]:
            return cls(is_present=True, n_packets=counts[0], n_bytes=counts[1])
        both = int.from_bytes(encoder[21:24], "big")
        return cls(
            is_present=True,
            n_packets=counts[0],
            n_bytes=counts[1],
            delay_frames=(both >> 12) + DECODER_DELAY_FRAMES,
            trailing_frames=max(0, (both & 0xFFF) - DECODER_DELAY_FRAMES),
        )


def info_packet(header: int, n_packets: int) -> bytes:
    """A silent first packet that tells a decoder the count, so that it need not guess."""
    plain = header & ~(15 << 12 | 1 << 9) | _INFO_BIT_RATE_INDEX << 12 | NO_CHECKSUM
    packet = bytearray(packet_bytes(plain))
    packet[:4] = plain.to_bytes(4, "big")
    at = HEADER_BYTES + _side_info_bytes(header)
    if n_packets:
        packet[at : at + 12] = b"Xing" + (1).to_bytes(4, "big") + n_packets.to_bytes(4, "big")
    return bytes(packet)
