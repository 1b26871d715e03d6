"""Who may open the pages: this computer, and another one with the code of this start; knows no Streamlit."""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import secrets
import time
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass

MOST_WRONG = 5
"""Wrong codes from one address before it has to wait."""

MOST_WRONG_OF_ALL = 20
"""Wrong codes from all addresses before all have to wait: at that pace a million codes take 17 days."""

PAUSE = 30.0
"""How long in s."""

_REMEMBERED = 256  # addresses: whoever takes more of them is held up by the limit for all


def is_this_computer(host: str | None) -> bool:
    """Say whether a connection comes from this computer itself.

    Parameters
    ----------
    host : str or None
        Address of the other end of the connection, never what a header says.

    Examples
    --------
    >>> [is_this_computer(host) for host in ("127.0.0.1", "::1", "::ffff:127.0.0.1", "192.0.2.7", None)]
    [True, True, True, False, False]
    """
    try:
        address = ipaddress.ip_address(host or "")
    except ValueError:
        return False
    mapped = getattr(address, "ipv4_mapped", None)
    return (mapped or address).is_loopback


@dataclass(frozen=True)
class _Count:
    """Wrong codes, and until when there is a pause, in s of the clock."""

    wrong: int = 0
    until: float = 0.0

    def one_more(self, most: int, now: float) -> _Count:
        return _Count(0, now + PAUSE) if self.wrong + 1 >= most else _Count(self.wrong + 1, self.until)


def entry_of(arguments: Sequence[str]) -> Entry | None:
    """Give the way in that the server was started with: by the code after ``--code``; None without one."""
    return Entry(arguments[arguments.index("--code") + 1]) if "--code" in arguments[:-1] else None


class Entry:
    """The way in for other computers: a right code earns a token that holds until the server ends.

    Used by the server's loop alone, so it needs no lock. A token is signed with a secret of this start, so
    none has to be remembered; of addresses the last 256 with a wrong code are.

    Parameters
    ----------
    code : str
        Six digits, as shown where the server was started.
    clock : callable, optional
        Time in s that never jumps.
    """

    def __init__(self, code: str, clock: Callable[[], float] = time.monotonic) -> None:
        self._code, self._clock = code, clock
        self._secret = secrets.token_bytes(32)
        self._counts: OrderedDict[str, _Count] = OrderedDict()
        self._all = _Count()

    def admits(self, host: str | None, token: str | None) -> bool:
        """Say whether a request may pass.

        Parameters
        ----------
        host : str or None
            Address of the other end.
        token : str or None
            What it was given for the right code.
        """
        if is_this_computer(host):
            return True
        name, _, signature = (token or "").partition(".")
        return bool(name) and hmac.compare_digest(self._signed(name).encode(), signature.encode())

    def pause(self, host: str) -> float:
        """Give how long in s an address has to wait before its next code is looked at."""
        own = self._counts.get(host, _Count())
        return max(0.0, max(own.until, self._all.until) - self._clock())

    def token_for(self, host: str, typed: str) -> str | None:
        """Give a token for the right code, None for a wrong one and for any during a pause.

        Parameters
        ----------
        host : str
            Address that it was typed at.
        typed : str
            As typed: all but its digits is left out.
        """
        if self.pause(host) > 0:
            return None
        digits = "".join(sign for sign in typed if sign in "0123456789")
        if hmac.compare_digest(digits.encode(), self._code.encode()):
            self._counts.pop(host, None)
            name = secrets.token_urlsafe(16)
            return f"{name}.{self._signed(name)}"
        now = self._clock()
        self._counts[host] = self._counts.pop(host, _Count()).one_more(MOST_WRONG, now)
        self._all = self._all.one_more(MOST_WRONG_OF_ALL, now)
        while len(self._counts) > _REMEMBERED:
            self._counts.popitem(last=False)
        return None

    def _signed(self, name: str) -> str:
        return hmac.new(self._secret, name.encode(), hashlib.sha256).hexdigest()
