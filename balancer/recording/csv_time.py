"""Time cells of a table, in whatever form, into seconds."""

from __future__ import annotations

import warnings
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from balancer.errors import InputError
from balancer.recording.csv_dialect import TIME_OF_DAY
from balancer.recording.csv_header import epoch_unit
from balancer.recording.csv_units import TIME_FACTORS

Floats = npt.NDArray[np.float64]

_DAY = 86400.0


def seconds_of_numbers(values: Floats, unit: str) -> tuple[Floats, float]:
    """Turn counts into seconds from the first one.

    Parameters
    ----------
    values : array, shape (n,)
        As in the file.
    unit : str
        ``s``, ``ms``, ``us``, ``ns``, or ``epoch`` where the size of the first tells which.

    Returns
    -------
    times : array, shape (n,)
        In s, the first 0: the difference is taken before the conversion, so that nothing of a count since
        1970 is lost to rounding.
    start : float
        The first one in s on its own clock.
    """
    name = epoch_unit(repr(float(values[0]))) if unit == "epoch" else unit
    factor = TIME_FACTORS[name or "s"]
    # a division gives the nearest float to 0.007, a multiplication with 1e-3 may not
    scale = round(1 / factor)
    return (values - values[0]) / scale, float(values[0]) / scale


def seconds_of_texts(cells: Sequence[str]) -> tuple[Floats, float]:
    """Turn dates with a time of day (ISO 8601), or times of day alone, into seconds from the first one.

    Parameters
    ----------
    cells : sequence of str
        Such as ``2026-05-04T10:11:12.345+02:00``, ``2026-05-04 10:11:12,345``, ``04.05.2026 10:11:12.345``
        (while the day does not change) or ``10:11:12.345``.

    Returns
    -------
    times : array, shape (n,)
        In s, the first 0. Where there is no date, midnight is passed.
    start : float
        The first one in s since 1970, or since midnight.

    Raises
    ------
    InputError
        If a cell is no time, times zones change, or a date reads as two different days.
    """
    first = TIME_OF_DAY.fullmatch(cells[0].strip())
    if first is None:
        raise InputError(f"{cells[0][:30]!r} is not a time", todo="correct or delete the row")
    zone, date = first["zone"] or "", first["date"] or ""
    texts = np.array([cell.strip() for cell in cells])
    if zone:
        if zone.lower() in {"am", "pm"}:
            raise InputError("times with AM and PM are not read", todo="export 24-hour times or seconds")
        if not np.all(np.char.endswith(texts, zone)):
            raise InputError("the time zone changes within the file", todo="export UTC or seconds")
        texts = np.char.rstrip(np.char.partition(texts, zone)[:, 0]) if zone == "Z" else _without(texts, zone)
    if not date[:4].isdigit():
        texts = _with_a_date(texts, date)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # numpy warns of a zone that only some cells have
            stamps = np.char.replace(texts, ",", ".").astype("datetime64[ns]")
    except (ValueError, UserWarning, DeprecationWarning) as error:
        raise InputError(f"a time cannot be read ({error})", todo="correct or delete the row") from None
    if np.isnat(stamps).any():
        raise InputError("a time is missing", todo="correct or delete the row")
    nanoseconds = stamps.astype(np.int64)
    times = (nanoseconds - nanoseconds[0]) / 1e9
    if not date:
        times = times + _DAY * np.cumsum(np.diff(times, prepend=0.0) < -_DAY / 2)
    return times, float(nanoseconds[0] / 1e9)


def _without(texts: npt.NDArray[np.str_], zone: str) -> npt.NDArray[np.str_]:
    return np.array([text[: -len(zone)].rstrip() for text in texts.tolist()])


def _with_a_date(texts: npt.NDArray[np.str_], date: str) -> npt.NDArray[np.str_]:
    """Put a date in front that numpy reads; a day or month that stays the same need not be told apart."""
    if date:
        if not np.all(np.char.startswith(texts, date)):
            raise InputError(
                f"the date changes, and {date!r} may be written day or month first",
                todo="export ISO dates (2026-05-04 10:11:12) or seconds",
            )
        texts = np.array([text[len(date) :].lstrip("T ") for text in texts.tolist()])
    padded = np.array([text if text[1:2] != ":" else "0" + text for text in texts.tolist()])
    return np.char.add("1970-01-01 ", padded)
