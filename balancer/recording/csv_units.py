"""Spellings of units in the headers of tables."""

from __future__ import annotations

import re

TIME_FACTORS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}
"""Unit of time in s."""

_TIME_SPELLINGS = {
    "s": ("s", "sec", "secs", "second", "seconds"),
    "ms": ("ms", "msec", "msecs", "millis", "millisecond", "milliseconds"),
    "us": ("us", "µs", "usec", "usecs", "micros", "microsecond", "microseconds"),
    "ns": ("ns", "nsec", "nsecs", "nanos", "nanosecond", "nanoseconds"),
}
_TIMES = {spelling: unit for unit, spellings in _TIME_SPELLINGS.items() for spelling in spellings}
_ACCELERATIONS = {
    **dict.fromkeys(
        ("m/s^2", "m/s2", "m/s/s", "ms^-2", "ms-2", "mps2", "mps^2", "m/sec^2", "m/sec2"), "m/s^2"
    ),
    **dict.fromkeys(("g", "gee", "gn", "g0"), "g"),
    **dict.fromkeys(("mg", "milli-g", "millig"), "mg"),
}
_ELECTRIC = ("v", "mv")
_IN_BRACKETS = re.compile(r"(?P<name>[^\[({]*?)[\s_]*[\[({]\s*(?P<unit>[^\])}]*?)\s*[\])}]")
_BEHIND = re.compile(r"(?P<name>.+?)(?:[\s_]+in)?[\s_,/:]+(?P<unit>\S+)")
_BEFORE = re.compile(r"(?P<unit>[a-zµ]{2,})[\s_]+(?P<name>elapsed|since.*|time)")


def time_unit(text: str) -> str | None:
    """Give ``s``, ``ms``, ``us`` or ``ns`` for one of their spellings, else None."""
    return _TIMES.get(_plain(text))


def acceleration_unit(text: str) -> str | None:
    """Give ``m/s^2``, ``g`` or ``mg`` for one of their spellings, else None."""
    bare = _plain(text).replace("²", "^2").replace("⁻^2", "^-2").replace("**", "^")
    return _ACCELERATIONS.get(re.sub(r"[\s·*]", "", bare))


def split_unit(title: str) -> tuple[str, str]:
    """Split a column's title into its name and its unit, both in lower case.

    Parameters
    ----------
    title : str
        Such as ``time_s``, ``t [us]``, ``x (m/s^2)``, ``seconds_elapsed`` or ``micros``.

    Returns
    -------
    name, unit : str
        The unit is empty when none is stated.
    """
    title = _plain(title)
    if len(title) > 1 and title in _TIMES:  # a clock named after its unit
        return "time", title
    found = _IN_BRACKETS.fullmatch(title)
    if found:
        return found["name"].strip(), found["unit"]
    found = _BEFORE.fullmatch(title)
    if found and found["unit"] in _TIMES:
        return "time", found["unit"]
    found = _BEHIND.fullmatch(title)
    if found and (found["unit"] in _ELECTRIC or time_unit(found["unit"]) or acceleration_unit(found["unit"])):
        return found["name"].strip(), found["unit"]
    return title, ""


def _plain(text: str) -> str:
    return text.strip().lower().replace("μ", "µ")
