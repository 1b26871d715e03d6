"""Which source is meant: from what the person chose to a name for `balancer record`, and back into words."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from balancer.errors import InputError
from balancer.simulator.presets import coastal_part, part_named
from balancer.wording import port_hint

if TYPE_CHECKING:
    from balancer.app.bench import BenchFile
    from balancer.live.ports import Port
    from balancer.simulator.rotor import Rotor

_ADDRESS = re.compile(r"(?:socket://)?([\w.-]+|\[[0-9A-Fa-f:]+\]):(\d{1,5})")


def simulated_source(kind: str, number: int) -> str:
    """Name a part on the simulated bench."""
    return f"simulated:{kind}:{number}"


def simulated_part(source: str) -> tuple[str, int] | None:
    """Give kind and number of the part that a simulated source turns; None for another source.

    Examples
    --------
    >>> simulated_part("simulated:bell:7"), simulated_part("simulated"), simulated_part("serial:COM3")
    (('bell', 7), ('propeller', 1), None)
    """
    kind, _, name = source.partition(":")
    return part_named(name) if kind == "simulated" else None


def simulated_rotor(source: str) -> Rotor | None:
    """Give the rotor that a simulated source turns; None for another source.

    Examples
    --------
    >>> simulated_rotor("simulated:propeller:3").blades, simulated_rotor("simulated:bell:3").blades
    (2, 0)
    """
    part = simulated_part(source)
    return None if part is None else coastal_part(*part).rotor


def network_source(typed: str) -> str:
    """Name a board on the network.

    Parameters
    ----------
    typed : str
        Address and port, with or without ``socket://``.

    Raises
    ------
    InputError
        If it is no address with a port.

    Examples
    --------
    >>> network_source(" 192.168.4.1:3333 ")
    'socket://192.168.4.1:3333'
    """
    found = _ADDRESS.fullmatch(typed.strip())
    if found is None or int(found[2]) > 65535:
        raise InputError(
            f"{typed.strip()[:60]!r} is no network address"
            if typed.strip()
            else "no network address is typed",
            todo="type address and port, such as 192.168.4.1:3333",
        )
    return f"socket://{found[1]}:{found[2]}"


def port_choices(found: Sequence[Port]) -> dict[str, str]:
    """Give the serial ports: the name of each source with words for it."""
    return {
        port.source: f"{', '.join(part for part in (port.device, port.description) if part)} "
        f"({port_hint(port, found)})"
        for port in found
    }


def file_choices(files: Sequence[BenchFile]) -> dict[str, str]:
    """Give the recordings kept: the name of each source with words for it."""
    return {
        f"file:{file.path}": f"{file.started:%Y-%m-%d %H:%M:%S}, {size_text(file.size)}" for file in files
    }


def source_text(source: str) -> str:
    """Say which source it is.

    Examples
    --------
    >>> source_text("simulated:propeller:3"), source_text("socket://192.168.4.1:3333")
    ('Simulated propeller 3', 'Network address 192.168.4.1:3333')
    """
    part = simulated_part(source)
    if part is not None:
        return f"Simulated {part[0]} {part[1]}"
    kind, _, rest = source.partition(":")
    if kind == "file":
        return f"Replay of {Path(rest).name}"
    if kind == "board":
        return f"Board {rest}"
    if "socket://" in source:
        return f"Network address {source.partition('socket://')[2]}"
    return f"Serial port {rest if kind == 'serial' else source}"


def size_text(size: int) -> str:
    """Write the size of a file.

    Examples
    --------
    >>> size_text(900), size_text(25_400_000)
    ('0.9 kB', '25.4 MB')
    """
    return f"{size / 1e3:.1f} kB" if size < 1e6 else f"{size / 1e6:.1f} MB"
