"""The one door for recording files: what format a file is in is found out from its content."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Protocol

from balancer.errors import InputError, OperationError
from balancer.recording import csv_columns, stream_binary, stream_text, wav
from balancer.recording.hints import NOTHING, Hints
from balancer.recording.mark_file import read_mark_times, with_marks
from balancer.recording.model import Recording
from balancer.recording.stream_writer import make_stream_packets, make_stream_text

HEAD_BYTES = 1 << 16


class Format(Protocol):
    """What the module of a format offers."""

    NAME: str

    def detect(self, head: bytes, name: str) -> bool:
        """Tell from the first `HEAD_BYTES` bytes, and from the name as a hint, whether it reads this."""

    def read(self, data: bytes, name: str) -> Recording:
        """Make a recording of all the bytes of a file."""


class ForeignFormat(Format, Protocol):
    """What the module of a format offers that does not say all by itself."""

    def read(self, data: bytes, name: str, hints: Hints = NOTHING) -> Recording:
        """Make a recording of all the bytes of a file, and of what a person says about it."""


STREAMS: tuple[Format, ...] = (stream_binary, stream_text)
"""The project's own formats, in the order in which they are tried."""

FOREIGN: tuple[ForeignFormat, ...] = (wav, csv_columns)
"""Formats of others, tried after those: a new one is a module and its name here."""


def read(path: str | Path, hints: Hints = NOTHING, marks: str | Path | None = None) -> Recording:
    """Read a recording.

    Parameters
    ----------
    path : str or Path
        The file.
    hints : Hints
        What a person says about a foreign file that does not say it itself.
    marks : str or Path, optional
        A second file with the mark times.

    Returns
    -------
    Recording
        What it holds.

    Raises
    ------
    InputError
        If there is no such file, it cannot be read, or it holds no recording that is understood.
    """
    data = read_file(path)
    return read_bytes(data, str(path), hints, None if marks is None else (str(marks), read_file(marks)))


def read_file(path: str | Path) -> bytes:
    """Read the bytes of a file.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    bytes
        All of them.

    Raises
    ------
    InputError
        If there is no such file, or it cannot be read.
    """
    try:
        return Path(path).read_bytes()
    except FileNotFoundError:
        raise InputError("there is no such file", todo="check the name and the folder", file=path) from None
    except (IsADirectoryError, NotADirectoryError):
        raise InputError("this is a folder, not a file", todo="name a file in it", file=path) from None
    except (OSError, ValueError) as error:
        if os.path.isdir(path):  # what Windows says of a folder is that it may not be read
            raise InputError("this is a folder, not a file", todo="name a file in it", file=path) from None
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"the file cannot be read ({reason})", todo="check the name and who may read it", file=path
        ) from None


def read_bytes(
    data: bytes, name: str, hints: Hints = NOTHING, marks: tuple[str, bytes] | None = None
) -> Recording:
    """Read a recording that is in memory already, such as an upload.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for messages and as a hint at the format.
    hints : Hints
        What a person says about a foreign file that does not say it itself.
    marks : (str, bytes), optional
        Name and content of a second file with the mark times.

    Returns
    -------
    Recording
        What it holds.

    Raises
    ------
    InputError
        If it holds no recording that is understood.
    """
    recording = _read(data, name, hints)
    if marks is None:
        return recording
    return with_marks(recording, read_mark_times(marks[1], marks[0], hints))


def _read(data: bytes, name: str, hints: Hints) -> Recording:
    if not data[:HEAD_BYTES].strip() and not data.strip():
        raise InputError(
            "the file is empty", todo="record again, or check where the recording went", file=name
        )
    head = data[:HEAD_BYTES]
    for form in STREAMS:
        if form.detect(head, name):
            if hints.of_a_table:
                raise InputError(
                    f"a stream says itself what {', '.join(hints.of_a_table)} would say",
                    todo="leave it out for this file",
                    file=name,
                )
            return form.read(data, name)
    for foreign in FOREIGN:
        if foreign.detect(head, name):
            return foreign.read(data, name, hints)
    known = " or ".join(f"a {form.NAME}" for form in (*STREAMS, *FOREIGN))
    if b"\0" in head:
        raise InputError("the file holds binary data that is not understood", todo=f"give {known}", file=name)
    raise InputError("the format of the file is not understood", todo=f"give {known}", file=name, line=1)


def write(
    recording: Recording,
    path: str | Path,
    *,
    overwrite: bool = False,
    tick_hz: float = 1e6,
    tick_bits: int = 32,
    start_tick: int = 0,
    check: str = "crc16",
) -> None:
    """Write a recording as a stream file; a file that is there already stays whole until the new one is.

    Parameters
    ----------
    recording : Recording
        What to write.
    path : str or Path
        Where to; a name that ends in ``.stream`` gets the binary form, every other the text form
        (``.stream.csv``).
    overwrite : bool
        Whether a file that is there already may be replaced.
    tick_hz, tick_bits, start_tick, check
        As in `stream_writer`; the binary form always has a 32-bit clock and CRC-16.

    Raises
    ------
    InputError
        If the recording does not fit into a stream file.
    OperationError
        If there is a file already, or it cannot be written.
    """
    if Path(path).suffix == stream_binary.SUFFIX:
        data = make_stream_packets(recording, tick_hz=tick_hz, start_tick=start_tick)
    else:
        data = make_stream_text(
            recording, tick_hz=tick_hz, tick_bits=tick_bits, start_tick=start_tick, check=check
        )
    target = Path(path)
    part = target.with_name(target.name + ".part") if overwrite else target
    try:
        with part.open("wb" if overwrite else "xb") as file:
            file.write(data)
        part.replace(target)
    except FileExistsError:
        raise OperationError(
            "there is a file of this name already", todo="choose another name", file=path
        ) from None
    except OSError as error:
        raise OperationError(
            f"the file cannot be written ({error.strerror or error})",
            todo="check the folder and the space that is left",
            file=path,
        ) from None
