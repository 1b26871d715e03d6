"""Value objects to plain data and back: each field under a key that carries its unit, as the trade uses it.

A codec has `out` (value to data that JSON can hold) and `take` (data to value); `take` names the place of
what it cannot use, such as ``runs[2].masses[0].mass_g``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from balancer.errors import InputError
from balancer.units import (
    g_from_kg,
    g_m2_from_kg_m2,
    kg_from_g,
    kg_m2_from_g_m2,
    kgm_from_gmm,
    m_from_mm,
    mm_from_m,
    rad_s_from_rpm,
    rpm_from_rad_s,
)


class Codec(Protocol):
    """How values of one kind are written and read."""

    def out(self, value: Any) -> Any:
        """Give plain data for a value."""

    def take(self, data: Any, path: str) -> Any:
        """Give the value of plain data found at `path`; an `InputError` if it is none."""


@dataclass(frozen=True)
class Number:
    """A finite number, converted at the face.

    Parameters
    ----------
    to_trade, to_si : callable
        The two conversions.
    """

    to_trade: Callable[[float], float] = float
    to_si: Callable[[float], float] = float

    def out(self, value: float) -> float:
        """Give the number in the trade's unit."""
        return float(self.to_trade(value))

    def take(self, data: Any, path: str) -> float:
        """Give the number in SI."""
        try:
            number = float("nan" if isinstance(data, bool) or not isinstance(data, (int, float)) else data)
        except OverflowError:  # a whole number of hundreds of digits
            number = math.inf
        if not math.isfinite(number):
            raise InputError(f"{path} must be a finite number, not {str(data)[:40]!r}", todo="correct it")
        return self.to_si(number)


@dataclass(frozen=True)
class Plain:
    """A word, a yes or no, or a whole number, as it is.

    Parameters
    ----------
    kind : type
        ``str``, ``bool`` or ``int``.
    choices : tuple of str
        The only words allowed; empty for any.
    """

    kind: type
    choices: tuple[str, ...] = ()

    def out(self, value: Any) -> Any:
        """Give the value."""
        return self.kind(value)

    def take(self, data: Any, path: str) -> Any:
        """Give the value if it is of the kind."""
        if type(data) is not self.kind or (self.choices and data not in self.choices):
            wanted = (
                " or ".join(self.choices)
                or {str: "words", bool: "true or false", int: "a whole number"}[self.kind]
            )
            raise InputError(f"{path} must be {wanted}, not {data!r}", todo="correct it")
        return data


@dataclass(frozen=True)
class Maybe:
    """A value that may be missing (null)."""

    of: Codec

    def out(self, value: Any) -> Any:
        """Give the data, None for None."""
        return None if value is None else self.of.out(value)

    def take(self, data: Any, path: str) -> Any:
        """Give the value, None for None."""
        return None if data is None else self.of.take(data, path)


@dataclass(frozen=True)
class Many:
    """A list of values of one kind; a tuple inside."""

    of: Codec

    def out(self, value: Sequence[Any]) -> list[Any]:
        """Give the list."""
        return [self.of.out(one) for one in value]

    def take(self, data: Any, path: str) -> tuple[Any, ...]:
        """Give the tuple."""
        if not isinstance(data, list):
            raise InputError(f"{path} must be a list", todo="correct it")
        return tuple(self.of.take(one, f"{path}[{index}]") for index, one in enumerate(data))


@dataclass(frozen=True)
class Record:
    """An object with named fields.

    Parameters
    ----------
    make : callable
        Makes the value of its fields by name.
    fields : mapping of str to (str, Codec)
        Name of the field: key in the data, with its unit, and how it is written.
    """

    make: Callable[..., Any]
    fields: Mapping[str, tuple[str, Codec]]

    def out(self, value: Any) -> dict[str, Any]:
        """Give the object's data."""
        return {key: codec.out(getattr(value, name)) for name, (key, codec) in self.fields.items()}

    def take(self, data: Any, path: str) -> Any:
        """Give the object; what is missing or unknown is refused by name."""
        if not isinstance(data, dict):
            raise InputError(f"{path or 'this'} must be an object with named values", todo="correct it")
        keys = [key for key, _ in self.fields.values()]
        missing = [key for key in keys if key not in data]
        unknown = [str(key) for key in data if key not in keys]
        if missing or unknown:
            words = [f"lacks {', '.join(missing)}"] * bool(missing)
            words += [f"has {', '.join(unknown)}, which are not known"] * bool(unknown)
            raise InputError(f"{path or 'this'} {' and '.join(words)}", todo="correct it")
        dot = f"{path}." if path else ""
        values = {n: codec.take(data[key], f"{dot}{key}") for n, (key, codec) in self.fields.items()}
        try:
            return self.make(**values)
        except InputError as error:
            raise InputError(f"{path or 'this'}: {error.what}", todo=error.todo) from None


TEXT = Plain(str)
YES_NO = Plain(bool)
COUNT = Plain(int)
NUMBER = Number()
GRAMS = Number(g_from_kg, kg_from_g)
MILLIMETRES = Number(mm_from_m, m_from_mm)
DEGREES = Number(math.degrees, math.radians)
RPM = Number(rpm_from_rad_s, rad_s_from_rpm)
GRADE = Number(lambda grade: grade * 1e3, lambda grade: grade * 1e-3)
GRAM_MILLIMETRES = Number(lambda u: u * 1e6, kgm_from_gmm)
GRAMS_PER_M2 = Number(g_m2_from_kg_m2, kg_m2_from_g_m2)
PER_GRAM_MILLIMETRE = Number(lambda h: h * 1e-6, lambda h: h * 1e6)
