"""Sources by name: a serial port, a board, a network socket, a file, or what a face adds to these."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from balancer.errors import InputError
from balancer.live.ports import device_of_board
from balancer.live.replay import FileSource
from balancer.live.serial_source import SerialSource, SocketSource
from balancer.live.source import Source


@dataclass(frozen=True)
class SourceOptions:
    """What can be said of a source beside its name.

    Parameters
    ----------
    baud : int, optional
        Speed of a serial port; found by listening when left out.
    replay_speed : float
        How many times faster than it happened a file is replayed; infinite for at once.
    """

    baud: int | None = None
    replay_speed: float = 1.0


Opener = Callable[[str, SourceOptions], Source]
"""Opens a source: what stands behind the colon of its name, and the options."""


def open_source(name: str, options: SourceOptions, more: Mapping[str, Opener]) -> Source:
    """Open a source by its name.

    Parameters
    ----------
    name : str
        ``serial:/dev/ttyACM0``, ``serial:socket://192.168.4.1:3333``, ``board:SERIALNUMBER``, ``file:PATH``,
        one of `more`, or just the name of a port.
    options : SourceOptions
        What else was said.
    more : mapping of str to Opener
        Sources from elsewhere by the word before the colon.

    Returns
    -------
    Source
        Open and ready.

    Raises
    ------
    InputError
        If the name is not understood or there is no such thing.
    OperationError
        If it is there but cannot be opened.
    """
    kind, colon, rest = name.partition(":")
    if kind in more:
        return more[kind](rest, options)
    if kind == "file" and colon:
        return FileSource(rest, speed=options.replay_speed)
    if kind == "board" and colon:
        return SerialSource(device_of_board(rest), baud=options.baud, name=name)
    address = rest if kind == "serial" else name
    if address.startswith("socket://"):
        return SocketSource(address, name=name)
    if kind == "serial" and colon:
        return SerialSource(rest, baud=options.baud, name=name)
    if Path(name).is_file():
        raise InputError("this is a file, not a port", todo=f"write file:{name} to replay it", file=name)
    return SerialSource(name, baud=options.baud)
