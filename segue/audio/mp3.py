"""Where the packets of an MP3 file lie, and any stretch of them decoded.

MP3 has no index: a decoder walks every packet up to the one sought, and guesses
the length of a file without a Xing header from its first packet's bit rate.
Here the packet count comes from the header, or from a walk over the packet
headers when there is none; packets are then counted from the nearer end, and
only those of the stretch are decoded. A *packet* is what the standard calls a
frame: 1152 or 576 frames of sound.

References
----------
.. [Layer3] ISO/IEC 11172-3:1993 and 13818-3:1998, header 2.4.1.3, 2.4.2.3;
   the bit reservoir, 2.4.2.7 (main_data_begin).
.. [Lame] "Mp3 Info Tag revision 1 Specifications", LAME project: the Xing/Info
   header, and the delay and padding of the encoder. From memory.
"""

from __future__ import annotations

import io
import mmap
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import soundfile

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from segue.arrays import Floats32


# Bit rates of layer III by index (ISO/IEC 11172-3)
_MPEG1_KBPS: Final = (0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320)
# The same at the lower rates (ISO/IEC 13818-3)
_MPEG2_KBPS: Final = (0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160)
_MPEG1_RATES_HZ: Final = (44_100, 48_000, 32_000)  # sample rates by index (ISO/IEC 11172-3)
_RATE_DIVISOR: Final = {3: 1, 2: 2, 0: 4}
"""By version bits: MPEG-1, MPEG-2, and the extension to lower rates."""
_SAME_STREAM: Final = 0xFFFE0C00
"""Header bits that hold for a whole stream: sync, version, layer, rate."""
_SYNC: Final = 0x7FF  # the eleven set bits that a header starts with
_LAYER_3: Final = 1  # its number in the header
_MPEG1: Final = 3  # its version bits in the header
_MONO: Final = 3  # its channel mode in the header
_HEADER_BYTES: Final = 4  # of every frame, before its side information
_NO_CHECKSUM: Final = 1 << 16  # the header bit that is set where none follows
_DECODER_DELAY_FRAMES: Final = 529
"""Frames by which every decoder is late; the Info header does not count them [Lame]_."""
_ENCODER_BYTES: Final = 24
"""From the encoder's name to its delay and padding, 12 bits each [Lame]_."""
# Of the frame that holds the Info header: room enough at every rate
_INFO_BIT_RATE_INDEX: Final = 9


def _header_at(view: bytes | mmap.mmap, at: int) -> int:
    """The four bytes at a place as a number."""
    return int.from_bytes(view[at : at + _HEADER_BYTES], "big")


def _packet_bytes(header: int) -> int:
    """Size of a layer III packet; 0 if this is no header of one."""
    version, layer = header >> 19 & 3, header >> 17 & 3
    bit_rate, rate = header >> 12 & 15, header >> 10 & 3
    is_header = header >> 21 == _SYNC and layer == _LAYER_3 and version in _RATE_DIVISOR
    if not is_header or bit_rate in {0, 15} or rate == len(_MPEG1_RATES_HZ):
        return 0
    kbps = (_MPEG1_KBPS if version == _MPEG1 else _MPEG2_KBPS)[bit_rate]
    return _packet_frames(header) // 8 * kbps * 1000 // _packet_rate_hz(header) + (header >> 9 & 1)


def _packet_rate_hz(header: int) -> int:
    """Sample rate of a layer III packet."""
    return _MPEG1_RATES_HZ[header >> 10 & 3] // _RATE_DIVISOR[header >> 19 & 3]


def _packet_channels(header: int) -> int:
    """1 or 2."""
    return 1 if header >> 6 & 3 == _MONO else 2


def _packet_frames(header: int) -> int:
    """Frames of sound in a packet."""
    return 1152 if header >> 19 & 3 == _MPEG1 else 576


def _side_info_bytes(header: int) -> int:
    is_mono = header >> 6 & 3 == _MONO
    if header >> 19 & 3 == _MPEG1:
        return 17 if is_mono else 32
    return 9 if is_mono else 17


def _side_info_end(packet: bytes) -> int:
    """Where in a packet the bytes of the reservoir begin."""
    header = int.from_bytes(packet[:_HEADER_BYTES], "big")
    checksum_bytes = 0 if header & _NO_CHECKSUM else 2
    return _HEADER_BYTES + checksum_bytes + _side_info_bytes(header)


def _reach_bits(header: int) -> int:
    """Bits of main_data_begin: how far before a packet its sound may start, in bytes [Layer3]_."""
    return 9 if header >> 19 & 3 == _MPEG1 else 8


