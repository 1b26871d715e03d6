"""Stream files for tests, written line by line and apart from the package's writer."""

from __future__ import annotations

import binascii
import json
from collections.abc import Iterable, Sequence
from typing import Any

VERSION = "# balancer stream 1"

HELLO: dict[str, Any] = {
    "board": "test board",
    "sensor": "test sensor",
    "sid": 17,
    "axes": ["x", "y", "z"],
    "unit": "m/s^2",
    "scale": 0.5,
    "full_scale": 2047,
    "rate_hz": 1000,
    "tick_hz": 1000000,
    "tick_bits": 32,
    "lowpass_hz": 500,
    "stamp": "irq",
    "marks_per_rev": 1,
    "mark_edge": "rising",
    "check": "crc16",
}


def hello(**changes: Any) -> str:
    """The header line with some keys changed; a key set to Ellipsis is left out."""
    said = {key: value for key, value in (HELLO | changes).items() if value is not ...}
    return "# " + json.dumps(said)


def checked(record: str, check: str = "crc16") -> str:
    """A record with its check, worked out by the standard library."""
    data = record.encode()
    if check == "crc16":
        return f"{record}*{binascii.crc_hqx(data, 0xFFFF):04X}"
    if check == "xor":
        value = 0
        for byte in data:
            value ^= byte
        return f"{record}*{value:02X}"
    return record


def samples(
    count: int, *, first: int = 0, period: int = 1000, start: int = 5000, skip: Iterable[int] = ()
) -> list[str]:
    """Records of samples with index and ticks in step; the values follow from the index."""
    return [
        f"a,{n & 0xFFFFFFFF},{(start + n * period) & 0xFFFFFFFF},{n % 50},{-(n % 70)},{n % 9 - 4}"
        for n in range(first, first + count)
        if n not in skip
    ]


def stream(
    records: Sequence[str],
    *,
    check: str = "crc16",
    end: str = "\n",
    header: Sequence[str] | None = None,
    **changes: Any,
) -> bytes:
    """A whole file: header, then the records with their check; lines that begin with # stay as they are."""
    head = [VERSION, hello(check=check, **changes)] if header is None else list(header)
    lines = [record if record.startswith("#") else checked(record, check) for record in records]
    return (end.join([*head, *lines]) + end).encode()
