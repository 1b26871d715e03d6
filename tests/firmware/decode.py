"""A plain decoder of stream version 1, independent of the package: slow, short, and a check on the real one.

Binary: packets end at a zero byte and are COBS (S. Cheshire and M. Baker, "Consistent Overhead Byte
Stuffing", IEEE/ACM Transactions on Networking 7 (1999) 159-172); the CRC is `binascii.crc_hqx(..., 0xFFFF)`.
"""

import binascii
import json
import struct
from dataclasses import dataclass, field


@dataclass
class Stream:
    """What was found, in the order of arrival; a segment begins with every hello of a new sid."""

    segments: list = field(default_factory=list)
    bad: int = 0
    seq_gaps: int = 0  # packets missing by their sequence numbers
    pieces: bytes = b""  # of a hello that came in several packets
    last_seq: int | None = None

    @property
    def only(self):
        (segment,) = self.segments
        return segment


@dataclass
class Segment:
    """Records under one sid; a block is (n0, tick of its last sample, flags, rows of counts)."""

    hello: dict
    hellos: int = 1
    blocks: list = field(default_factory=list)
    marks: list = field(default_factory=list)
    status: list = field(default_factory=list)
    messages: list = field(default_factory=list)
    missing_at_status: list = field(default_factory=list)  # packets missing by then, for each status


def unstuff(packet):
    """Undo COBS, or give None."""
    out, at = bytearray(), 0
    while at < len(packet):
        code = packet[at]
        if at + code > len(packet):
            return None
        out += packet[at + 1 : at + code]
        at += code
        if code < 255 and at < len(packet):
            out.append(0)
    return bytes(out)


def take_hello(stream, text):
    hello = json.loads(text)
    if stream.segments and stream.segments[-1].hello["sid"] == hello["sid"]:
        stream.segments[-1].hellos += 1
    else:
        stream.segments.append(Segment(hello))


def take_packet(stream, packet):
    body = unstuff(packet)
    if body is None or len(body) < 4 or binascii.crc_hqx(body, 0xFFFF) != 0:
        stream.bad += 1
        return
    kind, seq, payload = chr(body[0]), body[1], body[2:-2]
    if stream.last_seq is not None:
        stream.seq_gaps += (seq - stream.last_seq - 1) % 256
    stream.last_seq = seq
    if kind == "H":
        stream.pieces += payload
        try:
            take_hello(stream, stream.pieces)
            stream.pieces = b""
        except ValueError:
            return
    elif stream.segments:
        take_payload(stream.segments[-1], kind, payload, stream.seq_gaps)


def take_payload(segment, kind, payload, missing):
    if kind == "A":
        n0, tick, flags, count = struct.unpack_from("<IIBB", payload)
        axes = len(segment.hello["axes"])
        values = struct.unpack_from(f"<{count * axes}h", payload, 10)
        rows = [values[i : i + axes] for i in range(0, len(values), axes)]
        segment.blocks.append((n0, tick, flags, rows))
    elif kind == "M":
        segment.marks.append(struct.unpack("<HI", payload))
    elif kind == "S":
        segment.status.append(struct.unpack("<IIHHHH", payload))
        segment.missing_at_status.append(missing)
    elif kind == "E":
        segment.messages.append(payload.decode())


def take_line(stream, line):
    if line.startswith(b"# {"):
        take_hello(stream, line[2:])
        return
    if line.startswith(b"#") or not line:
        return
    body, _, check = line.rpartition(b"*")
    if f"{binascii.crc_hqx(body, 0xFFFF):04X}".encode() != check:
        stream.bad += 1
        return
    segment, (kind, *fields) = stream.segments[-1], body.split(b",")
    if kind == b"e":
        segment.messages.append(body[2:].decode())
        return
    numbers = tuple(int(value) for value in fields)
    if kind == b"a":
        segment.blocks.append((numbers[0], numbers[1], 0, [numbers[2:]]))
    else:
        {b"m": segment.marks, b"s": segment.status}[kind].append(numbers)


def decode(data):
    """Decode a byte stream of either form, begun at its beginning."""
    stream = Stream()
    if data.lstrip(b"\n").startswith(b"# balancer stream 1"):
        for line in data.split(b"\n")[:-1]:
            take_line(stream, line)
    else:
        for packet in data.split(b"\0")[:-1]:
            if packet:
                take_packet(stream, packet)
    return stream