@dataclass(frozen=True, slots=True, kw_only=True)
class _InfoHeader:
    """What the silent first packet says of the file; zeros where it says nothing."""

    is_present: bool = False
    n_packets: int = 0
    n_bytes: int = 0
    delay_frames: int = 0
    trailing_frames: int = 0

    @classmethod
    def of(cls, packet: bytes, header: int) -> _InfoHeader:
        """What a stream's first packet says, if it is such a header."""
        at = _HEADER_BYTES + _side_info_bytes(header)
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
            delay_frames=(both >> 12) + _DECODER_DELAY_FRAMES,
            trailing_frames=max(0, (both & 0xFFF) - _DECODER_DELAY_FRAMES),
        )


def _info_packet(header: int, n_packets: int) -> bytes:
    """A silent first packet that tells a decoder the count, so that it need not guess."""
    plain = header & ~(15 << 12 | 1 << 9) | _INFO_BIT_RATE_INDEX << 12 | _NO_CHECKSUM
    packet = bytearray(_packet_bytes(plain))
    packet[:4] = plain.to_bytes(4, "big")
    at = _HEADER_BYTES + _side_info_bytes(header)
    if n_packets:
        packet[at : at + 12] = b"Xing" + (1).to_bytes(4, "big") + n_packets.to_bytes(4, "big")
    return bytes(packet)


