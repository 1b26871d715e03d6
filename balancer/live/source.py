"""What every source of a stream is, whichever way the bytes come."""

from __future__ import annotations

from collections.abc import Callable
from types import TracebackType
from typing import Literal, Protocol, Self

State = Literal["open", "ended", "lost", "closed"]
"""open: more may come. ended: there is no more. lost: the device went away. closed: by us."""

PAUSE = 0.02
"""Seconds between two looks at a port: the fewest calls that still give a lively display."""


class Source(Protocol):
    """What every source offers; it is a context manager that closes itself.

    Attributes
    ----------
    name : str
        As the person gave it.
    state : {"open", "ended", "lost", "closed"}
        Whether more may come.
    trouble : str
        A sentence on why it was lost, else empty.
    """

    name: str
    state: State
    trouble: str

    def read(self) -> bytes:
        """Give what came since the last call; waits some `PAUSE` when nothing did. Never raises."""

    def command(self, data: bytes) -> None:
        """Send something to the device, such as ``b"?"``."""

    def close(self) -> None:
        """Let go of it; more than once does no harm."""

    def __enter__(self) -> Self:
        """Give the source itself."""

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close it."""


class ClosingSource:
    """What sources have in common.

    Parameters
    ----------
    name : str
        As the person gave it.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self.state: State = "open"
        self.trouble = ""

    def command(self, data: bytes) -> None:
        """Send something to the device: by default there is none."""

    def close(self) -> None:
        """Let go of it."""
        self.state = "closed" if self.state == "open" else self.state

    def __enter__(self) -> Self:
        """Give the source itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close it."""
        self.close()


class AnsweringSource(ClosingSource):
    """Says from which byte of a stream on it can show that a command was taken.

    What a source has prepared by then still follows: of a simulated bench, a piece.

    Parameters
    ----------
    source : Source
        Takes commands while another thread reads; whoever opened it closes it.
    answer : callable
        Called in the reading thread with the number of commands taken so far, and that of the bytes before.
    """

    def __init__(self, source: Source, answer: Callable[[int, int], None]) -> None:
        super().__init__(source.name)
        self._source, self._answer = source, answer
        self._bytes = self._commands = self._answered = 0

    def read(self) -> bytes:
        """Give what came, and answer commands that were taken before."""
        commands = self._commands
        if commands > self._answered:
            self._answered = commands
            self._answer(commands, self._bytes)
        data = self._source.read()
        self._bytes += len(data)
        self.state, self.trouble = self._source.state, self._source.trouble
        return data

    def command(self, data: bytes) -> None:
        """Send something to the device."""
        self._source.command(data)
        self._commands += 1
