"""Follows a recording while it is being written, through the same decoder."""

from __future__ import annotations

from pathlib import Path
from types import TracebackType
from typing import Self

from balancer.errors import InputError
from balancer.live.decoder import StreamDecoder
from balancer.live.segment import DecodedBlock

PIECE = 1 << 20


class FollowedFile:
    """Reads what has been added to a growing file since the last look.

    Parameters
    ----------
    path : str or Path
        The file.
    from_end : int, optional
        Begin so many bytes before the end at the most, instead of at the beginning; samples come once a
        hello was seen, which every board repeats.

    Attributes
    ----------
    decoder : StreamDecoder
        Knows the hello and the counts.

    Raises
    ------
    InputError
        If the file cannot be read.
    """

    def __init__(self, path: str | Path, *, from_end: int | None = None) -> None:
        self.decoder = StreamDecoder()
        try:
            self._file = Path(path).open("rb")  # noqa: SIM115 - closed by close()
            if from_end is not None:
                self._file.seek(max(self._file.seek(0, 2) - from_end, 0))
        except OSError as error:
            raise InputError(
                f"the file cannot be read ({error.strerror})", todo="check the name", file=path
            ) from None

    def read(self, most: int = PIECE) -> list[DecodedBlock]:
        """Give the samples and marks that were added, from so many bytes of stream at the most."""
        return self.decoder.feed(self._file.read(most))

    @property
    def reached(self) -> int:
        """Bytes of the file that were read, counted from its beginning."""
        return self._file.tell()

    @property
    def whole(self) -> int:
        """Bytes of the file up to the end of the last whole record that was read."""
        return self._file.tell() - self.decoder.unfinished

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()

    def __enter__(self) -> Self:
        """Give the reader itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close it."""
        self.close()