_MAX_PACKET_BYTES: Final = 1441
"""320 kbit/s at 32 kHz, padded: less than this may be missing from a whole file."""
_CHAIN: Final = 4
"""Headers in a row that must agree before a place counts as a packet."""
_RESERVOIR_BYTES: Final = 511
"""How far back a packet's sound may begin [Layer3]_."""
_WARM_UP_PACKETS: Final = 96
"""Packets decoded and dropped first, enough to fill the reservoir at the lowest bit rates."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mp3Index:
    """Where the sound of an MP3 file lies.

    Parameters
    ----------
    first_byte, stop_byte : int
        Stretch of the file that holds packets of sound.
    delay_frames : int
        Frames of the decoder's output before the sound proper.
    n_frames : int
        Length of the sound proper.
    is_cut_off : bool
        Whether the file is shorter than its header says.
    """

    header: int
    first_byte: int
    stop_byte: int
    n_packets: int
    delay_frames: int
    n_frames: int
    is_cut_off: bool

    @property
    def packet_frames(self) -> int:
        """Frames of sound in a packet."""
        return _packet_frames(self.header)

    @property
    def rate_hz(self) -> int:
        """Sample rate of the stream."""
        return _packet_rate_hz(self.header)

    @property
    def n_channels(self) -> int:
        """1 or 2."""
        return _packet_channels(self.header)


def starts_as_mp3(path: Path) -> bool:
    """Whether a file begins with the tag or the packet that MP3 files begin with."""
    with path.open("rb") as file:
        start = file.read(_HEADER_BYTES)
    return start[:3] == b"ID3" or _packet_bytes(int.from_bytes(start, "big")) > 0


def mp3_index(path: Path) -> Mp3Index | None:
    """The lie of an MP3 file's packets.

    Parameters
    ----------
    path : Path
        An MPEG audio file.

    Returns
    -------
    Mp3Index or None
        None if it is not layer III or has no stated bit rate, both rare.
    """
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as view:
        first = _synced(view, _after_id3(view), len(view))
        if first is None:
            return None
        header = _header_at(view, first)
        stop = len(view) - 128 if view[-128:-125] == b"TAG" else len(view)
        packet = view[first : first + _packet_bytes(header)]
        info = _InfoHeader.of(packet, header)
        start = first + len(packet) if info.is_present else first
        end = first + info.n_bytes
        if not info.n_packets or not info.n_bytes or _synced(view, end, end + 1) is not None:
            n_packets, cut_off = sum(1 for _ in _packets(view, header, start, stop)), False
        else:
            n_packets, cut_off = info.n_packets, end > stop + _MAX_PACKET_BYTES
            stop = min(end, stop)
    n_frames = n_packets * _packet_frames(header) - info.delay_frames
    return Mp3Index(
        header=header,
        first_byte=start,
        stop_byte=stop,
        n_packets=n_packets,
        delay_frames=info.delay_frames,
        n_frames=n_frames - info.trailing_frames,
        is_cut_off=cut_off,
    )


def read_mp3(path: Path, index: Mp3Index, *, start_frame: int, n_frames: int) -> Floats32:
    """A stretch of an MP3 file, decoded from a few packets before it.

    Parameters
    ----------
    start_frame, n_frames : int
        The stretch, in frames of the sound proper.

    Returns
    -------
    ndarray, shape (up to n_frames, n_channels), float32
        Shorter only if the file ends early.
    """
    raw = start_frame + index.delay_frames
    first = max(0, raw // index.packet_frames - _WARM_UP_PACKETS)
    stop = min(index.n_packets, -(-(raw + n_frames) // index.packet_frames) + 1)
    run = _packet_run(path, index, first, stop)
    if first:
        run = _with_quiet_start(run)
    # Without a note of the encoder's delay the decoder drops its own: a silent packet pays for it.
    lead = [_info_packet(index.header, len(run) + 1), _silent(_info_packet(index.header, 0))]
    with soundfile.SoundFile(io.BytesIO(b"".join([*lead, *run]))) as file:
        heard = file.read(dtype="float32", always_2d=True)
    skip = raw - (first - 1) * index.packet_frames - _DECODER_DELAY_FRAMES
    out: Floats32 = heard[skip : skip + n_frames]
    return out


def _packet_run(path: Path, index: Mp3Index, first: int, stop: int) -> list[bytes]:
    """Packets `first` to `stop`, found by counting from the nearer end."""
    from_end = index.n_packets - first
    is_near_start = stop <= from_end
    n_needed = stop if is_near_start else from_end
    n_bytes = index.stop_byte - index.first_byte
    size = min(n_bytes, (n_needed + _CHAIN) * n_bytes // max(index.n_packets, 1))
    with path.open("rb") as file:
        while True:
            at = index.first_byte if is_near_start else index.stop_byte - size
            file.seek(at)
            window = file.read(size)
            places = list(_packets(window, index.header, 0, len(window)))
            if len(places) >= n_needed or size == n_bytes:
                break
            size = min(n_bytes, size * 3 // 2)  # packets are larger here than on average
    offset = 0 if is_near_start else index.n_packets - len(places)
    run = places[max(first - offset, 0) : max(stop - offset, 0)]
    return [window[place : place + size] for place, size in run]


def _with_quiet_start(run: list[bytes]) -> list[bytes]:
    """The run with those packets silent whose sound began in packets before it."""
    filled = 0
    quiet = []
    for packet in run:
        if filled >= _RESERVOIR_BYTES:
            break
        quiet.append(_silent(packet, reaching_back_bytes=filled))
        filled += len(packet) - _side_info_end(packet)
    return [*quiet, *run[len(quiet) :]]


def _silent(packet: bytes, reaching_back_bytes: int = 0) -> bytes:
    """The packet with its sound unused but still there for the packets after it.

    A decoder keeps of the packets before one only what that one reaches back to: so it says that
    it reaches as far as there is something (main_data_begin, the first bits of the side
    information), or small packets would leave the next one too little.
    """
    header = int.from_bytes(packet[:_HEADER_BYTES], "big") | _NO_CHECKSUM
    end = _side_info_end(packet)
    n_bits = _reach_bits(header)
    reach = min(reaching_back_bytes, (1 << n_bits) - 1) << (16 - n_bits)
    side_info = reach.to_bytes(2, "big") + bytes(end - _HEADER_BYTES - 2)
    return header.to_bytes(4, "big") + side_info + packet[end:]


def _packets(view: bytes | mmap.mmap, header: int, at: int, stop: int) -> Iterator[tuple[int, int]]:
    """Place and size of every whole packet of the stream that `header` belongs to."""
    found = _synced(view, at, stop, header)
    while found is not None:
        at = found
        while at + _HEADER_BYTES <= stop:
            here = _header_at(view, at)
            size = _packet_bytes(here) if (here ^ header) & _SAME_STREAM == 0 else 0
            if not size:
                break
            if at + size > stop:
                return
            yield at, size
            at += size
        found = _synced(view, at, stop, header)


def _synced(view: bytes | mmap.mmap, at: int, stop: int, like: int | None = None) -> int | None:
    """The first place from `at` where a chain of packets starts, or None before `stop`."""
    while (at := view.find(b"\xff", at, stop)) >= 0:
        header = _header_at(view, at)
        is_like = like is None or (header ^ like) & _SAME_STREAM == 0
        if is_like and _packet_bytes(header) and _chains(view, header, at):
            return at
        at += 1
    return None


def _chains(view: bytes | mmap.mmap, header: int, at: int) -> bool:
    for _ in range(_CHAIN):
        here = _header_at(view, at)
        size = _packet_bytes(here) if (here ^ header) & _SAME_STREAM == 0 else 0
        if not size:
            return False
        at += size
        if at >= len(view):
            return at == len(view)
    return True


def _after_id3(view: mmap.mmap) -> int:
    """Where the tags in front end; their sizes have 7 bits a byte (ID3v2.4, section 3.1)."""
    at = 0
    while view[at : at + 3] == b"ID3" and at + 10 <= len(view):
        a, b, c, d = view[at + 6 : at + 10]
        has_footer = view[at + 5] >> 4 & 1
        at += 10 + (a << 21 | b << 14 | c << 7 | d) + 10 * has_footer
    return at
