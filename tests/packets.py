"""Binary streams for tests, framed apart from the package's writer."""

from __future__ import annotations

import binascii
import json
import struct
from collections.abc import Iterable, Sequence

from tests.streams import HELLO


def stuffed(body: bytes) -> bytes:
    """COBS as S. Cheshire and M. Baker give it, IEEE/ACM Trans. Networking 7 (1999): for runs below 254."""
    out, start = bytearray(), 0
    for place in [*(k for k, byte in enumerate(body) if byte == 0), len(body)]:
        run = body[start:place]
        assert len(run) < 254
        out += bytes([len(run) + 1]) + run
        start = place + 1
    return bytes(out) + b"\0"


def packet(kind: str, seq: int, payload: bytes) -> bytes:
    body = kind.encode() + bytes([seq & 0xFF]) + payload
    return stuffed(body + struct.pack(">H", binascii.crc_hqx(body, 0xFFFF)))


class Board:
    """Sends packets and keeps their sequence numbers."""

    def __init__(self, **changes: object) -> None:
        self.hello = {key: value for key, value in (HELLO | changes).items() if value is not ...}
        self.seq = 0
        self.sent: list[bytes] = []

    def send(self, kind: str, payload: bytes) -> Board:
        self.sent.append(packet(kind, self.seq, payload))
        self.seq += 1
        return self

    def say_hello(self, pieces: int = 2) -> Board:
        text = json.dumps(self.hello).encode()
        size = -(-len(text) // pieces)
        for start in range(0, len(text), size):
            self.send("H", text[start : start + size])
        return self

    def samples(self, first: int, tick: int, rows: Sequence[Sequence[int]], flags: int = 0) -> Board:
        """One block; `tick` is that of its LAST sample."""
        values = b"".join(struct.pack(f"<{len(row)}h", *row) for row in rows)
        head = struct.pack("<IIBB", first & 0xFFFFFFFF, tick & 0xFFFFFFFF, flags, len(rows))
        return self.send("A", head + values)

    def mark(self, number: int, tick: int) -> Board:
        return self.send("M", struct.pack("<HI", number & 0xFFFF, tick & 0xFFFFFFFF))

    def status(self, tick: int, n: int, m: int, overruns: int = 0, records: int = 0, marks: int = 0) -> Board:
        numbers = (tick & 0xFFFFFFFF, n & 0xFFFFFFFF, m & 0xFFFF, overruns, records, marks)
        return self.send("S", struct.pack("<IIHHHH", *numbers))

    @property
    def data(self) -> bytes:
        return b"".join(self.sent)


def row(n: int) -> tuple[int, int, int]:
    """Counts that follow from the index."""
    return n % 50, -(n % 70), n % 9 - 4


def run(
    board: Board,
    blocks: int,
    *,
    first: int = 0,
    period: float = 1000.0,
    start: int = 5000,
    size: int = 16,
    skip: Iterable[int] = (),
    mark_every: int = 0,
) -> Board:
    """Blocks of samples with index and ticks in step, and a mark after every so many blocks."""
    for block in range(blocks):
        n0 = first + block * size
        last = round(start + (n0 + size - 1) * period)
        if block in set(skip):
            board.seq += 1
            continue
        board.samples(n0, last, [row(n) for n in range(n0, n0 + size)])
        if mark_every and block % mark_every == mark_every - 1:
            board.mark(block // mark_every, last + 7)
    return board
