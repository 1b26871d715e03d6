"""The packets of the binary form: framing, check and payload; whole packets in, records out.

A packet is ``COBS(type, sequence, payload, CRC-16 big-endian)`` and a zero byte. COBS: S. Cheshire and
M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking 7 (1999) 159-172. The CRC
is that of `crc`, over type to payload; the CRC of a sound packet together with its own CRC is 0.
"""

from __future__ import annotations

import binascii
import struct
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from balancer.recording.blocks import Block
from balancer.recording.lines import STATUS_FIELDS

Integers = npt.NDArray[np.int64]

LONGEST = 253
"""Bytes in a packet before stuffing: up to here COBS costs one byte."""

COUNTER_BITS = 16
"""Width of the mark index and the counters of a status packet."""

_FEWEST = 4
_SAMPLES, _MARK, _STATUS = struct.Struct("<IIBB"), struct.Struct("<HI"), struct.Struct("<IIHHHH")
_LONGEST_HELLO = 4096


def make_packet(kind: bytes, sequence: int, payload: bytes) -> bytes:
    """Frame a payload.

    Parameters
    ----------
    kind : bytes
        One letter.
    sequence : int
        Number of the packet, of which the lowest eight bits are sent.
    payload : bytes
        At most 249 bytes.

    Returns
    -------
    bytes
        The packet with its zero byte at the end.

    Examples
    --------
    >>> make_packet(b"M", 7, bytes([1, 0, 2, 0, 0, 0])).hex(" ")
    '04 4d 07 01 02 02 01 01 03 20 06 00'
    """
    body = kind + bytes([sequence & 0xFF]) + payload
    body += binascii.crc_hqx(body, 0xFFFF).to_bytes(2, "big")
    return b"".join(bytes([len(run) + 1]) + run for run in body.split(b"\0")) + b"\0"


def open_packet(packet: bytes) -> bytes | None:
    """Undo the framing.

    Parameters
    ----------
    packet : bytes
        What stood between two zero bytes.

    Returns
    -------
    bytes or None
        Type, sequence and payload; None if the packet is damaged.
    """
    if not _FEWEST < len(packet) <= LONGEST + 1:
        return None
    body, place = bytearray(packet), 0
    while place < len(body):
        # each code byte says how far it is to the next one, and stands where a zero was
        step = body[place]
        body[place] = 0
        place += step
    if place != len(body) or binascii.crc_hqx(memoryview(body)[1:], 0xFFFF):
        return None
    return bytes(memoryview(body)[1:-2])


class HelloPieces:
    """Puts a hello together that came in several packets."""

    def __init__(self) -> None:
        self._pieces = b""

    def add(self, payload: bytes) -> str | None:
        """Take the payload of an ``H`` packet.

        Parameters
        ----------
        payload : bytes
            A whole hello or a piece of one.

        Returns
        -------
        str or None
            The hello as a line of the text form, once it is whole.
        """
        self._pieces = payload if payload.startswith(b"{") else self._pieces + payload
        if len(self._pieces) > _LONGEST_HELLO:
            self._pieces = b""
        whole = self._pieces.rstrip()
        if not (whole.startswith(b"{") and whole.endswith(b"}")):
            return None
        self._pieces = b""
        return "# " + whole.decode("utf-8", "replace")


@dataclass
class _Found:
    """Records collected packet by packet."""

    samples: list[tuple[int, int, int, int, int]] = field(default_factory=list)  # line, n0, tick, flags, k
    values: list[bytes] = field(default_factory=list)
    marks: list[tuple[int, ...]] = field(default_factory=list)
    status: list[tuple[int, ...]] = field(default_factory=list)
    sequence: list[tuple[int, int]] = field(default_factory=list)
    messages: list[tuple[int, str]] = field(default_factory=list)
    others: list[tuple[int, bytes]] = field(default_factory=list)
    comments: list[tuple[int, bytes]] = field(default_factory=list)
    damaged: list[int] = field(default_factory=list)


def parse_packets(packets: list[bytes | None], axes: int, pieces: HelloPieces | None = None) -> Block:
    """Read opened packets.

    Parameters
    ----------
    packets : list of bytes or None
        As `open_packet` gives them: None where one was damaged.
    axes : int
        Values in a sample.
    pieces : HelloPieces, optional
        Where hellos that came in pieces are put together, when more packets follow in another call.

    Returns
    -------
    Block
        Their records, with the places in the list as line numbers. Hellos are in `comments`.
    """
    found = _Found()
    pieces = pieces or HelloPieces()
    for line, body in enumerate(packets):
        if body is None or not _take(found, line, body, axes, pieces):
            found.damaged.append(line)
        else:
            found.sequence.append((line, body[1]))
    return _block(found, axes, len(packets))


