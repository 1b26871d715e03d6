"""What is plugged in, with a hint which one the board is."""

from __future__ import annotations

from dataclasses import dataclass

from serial.tools import list_ports

from balancer.errors import InputError


@dataclass(frozen=True)
class Port:
    """A serial port of this computer.

    Parameters
    ----------
    device : str
        Its name now, such as ``/dev/ttyACM0``; names are given out anew when things are plugged in.
    description : str
        As the system says it.
    usb : str
        Vendor and product number, such as ``1234:abcd``; empty when it is no USB device.
    serial_number : str
        Of the USB device, empty when it has none: stays the same wherever it is plugged in.
    """

    device: str
    description: str
    usb: str = ""
    serial_number: str = ""

    @property
    def source(self) -> str:
        """The name to give to `balancer record --source`."""
        return f"board:{self.serial_number}" if self.serial_number else f"serial:{self.device}"


def ports() -> list[Port]:
    """List the serial ports: those of USB devices first.

    Returns
    -------
    list of Port
        In a fixed order.
    """
    found = [
        Port(
            device=str(info.device),
            description=str(info.description or "").replace("n/a", ""),
            usb=f"{info.vid:04x}:{info.pid:04x}" if info.vid is not None else "",
            serial_number=str(info.serial_number or ""),
        )
        for info in list_ports.comports()
    ]
    return sorted(found, key=lambda port: (not port.usb, port.device))


def device_of_board(serial_number: str) -> str:
    """Find where a board is plugged in now.

    Parameters
    ----------
    serial_number : str
        Its USB serial number.

    Returns
    -------
    str
        The port's name.

    Raises
    ------
    InputError
        If it is not there, or two have the same number.
    """
    there = [port.device for port in ports() if port.serial_number == serial_number]
    if not there:
        raise InputError(
            f"no board with the serial number {serial_number} is plugged in", todo="see balancer ports"
        )
    if len(there) > 1:
        raise InputError(
            f"{' and '.join(there)} have the same serial number {serial_number}",
            todo="give one of these names instead",
        )
    return there[0]
