"""Replays a file as if it came from a board, at real speed or faster."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from balancer.errors import InputError
from balancer.live.decoder import StreamDecoder
from balancer.live.source import PAUSE, ClosingSource
from balancer.recording.files import read_bytes
from balancer.recording.stream_binary import detect as is_binary
from balancer.recording.stream_text import detect as is_text
from balancer.recording.stream_writer import make_stream_packets


class FileSource(ClosingSource):
    """Replays a recording.

    Parameters
    ----------
    path : str
        A stream file, or any other recording: that becomes a stream on its way.
    speed : float, optional
        How many times faster than it happened; infinite for at once.

    Raises
    ------
    InputError
        If there is no such file, it is no recording, or the speed is not above 0.
    """

    PIECE = 512

    def __init__(
        self,
        path: str,
        *,
        speed: float = 1.0,
        now: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        super().__init__(f"file:{path}")
        if not speed > 0:
            raise InputError(f"a replay speed of {speed:g} is not above 0", todo="use 1 for real speed")
        self._data = _stream_bytes(path)
        self._speed, self._now, self._sleep = speed, now, sleep
        self._place = 0
        self._decoder = StreamDecoder()
        self._segment, self._before, self._reached = 0, 0.0, 0.0
        self._begun: float | None = None

    def read(self) -> bytes:
        """Give what the device would have sent by now."""
        if self.state != "open":
            return b""
        if self._begun is None:
            self._begun = self._now()
        start = self._place
        while self._place < len(self._data) and self._due():
            piece = self._data[self._place : self._place + self.PIECE]
            self._place += len(piece)
            if self._speed < float("inf"):
                self._follow(piece)
            elif self._place - start >= 1 << 16:
                break
        if self._place == len(self._data):
            self.state = "ended"
        if self._place == start:
            self._sleep(PAUSE)
        return self._data[start : self._place]

    def _due(self) -> bool:
        assert self._begun is not None
        return self._reached <= (self._now() - self._begun) * self._speed

    def _follow(self, piece: bytes) -> None:
        """Find out by decoding how far the device's clock has come."""
        for block in self._decoder.feed(piece):
            if block.segment != self._segment:
                self._segment, self._before = block.segment, self._reached
            if block.times.size:
                self._reached = self._before + float(block.times[-1])


def _stream_bytes(path: str) -> bytes:
    try:
        data = Path(path).read_bytes()
    except OSError as error:
        raise InputError(
            f"the file cannot be read ({error.strerror})", todo="check the name", file=path
        ) from None
    head = data[: 1 << 16]
    if is_binary(head, path) or is_text(head, path):
        return data
    return make_stream_packets(read_bytes(data, path))
