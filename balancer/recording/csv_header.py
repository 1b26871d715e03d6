"""The titles of a table: which column is what, in which unit."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass

from balancer.errors import InputError
from balancer.recording.csv_dialect import TIME_OF_DAY
from balancer.recording.csv_units import TIME_FACTORS, acceleration_unit, split_unit, time_unit
from balancer.recording.hints import Hints
from balancer.units import acceleration_factor

_TIME_NAMES = {"t", "time", "times", "timestamp", "elapsed", "epoch", "datetime", "clock", "unix"}
_MARK_NAMES = {
    "mark", "marks", "tach", "tacho", "tachometer", "pulse", "pulses", "pickup", "pick-up", "hall", "trigger",
}  # fmt: skip
_ACCELERATION_NAME = re.compile(
    r"(lin(ear)?[ _]?)?(g[ _]?f(orce)?[ _]?)?(a|acc|accel|accelerometer|acceleration|axis)?[ _-]?[xyz]"
    r"|[xyz][ _-]?(axis|acc|accel|acceleration|value)|acc|accel|acceleration"
)
_SIZE_NAME = re.compile(r".*(abs|absolute|total|norm|magnitude|resultant|vector sum)\b.*")
# seconds since 1970 of the years 2001 to 2100: in no other unit does a count fall into this range
_EPOCH_FROM, _EPOCH_TO = 1.0e9, 4.1e9


@dataclass(frozen=True)
class Columns:
    """Which column is what.

    Parameters
    ----------
    time : int, optional
        The column of the time; None when the rate was told instead.
    time_unit : str
        Its unit as stated or told: ``s``, ``ms``, ``us``, ``ns``; ``date`` for dates and times of day;
        ``epoch`` where only the size of the numbers tells the unit.
    channels : tuple of (int, str, float)
        Column, name and unit in m/s^2 of each acceleration.
    units : tuple of str
        Unit of each acceleration as stated or told.
    mark : int, optional
        The column of the mark signal.
    ignored : tuple of str
        Titles of the other columns.
    """

    time: int | None
    time_unit: str
    channels: tuple[tuple[int, str, float], ...]
    units: tuple[str, ...]
    mark: int | None
    ignored: tuple[str, ...]

    @property
    def numbers(self) -> tuple[int, ...]:
        """The columns to read as numbers besides the time: channels, mark."""
        marks = () if self.mark is None else (self.mark,)
        return (*(place for place, *_ in self.channels), *marks)


@dataclass(frozen=True)
class _Title:
    place: int
    text: str
    name: str
    unit: str

    @property
    def is_time(self) -> bool:
        return self.name in _TIME_NAMES or bool(time_unit(self.unit))


def sort_columns(titles: tuple[str, ...], first: tuple[str, ...], hints: Hints) -> Columns:
    """Find out which column is what; a unit is never guessed.

    Parameters
    ----------
    titles : tuple of str
        Of the columns.
    first : tuple of str
        Cells of the first row, or empty: a date, or a count of s, ms, us or ns since 1970, tells its own
        unit.
    hints : Hints
        What a person says beside.

    Returns
    -------
    Columns
        What the columns are.

    Raises
    ------
    InputError
        If there is no time or no acceleration, a unit is missing, or a hint contradicts the header.
    """
    columns = [_Title(k, title, *split_unit(title)) for k, title in enumerate(titles)]
    times = [column for column in columns if column.is_time]
    marks = [column for column in columns if column.name in _MARK_NAMES and not column.is_time]
    rest = [column for column in columns if column not in times and column not in marks]
    time, unit = _time_column(times, first, hints)
    channels = [c for c in rest if _unit_of(c, hints) and not _SIZE_NAME.fullmatch(c.name)]
    if len(marks) > 1:
        raise InputError(f"{marks[0].text!r} and {marks[1].text!r} are both marks", todo="keep one of them")
    _check_channels(channels, rest, hints)
    units = tuple(_unit_of(column, hints) for column in channels)
    return Columns(
        None if time is None else time.place,
        unit,
        tuple((c.place, c.name, acceleration_factor(u)) for c, u in zip(channels, units, strict=True)),
        units,
        marks[0].place if marks else None,
        tuple(c.text for c in columns if c not in channels and c not in marks and c is not time),
    )


def _unit_of(column: _Title, hints: Hints) -> str:
    """Give the unit of an acceleration, empty for another column."""
    stated = acceleration_unit(column.unit) or ""
    if not stated and not column.unit and hints.unit and _ACCELERATION_NAME.fullmatch(column.name):
        return hints.unit
    return stated


def _time_column(times: list[_Title], first: tuple[str, ...], hints: Hints) -> tuple[_Title | None, str]:
    if not times:
        if hints.rate is None:
            raise InputError(
                "the header names no time column",
                todo="name it with its unit, such as time_s, or say the sample rate with --rate",
            )
        return None, ""
    if hints.rate is not None:
        raise InputError(
            f"there is a time column ({times[0].text!r}) and a rate was given as well",
            todo="leave --rate out",
        )
    time = _one_of(times, first)
    cell = first[time.place] if time.place < len(first) else ""
    if TIME_OF_DAY.fullmatch(cell):
        return time, "date"
    stated = time_unit(time.unit)
    if stated and hints.time_unit and hints.time_unit != stated:
        raise InputError(
            f"the time column {time.text!r} states {stated}, --time-unit says {hints.time_unit}",
            todo="leave --time-unit out, or correct the header",
        )
    unit = stated or hints.time_unit or ("epoch" if epoch_unit(cell) else "")
    if not unit:
        raise InputError(
            f"the time column {time.text!r} names no unit",
            todo="write s, ms, us or ns into its name, such as time_s or t [us], or say it with --time-unit",
        )
    return time, unit


def _one_of(times: list[_Title], first: tuple[str, ...]) -> _Title:
    """Choose among time columns: a count since 1970 or a date and a count of seconds are one clock twice."""
    if len(times) == 1:
        return times[0]
    cells = [first[column.place] if column.place < len(first) else "" for column in times]
    absolute = [bool(epoch_unit(cell) or TIME_OF_DAY.fullmatch(cell)) for cell in cells]
    relative = [column for column, is_absolute in zip(times, absolute, strict=True) if not is_absolute]
    if any(absolute) and len(relative) == 1:
        return relative[0]
    raise InputError(f"{times[0].text!r} and {times[1].text!r} are both times", todo="keep one of them")


def epoch_unit(cell: str) -> str | None:
    """Tell whether a number counts s, ms, us or ns since 1970.

    Parameters
    ----------
    cell : str
        A cell.

    Returns
    -------
    str or None
        The unit, when the number falls into the years 2001 to 2100 in it; None when in no unit.
    """
    try:
        value = float(cell.replace(",", "."))
    except ValueError:
        return None
    return next((u for u, f in TIME_FACTORS.items() if _EPOCH_FROM <= value * f <= _EPOCH_TO), None)


def _check_channels(channels: list[_Title], rest: list[_Title], hints: Hints) -> None:
    todo = (
        "write m/s^2, g or mg into the name of each acceleration, such as x_g or x (m/s^2), "
        "or say it with --unit"
    )
    without = [c for c in rest if not c.unit and _ACCELERATION_NAME.fullmatch(c.name) and c not in channels]
    if without:
        raise InputError(f"the column {without[0].text!r} names no unit", todo=todo)
    if not channels:
        raise InputError("no column is an acceleration with its unit", todo=todo)
    for column in channels:
        stated = acceleration_unit(column.unit)
        if hints.unit and stated and stated != hints.unit:
            raise InputError(
                f"the column {column.text!r} states {stated}, --unit says {hints.unit}",
                todo="leave --unit out, or correct the header",
            )
    name, times = Counter(column.name for column in channels).most_common(1)[0]
    if times > 1:
        raise InputError(f"{times} columns are named {name!r}", todo="give each axis a name of its own")
