"""Bytes cut into whole records, whichever form they are in; what is no record is passed over and counted."""

from __future__ import annotations

import binascii
import re

from balancer.recording.packets import open_packet

LONGEST_RECORD = 8192
"""Bytes; what is longer is garbage. The longest sound record is a hello line."""

_UNKNOWN_KEPT = 1 << 16
_HELLO_LINE = re.compile(rb"#\s*(balancer stream\s|\{.*\}\s*$)")
_RECORD_LINE = re.compile(rb"([a-z],[^*\r\n]*)\*([0-9A-Fa-f]{4})\r?$")


class Framer:
    """Takes bytes in any cut and gives whole records, with the form found from what comes first.

    Attributes
    ----------
    form : {"", "text", "binary"}
        Empty until something sound has come.
    overlong : int
        Records dropped because they would not end.
    """

    def __init__(self) -> None:
        self.form = ""
        self.overlong = 0
        self._rest = bytearray()
        self._dropping = False
        self._seen = self._line = self._packet = 0  # how far the search for the form is

    @property
    def unfinished(self) -> bytes:
        """The beginning of a record whose end has not come yet."""
        return bytes(self._rest)

    def add(self, data: bytes) -> list[bytes]:
        """Take bytes.

        Parameters
        ----------
        data : bytes
            What came.

        Returns
        -------
        list of bytes
            Text: one item with whole lines and their line ends, or none. Binary: the packets without their
            zero bytes, empty ones left out.
        """
        self._rest += data
        if not self.form and not self._recognised():
            return []
        end = self._rest.rfind(self._delimiter) + 1
        whole, self._rest = bytes(self._rest[:end]), self._rest[end:]
        records = self._records(whole)
        if len(self._rest) > LONGEST_RECORD:
            self._dropping = True
            self._rest.clear()
        return records

    @property
    def _delimiter(self) -> bytes:
        return b"\n" if self.form == "text" else b"\0"

    def _records(self, whole: bytes) -> list[bytes]:
        if not whole:
            return []
        pieces = whole.split(self._delimiter)[:-1] if self._must_look(whole) else None
        if pieces is not None:
            if self._dropping:
                pieces = [b"x" * (LONGEST_RECORD + 1), *pieces[1:]]
                self._dropping = False
            kept = [piece for piece in pieces if len(piece) <= LONGEST_RECORD]
            self.overlong += len(pieces) - len(kept)
            whole = b"".join(piece + self._delimiter for piece in kept)
        if self.form == "text":
            return [whole] if whole else []
        return [packet for packet in whole.split(b"\0") if packet]

    def _must_look(self, whole: bytes) -> bool:
        return self._dropping or len(whole) > LONGEST_RECORD

    def _recognised(self) -> bool:
        """Look at the records that ended since the last look, in their order, until one tells the form."""
        data = self._rest
        for place in range(self._seen, len(data)):
            if data[place] == 0:
                body = open_packet(bytes(data[self._packet : place]))
                self._packet = self._line = place + 1
                if body is not None and body[0] in b"HAMSE":
                    self.form = "binary"
                    return True
            elif data[place] == ord("\n"):
                line, self._line = bytes(data[self._line : place]), place + 1
                if _is_text(line):
                    self.form = "text"
                    return True
        self._seen = len(data)
        if len(data) > _UNKNOWN_KEPT:
            self._rest.clear()
            self._seen = self._line = self._packet = 0
            self.overlong += 1
        return False


def _is_text(line: bytes) -> bool:
    if _HELLO_LINE.match(line):
        return True
    record = _RECORD_LINE.match(line)
    return record is not None and binascii.crc_hqx(record[1], 0xFFFF) == int(record[2], 16)