def _take(found: _Found, line: int, body: bytes, axes: int, pieces: HelloPieces) -> bool:
    """Sort one packet in; tell whether its payload was long enough."""
    kind, payload = body[:1], body[2:]
    if kind == b"A":
        return _take_samples(found, line, payload, axes)
    if kind == b"M":
        if len(payload) < _MARK.size:
            return False
        found.marks.append((line, *_MARK.unpack_from(payload)))
    elif kind == b"S":
        if len(payload) < _STATUS.size:
            return False
        found.status.append((line, *_STATUS.unpack_from(payload)))
    elif kind == b"H":
        whole = pieces.add(payload)
        if whole is not None:
            found.comments.append((line, whole.encode()))
    elif kind == b"E":
        found.messages.append((line, payload.decode("utf-8", "replace")))
    else:
        found.others.append((line, kind + payload))
    return True


def _take_samples(found: _Found, line: int, payload: bytes, axes: int) -> bool:
    if len(payload) < _SAMPLES.size:
        return False
    first, tick, flags, count = _SAMPLES.unpack_from(payload)
    end = _SAMPLES.size + 2 * axes * count
    if len(payload) < end:
        return False
    if count:
        found.samples.append((line, first, tick, flags, count))
        found.values.append(payload[_SAMPLES.size : end])
    return True


def _table(rows: list[tuple[int, ...]], columns: int) -> Integers:
    return np.array(rows, np.int64).reshape(-1, columns)


def _block(found: _Found, axes: int, lines: int) -> Block:
    line, first, tick, flags, count = _table(list(found.samples), 5).T
    stops = np.cumsum(count)
    # the samples of a packet are numbered on from its first
    index = np.arange(stops[-1] if stops.size else 0) + np.repeat(first - (stops - count), count)
    counts = np.frombuffer(b"".join(found.values), "<i2").reshape(-1, axes).T
    marks, status = _table(found.marks, 3), _table(found.status, 1 + STATUS_FIELDS)
    sequence, flagged = _table(list(found.sequence), 2), np.flatnonzero(flags)
    return Block(
        index=index & 0xFFFFFFFF,
        tick=np.ascontiguousarray(tick),
        counts=counts.astype(np.float64, order="C"),
        sample_lines=np.repeat(line, count),
        mark_index=marks[:, 1],
        mark_tick=marks[:, 2],
        mark_lines=marks[:, 0],
        status=status[:, 1:],
        status_lines=status[:, 0],
        messages=tuple(found.messages),
        others=tuple(found.others),
        comments=tuple(found.comments),
        lines=lines,
        damaged=np.array(found.damaged, np.int64),
        decimals=False,
        stamped=stops - 1,
        counter_bits=COUNTER_BITS,
        sequence=sequence[:, 1],
        sequence_lines=sequence[:, 0],
        flags=flags[flagged],
        flag_lines=line[flagged],
    )


def sample_payload(first: int, tick: int, flags: int, counts: npt.NDArray[np.int16]) -> bytes:
    """Make the payload of an ``A`` packet.

    Parameters
    ----------
    first : int
        Index of the first sample.
    tick : int
        Tick of the LAST sample.
    flags : int
        See `blocks`.
    counts : array of int16, shape (axes, k)
        The samples.

    Returns
    -------
    bytes
        The payload.
    """
    head = _SAMPLES.pack(first & 0xFFFFFFFF, tick & 0xFFFFFFFF, flags, counts.shape[1])
    return head + np.ascontiguousarray(counts.T, "<i2").tobytes()


def mark_payload(index: int, tick: int) -> bytes:
    """Make the payload of an ``M`` packet."""
    return _MARK.pack(index & 0xFFFF, tick & 0xFFFFFFFF)


def status_payload(tick: int, index: int, *counters: int) -> bytes:
    """Make the payload of an ``S`` packet from tick, sample index and four counters (see `Block.status`)."""
    return _STATUS.pack(tick & 0xFFFFFFFF, index & 0xFFFFFFFF, *(value & 0xFFFF for value in counters))


def hello_packets(line: str, sequence: int) -> list[bytes]:
    """Make the ``H`` packets of a hello line, numbered from `sequence`."""
    said = line.lstrip("# ").encode()
    size = LONGEST - _FEWEST
    pieces = [said[start : start + size] for start in range(0, len(said), size)]
    return [make_packet(b"H", sequence + k, piece) for k, piece in enumerate(pieces)]
