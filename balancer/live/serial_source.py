"""A board on a serial port or behind a socket; pyserial is used here and in `ports` only."""

from __future__ import annotations

import socket
import time
import urllib.parse
from collections.abc import Callable, Iterator

import serial

from balancer.errors import InputError, OperationError
from balancer.live.framing import Framer
from balancer.live.source import PAUSE, ClosingSource

BAUDS = (500_000, 1_000_000, 115_200, 250_000, 230_400, 921_600)
"""In the order in which they are tried."""

LISTEN = 0.3
"""Seconds of listening at each speed."""

BOOT_TIME = 3.0
"""Seconds in which a board that was reset by opening the port must have begun to talk."""

_HELLO = b"?"
_FEW = 64  # bytes not worth a call


class SocketSource(ClosingSource):
    """A board that sends its stream over the network; the time comes from the board, so nothing else changes.

    pyserial's own socket loses what is unread when the far end closes, so this reads the socket itself.

    Parameters
    ----------
    url : str
        ``socket://HOST:PORT``.
    name : str, optional
        As the person gave it.

    Raises
    ------
    InputError
        If the name is not understood.
    OperationError
        If nobody answers there.
    """

    def __init__(self, url: str, *, name: str = "") -> None:
        super().__init__(name or url)
        place = urllib.parse.urlsplit(url)
        try:
            host, port = place.hostname, place.port
        except ValueError:
            host, port = None, None
        if not host or not port:
            raise InputError("the name is not understood", todo="write socket://HOST:PORT", file=self.name)
        try:
            self._socket = socket.create_connection((host, port), timeout=5.0)
        except OSError as error:
            raise OperationError(
                f"nobody answers there ({error.strerror or error})",
                todo="check address and port, and that the board is in the same network",
                file=self.name,
            ) from None
        self._socket.settimeout(PAUSE)
        self.command(_HELLO)

    def read(self) -> bytes:
        """Give what came."""
        if self.state != "open":
            return b""
        try:
            data = self._socket.recv(1 << 16)
        except TimeoutError:
            return b""
        except OSError as error:
            self._lose(error.strerror or str(error))
            return b""
        if not data:
            self._lose("the far end closed it")
        return data

    def command(self, data: bytes) -> None:
        """Send something to the board."""
        if self.state == "open":
            try:
                self._socket.sendall(data)
            except OSError as error:
                self._lose(error.strerror or str(error))

    def close(self) -> None:
        """Let go of the connection."""
        super().close()
        self._socket.close()

    def _lose(self, reason: str) -> None:
        self.state = "lost"
        self.trouble = f"the connection to {self.name} was lost ({reason})"


class SerialSource(ClosingSource):
    """A board on a serial port; its speed and form are found by listening.

    Parameters
    ----------
    port : str
        Such as ``/dev/ttyACM0``, ``COM4``, or an address of pyserial such as ``loop://``.
    baud : int, optional
        Speed; left out: found by listening.
    name : str, optional
        As the person gave it.
    patience : float, optional
        Seconds to wait for a board that says nothing at first.

    Raises
    ------
    InputError
        If there is no such port.
    OperationError
        If it cannot be opened, or nothing that is understood comes from it.
    """

    def __init__(
        self, port: str, *, baud: int | None = None, name: str = "", patience: float = BOOT_TIME
    ) -> None:
        super().__init__(name or port)
        self._port = _open(port, baud or BAUDS[0], self.name)
        self._heard = b""
        if baud is None and "://" not in port:
            try:
                self._heard = self._find_baud(patience)
            except OSError as error:
                self._lose(error)
                self._port.close()
                raise OperationError(self.trouble, todo="plug it in again", file=self.name) from None
            except BaseException:
                self._port.close()
                raise
        self.command(_HELLO)

    @property
    def baud(self) -> int:
        """The speed in use."""
        return int(self._port.baudrate)

    def read(self) -> bytes:
        """Give what came; the waiting is done here, because a blocking read costs several times as much."""
        if self._heard:
            heard, self._heard = self._heard, b""
            return heard
        if self.state != "open":
            return b""
        try:
            waiting = self._port.in_waiting
            if waiting < _FEW:
                time.sleep(PAUSE)
                waiting = self._port.in_waiting
            return bytes(self._port.read(waiting)) if waiting else b""
        except OSError as error:
            self._lose(error)
            return b""

    def command(self, data: bytes) -> None:
        """Send something to the board; a board that has gone shows at the next read."""
        if self.state != "open":
            return
        try:
            self._port.write(data)
        except OSError as error:
            self._lose(error)

    def close(self) -> None:
        """Let go of the port."""
        super().close()
        self._port.close()

    def _lose(self, error: OSError) -> None:
        self.state = "lost"
        reason = str(error.strerror or error).split("(")[0].strip()
        self.trouble = f"the connection to {self.name} was lost ({reason})"

    def _find_baud(self, patience: float) -> bytes:
        """Listen at each speed until records are understood; give what was heard there."""
        end, sweeps = time.monotonic() + patience, 0
        heard_something = False
        # a board that boots while another speed is tried is heard in the second sweep
        while time.monotonic() < end or sweeps < 1 + (patience > 0):
            sweeps += 1
            for baud in BAUDS:
                self._port.baudrate = baud
                self._port.reset_input_buffer()
                heard = b""
                for data in self._listen():
                    heard += data
                    if _is_stream(heard):
                        return heard
                heard_something |= bool(heard)
        what = "what comes from it is no stream of this kind" if heard_something else "nothing comes from it"
        raise OperationError(
            f"{what}, at any of the usual speeds",
            todo="check that the board is running and its firmware, or give the speed with --baud",
            file=self.name,
        )

    def _listen(self) -> Iterator[bytes]:
        """Listen for a while, then ask for the hello and listen again."""
        for ask in (False, True):
            if ask:
                self._port.write(_HELLO)
            end = time.monotonic() + LISTEN
            while time.monotonic() < end:
                time.sleep(PAUSE)
                yield bytes(self._port.read(self._port.in_waiting))


def _is_stream(heard: bytes) -> bool:
    framer = Framer()
    framer.add(heard)
    return bool(framer.form)


def _open(port: str, baud: int, name: str) -> serial.SerialBase:
    opener: Callable[..., serial.SerialBase] = serial.serial_for_url
    try:
        return opener(port, baudrate=baud, timeout=0, write_timeout=1.0, exclusive=True)
    except ValueError as error:
        raise InputError(
            f"the name is not understood ({error})", todo="see balancer ports", file=name
        ) from None
    except OSError as error:
        raise _refusal(error, name) from None


def _refusal(error: OSError, name: str) -> InputError | OperationError:
    if error.errno == 2:
        return InputError(
            "there is no such port", todo="see balancer ports for those that are there", file=name
        )
    if error.errno == 13:
        return OperationError(
            "you may not use this port",
            todo="on Linux, let your user into the group of the port (dialout), then log in again",
            file=name,
        )
    if error.errno in (11, 16):
        return OperationError("another program uses this port", todo="close it there", file=name)
    return OperationError(
        f"it cannot be opened ({error.strerror or error})", todo="see balancer ports", file=name
    )
