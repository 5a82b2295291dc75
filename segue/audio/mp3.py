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

from segue.audio.mp3_header import (
    DECODER_DELAY_FRAMES,
    HEADER_BYTES,
    NO_CHECKSUM,
    SAME_STREAM,
    InfoHeader,
    header_at,
    info_packet,
    packet_bytes,
    packet_channels,
    packet_frames,
    packet_rate_hz,
    reach_bits,
    side_info_end,
)

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from segue.arrays import Floats32

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
    header : int
        Header of the first packet.
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
        return packet_frames(self.header)

    @property
    def rate_hz(self) -> int:
        """Sample rate of the stream."""
        return packet_rate_hz(self.header)

    @property
    def n_channels(self) -> int:
        """1 or 2."""
        return packet_channels(self.header)


def starts_as_mp3(path: Path) -> bool:
    """Whether a file begins with the tag or the packet that MP3 files begin with."""
    with path.open("rb") as file:
        start = file.read(HEADER_BYTES)
    return start[:3] == b"ID3" or packet_bytes(int.from_bytes(start, "big")) > 0


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
        header = header_at(view, first)
        stop = len(view) - 128 if view[-128:-125] == b"TAG" else len(view)
        packet = view[first : first + packet_bytes(header)]
        info = InfoHeader.of(packet, header)
        start = first + len(packet) if info.is_present else first
        end = first + info.n_bytes
        if not info.n_packets or not info.n_bytes or _synced(view, end, end + 1) is not None:
            n_packets, cut_off = sum(1 for _ in _packets(view, header, start, stop)), False
        else:
            n_packets, cut_off = info.n_packets, end > stop + _MAX_PACKET_BYTES
            stop = min(end, stop)
    n_frames = n_packets * packet_frames(header) - info.delay_frames
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
    lead = [info_packet(index.header, len(run) + 1), _silent(info_packet(index.header, 0))]
    with soundfile.SoundFile(io.BytesIO(b"".join([*lead, *run]))) as file:
        heard = file.read(dtype="float32", always_2d=True)
    skip = raw - (first - 1) * index.packet_frames - DECODER_DELAY_FRAMES
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
        filled += len(packet) - side_info_end(packet)
    return [*quiet, *run[len(quiet) :]]


def _silent(packet: bytes, reaching_back_bytes: int = 0) -> bytes:
    """The packet with its sound unused but still there for the packets after it.

    A decoder keeps of the packets before one only what that one reaches back to: so it says that
    it reaches as far as there is something (main_data_begin, the first bits of the side
    information), or small packets would leave the next one too little.
    """
    header = int.from_bytes(packet[:HEADER_BYTES], "big") | NO_CHECKSUM
    end = side_info_end(packet)
    n_bits = reach_bits(header)
    reach = min(reaching_back_bytes, (1 << n_bits) - 1) << (16 - n_bits)
    side_info = reach.to_bytes(2, "big") + bytes(end - HEADER_BYTES - 2)
    return header.to_bytes(4, "big") + side_info + packet[end:]


def _packets(view: bytes | mmap.mmap, header: int, at: int, stop: int) -> Iterator[tuple[int, int]]:
    """Place and size of every whole packet of the stream that `header` belongs to."""
    found = _synced(view, at, stop, header)
    while found is not None:
        at = found
        while at + HEADER_BYTES <= stop:
            here = header_at(view, at)
            size = packet_bytes(here) if (here ^ header) & SAME_STREAM == 0 else 0
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
        header = header_at(view, at)
        is_like = like is None or (header ^ like) & SAME_STREAM == 0
        if is_like and packet_bytes(header) and _chains(view, header, at):
            return at
        at += 1
    return None


def _chains(view: bytes | mmap.mmap, header: int, at: int) -> bool:
    for _ in range(_CHAIN):
        here = header_at(view, at)
        size = packet_bytes(here) if (here ^ header) & SAME_STREAM == 0 else 0
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
