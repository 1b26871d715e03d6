"""Mark times that stand in a file of their own, and how they join a recording."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from balancer.errors import InputError
from balancer.findings import Finding
from balancer.recording.csv_dialect import TIME_OF_DAY, decode, number_in, split
from balancer.recording.csv_header import epoch_unit
from balancer.recording.csv_time import seconds_of_numbers, seconds_of_texts
from balancer.recording.csv_units import split_unit, time_unit
from balancer.recording.hints import NOTHING, Hints
from balancer.recording.model import Recording

Floats = npt.NDArray[np.float64]

FEWEST = 3


@dataclass(frozen=True, eq=False)
class MarkTimes:
    """Mark times as a file holds them.

    Parameters
    ----------
    times : array, shape (m,)
        In s on their own clock.
    source : str
        Name of the file.
    """

    times: Floats
    source: str


def read_mark_times(data: bytes, name: str, hints: Hints = NOTHING) -> MarkTimes:
    """Read a file of mark times: one a line, perhaps under a title such as ``mark_s`` or ``time_ms``.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for messages.
    hints : Hints
        `Hints.time_unit` where the file states none.

    Returns
    -------
    MarkTimes
        Rising.

    Raises
    ------
    InputError
        If no unit is known, a line is no time, or the times do not rise.
    """
    text, _ = decode(data)
    lines = [(k, row.strip()) for k, row in enumerate(text.split("\n"), start=1) if row.strip()]
    plain = [(k, row) for k, row in lines if not row.startswith("#")]
    try:
        unit, rows = _unit(plain, hints)
        return MarkTimes(_times(unit, rows), name)
    except InputError as error:
        raise error.at(name) from None


def _unit(rows: list[tuple[int, str]], hints: Hints) -> tuple[str, list[tuple[int, str]]]:
    if not rows:
        raise InputError("the file holds no mark times", todo="write one time a line")
    number, title = rows[0]
    if _is_time(title):
        stated = None
    else:
        title = split(title, ",")[0] if title.count(",") == 1 and title.endswith(",") else title
        stated, rows = time_unit(split_unit(title.strip('"'))[1]), rows[1:]
    if not rows:
        raise InputError("no mark times follow the title", todo="write one time a line", line=number)
    if stated and hints.time_unit and stated != hints.time_unit:
        raise InputError(
            f"the title states {stated}, --time-unit says {hints.time_unit}",
            todo="leave one out",
            line=number,
        )
    first = rows[0][1]
    if TIME_OF_DAY.fullmatch(first.strip(',;"')):
        return "date", rows
    unit = stated or hints.time_unit or ("epoch" if epoch_unit(first.strip(',;"')) else None)
    if unit is None:
        raise InputError(
            "the mark times name no unit",
            todo="put a title such as mark_s above them, or say it with --time-unit",
            line=number,
        )
    return unit, rows


def _is_time(cell: str) -> bool:
    bare = cell.strip(',;"')
    return (
        number_in(bare) is not None or number_in(bare, ",") is not None or bool(TIME_OF_DAY.fullmatch(bare))
    )


def _times(unit: str, rows: list[tuple[int, str]]) -> Floats:
    bare = [row.strip('; ,"\t') for _, row in rows]
    if unit == "date":
        times, start = seconds_of_texts(bare)
    else:
        values = [number_in(cell) if number_in(cell) is not None else number_in(cell, ",") for cell in bare]
        for (line, row), value in zip(rows, values, strict=True):
            if value is None:
                raise InputError(f"{row[:30]!r} is not one time", todo="write one time a line", line=line)
        times, start = seconds_of_numbers(np.array(values, dtype=np.float64), unit)
    falling = np.flatnonzero(np.diff(times) < 0)
    if falling.size:
        raise InputError("the mark times do not rise", todo="sort them", line=rows[int(falling[0]) + 1][0])
    return times + start


def with_marks(recording: Recording, marks: MarkTimes) -> Recording:
    """Give a recording marks from a file of their own.

    Parameters
    ----------
    recording : Recording
        A table without a mark column, with time stamps.
    marks : MarkTimes
        On the clock of its time stamps.

    Returns
    -------
    Recording
        With the marks; without them, and with a finding, where its stamps are of arrival: the delay between
        taking a sample and stamping it is unknown, so every phase would be a guess.

    Raises
    ------
    InputError
        If there are marks already, no time stamps, or both share no time.
    """
    understood = recording.understood
    if recording.marks is not None:
        raise InputError(
            "the recording holds marks of its own",
            todo="leave --marks or its mark column out",
            file=recording.source,
        )
    if understood is None or understood.stamps == "counted":
        raise InputError(
            "marks from another file need a table with a time column on the same clock",
            todo="leave --marks out, or record the mark along with the vibration",
            file=recording.source,
        )
    if understood.stamps in {"arrival", "unclear"}:
        refused = Finding.of("phase_refused", "warning", jitter_us=understood.jitter * 1e6)
        return replace(recording, findings=(*recording.findings, refused))
    times = marks.times - understood.start
    inside = times[(times >= recording.times[0]) & (times <= recording.times[-1])]
    if inside.size < FEWEST:
        first, last = understood.start, understood.start + recording.duration
        raise InputError(
            f"the marks run from {marks.times[0]:.15g} to {marks.times[-1]:.15g} s and the samples from "
            f"{first:.15g} to {last:.15g} s: they are not on one clock",
            todo=f"give times on the clock of {recording.source}",
            file=marks.source,
        )
    told = Finding.of("marks_from_file", "info", count=int(inside.size))
    return replace(recording, marks=inside, findings=(*recording.findings, told))
