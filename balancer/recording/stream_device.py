"""A stand-in for a board: sends a stream piece by piece, as a real one does."""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt

from balancer.recording.crc import line_check
from balancer.recording.hello import VERSION_LINE, Hello, hello_line
from balancer.recording.model import Recording
from balancer.recording.packets import (
    hello_packets,
    make_packet,
    mark_payload,
    sample_payload,
    status_payload,
)
from balancer.recording.stream_writer import (
    BLOCK_SAMPLES,
    HELLO_EVERY,
    STATUS_EVERY,
    hello_of,
    with_scale_for_16_bits,
)

Integers = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

TICK_HZ = 1e6


class StreamDevice:
    """Keeps the counters of a board between the pieces that it sends.

    Parameters
    ----------
    form : {"binary", "text"}
        Of the stream.
    sid : int
        Of its hello.
    start_tick : int, optional
        Its clock at time 0.
    """

    def __init__(self, form: Literal["binary", "text"], *, sid: int, start_tick: int = 0) -> None:
        self._form, self._sid, self._start_tick = form, sid, start_tick
        self._hello: Hello | None = None
        self._sequence = self._marks = 0
        self._next_hello = self._next_status = -np.inf

    def ask_hello(self) -> None:
        """Let the hello come with the next piece."""
        self._next_hello = -np.inf

    def send(
        self, facts: Recording, *, index: Integers, times: Floats, samples: Floats, marks: Floats
    ) -> list[tuple[float, bytes]]:
        """Send the next piece.

        Parameters
        ----------
        facts : Recording
            Whose sensor and channels the hello describes.
        index : array of int64, shape (n,)
            Of the samples, going on from piece to piece; it jumps where samples are lost.
        times : array, shape (n,)
            Of the samples in s since the device began to count.
        samples : array, shape (channels, n)
            In m/s^2.
        marks : array, shape (m,)
            Times of the marks in s.

        Returns
        -------
        list of (float, bytes)
            When what is sent, in order of time.
        """
        if self._hello is None:
            hello = hello_of(facts, self._sid, TICK_HZ, 32, "crc16")
            self._hello = with_scale_for_16_bits(hello, facts)
        events: list[tuple[float, str, tuple[object, ...]]] = []
        counts = np.rint(samples / self._hello.scale).astype(np.int16)
        size = BLOCK_SAMPLES if self._form == "binary" else 1
        for run in np.split(np.arange(index.size), np.flatnonzero(np.diff(index) > 1) + 1):
            for start in run[::size].tolist():
                part = slice(start, min(start + size, int(run[-1]) + 1))
                last = float(times[part.stop - 1])
                events.append((last, "a", (int(index[start]), self._tick(last), counts[:, part])))
        for mark in marks.tolist():
            events.append((mark, "m", (self._marks, self._tick(mark))))
            self._marks += 1
        events.sort(key=lambda event: event[0])
        sent = []
        for at, kind, facts_of in events:
            sent.append((at, self._due(at, int(index[-1])) + self._record(kind, facts_of)))
        return sent

    def _tick(self, time: float) -> int:
        return (round(time * TICK_HZ) + self._start_tick) & 0xFFFFFFFF

    def _due(self, now: float, index: int) -> bytes:
        """Give the hello and the status when it is their time."""
        due = b""
        if now >= self._next_hello:
            self._next_hello = now + HELLO_EVERY
            due += self._say_hello()
        if now >= self._next_status:
            self._next_status = now + STATUS_EVERY
            due += self._record("s", (self._tick(now), index & 0xFFFFFFFF, self._marks, 0, 0, 0))
        return due

    def _say_hello(self) -> bytes:
        assert self._hello is not None
        line = hello_line(self._hello)
        if self._form == "text":
            return f"{VERSION_LINE}\n{line}\n".encode()
        packets = hello_packets(line, self._sequence)
        self._sequence += len(packets)
        return b"".join(packets)

    def _record(self, kind: str, facts: tuple[object, ...]) -> bytes:
        if self._form == "text":
            numbers = facts
            if kind == "a":
                numbers = (*facts[:2], *np.asarray(facts[2])[:, 0].tolist())
            record = ",".join((kind, *map(str, numbers)))
            return f"{record}{line_check('crc16', record.encode())}\n".encode()
        self._sequence += 1
        return make_packet(kind.upper().encode(), self._sequence - 1, _payload(kind, facts))


def _payload(kind: str, facts: tuple[object, ...]) -> bytes:
    if kind == "a":
        first, tick, counts = facts
        assert isinstance(first, int)
        assert isinstance(tick, int)
        return sample_payload(first, tick, 0, np.asarray(counts, np.int16))
    numbers = [number for number in facts if isinstance(number, int)]
    return mark_payload(*numbers) if kind == "m" else status_payload(*numbers)
