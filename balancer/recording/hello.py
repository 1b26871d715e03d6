"""The hello: the header line in which a device says once what all its records mean."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any

from balancer.errors import InputError
from balancer.recording.crc import DIGITS
from balancer.units import acceleration_factor

VERSION_LINE = "# balancer stream 1"

_UNITS = ("m/s^2", "g", "mg")


@dataclass(frozen=True)
class Hello:
    """What a device says of itself; the fields are the keys of the header line, in its units.

    Parameters
    ----------
    sid : int
        Changes whenever the counters of the device restart.
    axes : tuple of str
        Names of the values in a sample.
    unit : {"m/s^2", "g", "mg"}
        Unit of `scale`.
    scale : float
        One count.
    rate_hz : float
        Nominal sample rate.
    tick_hz : float
        Clock of the time stamps.
    tick_bits : int
        The clock rolls over at 2**tick_bits, 8 to 62.
    marks_per_rev : int
        Marks on the rotor.
    check : {"crc16", "xor", "none"}
        How each line is protected.
    board, sensor, stamp, mark_edge : str
        For the record; empty when left out.
    full_scale : float, optional
        Largest reading in counts.
    lowpass_hz : float, optional
        Bandwidth of the sensor.
    rate_tol : float
        How far the true rate may lie from `rate_hz`, as a part of it.
    """

    sid: int
    axes: tuple[str, ...]
    unit: str
    scale: float
    rate_hz: float
    tick_hz: float
    tick_bits: int
    marks_per_rev: int
    check: str
    board: str = ""
    sensor: str = ""
    full_scale: float | None = None
    lowpass_hz: float | None = None
    stamp: str = ""
    mark_edge: str = ""
    rate_tol: float = 0.1

    @property
    def factor(self) -> float:
        """One count in m/s^2."""
        return self.scale * acceleration_factor(self.unit)


_Test = Callable[[Any], bool]


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _is_integer(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _is_text(value: Any) -> bool:
    return value is None or isinstance(value, str)


def _is_positive(value: Any) -> bool:
    return _is_number(value) and value > 0


def _is_positive_or_null(value: Any) -> bool:
    return value is None or _is_positive(value)


def _names_axes(value: Any) -> bool:
    named = isinstance(value, list) and all(isinstance(name, str) and name.strip() for name in value)
    return named and 0 < len(value) == len(set(value))


_NEEDED: dict[str, tuple[_Test, str]] = {
    "sid": (_is_integer, "a whole number"),
    "axes": (_names_axes, 'a list of different names such as ["x","y","z"]'),
    "unit": (lambda v: v in _UNITS, '"m/s^2", "g" or "mg"'),
    "scale": (lambda v: _is_number(v) and v != 0, "a number other than 0"),
    "rate_hz": (_is_positive, "a number above 0"),
    "tick_hz": (_is_positive, "a number above 0"),
    "tick_bits": (lambda v: _is_integer(v) and 8 <= v <= 62, "a whole number from 8 to 62"),
    "marks_per_rev": (lambda v: _is_integer(v) and v >= 1, "a whole number, 1 or more"),
    "check": (lambda v: v in tuple(DIGITS), '"crc16", "xor" or "none"'),
}
_FOR_THE_RECORD: dict[str, tuple[_Test, str]] = {
    "board": (_is_text, "text"),
    "sensor": (_is_text, "text"),
    "full_scale": (_is_positive_or_null, "a number above 0, in counts"),
    "lowpass_hz": (_is_positive_or_null, "a number above 0"),
    "stamp": (_is_text, "text"),
    "mark_edge": (lambda v: v in (None, "", "rising", "falling"), '"rising" or "falling"'),
}
_OPTIONAL: dict[str, tuple[_Test, str]] = {"rate_tol": (_is_positive, "a number above 0")}


def parse_hello(line: str) -> Hello:
    """Read a hello line.

    Parameters
    ----------
    line : str
        The line with its ``#``.

    Returns
    -------
    Hello
        What it says; unknown keys are passed over.

    Raises
    ------
    InputError
        If it is no JSON object, or lacks keys (all are listed), or values are of the wrong kind.
    """
    said = _json_object(line.lstrip("#").strip())
    missing = [key for key in _NEEDED if key not in said]
    if missing:
        raise InputError(f"the header lacks {', '.join(missing)}", todo="add them to the header line")
    wrong = [
        f"{key} must be {what}, not {json.dumps(said[key])}"
        for key, (test, what) in (_NEEDED | _FOR_THE_RECORD | _OPTIONAL).items()
        if key in said and not test(said[key])
    ]
    if wrong:
        raise InputError(f"in the header, {' and '.join(wrong)}", todo="correct the header line")
    known = {field.name: said[field.name] for field in fields(Hello) if said.get(field.name) is not None}
    return Hello(**known | {"axes": tuple(said["axes"])})


def missing_for_the_record(line: str) -> tuple[str, ...]:
    """Name the keys that the format asks for and a good hello line lacks, although it can be read without."""
    said = _json_object(line.lstrip("#").strip())
    return tuple(key for key in _FOR_THE_RECORD if key not in said)


def hello_line(hello: Hello) -> str:
    """Write a hello line, without its line end."""
    said = {field.name: getattr(hello, field.name) for field in fields(Hello)}
    return "# " + json.dumps(said | {"axes": list(hello.axes)})


def _json_object(text: str) -> dict[str, Any]:
    try:
        said = json.loads(text)
    except (ValueError, RecursionError) as error:
        place = f" (character {error.pos + 1})" if isinstance(error, json.JSONDecodeError) else ""
        raise InputError(
            f"the header is not valid JSON{place}",
            todo="the second line must be '# ' and a JSON object on one line",
        ) from None
    if not isinstance(said, dict):
        raise InputError("the header is JSON but no object", todo='write it as {"key": value, ...}')
    return said
