"""The rows of a table as arrays; pandas reads the numbers, this module finds what is wrong with the rest."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from balancer.errors import InputError
from balancer.recording.csv_dialect import Dialect, number_in, split

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Table:
    """What the rows hold.

    Parameters
    ----------
    numbers : tuple of arrays, each of shape (n,)
        The columns asked for, finite.
    texts : list of str
        Cells of the column asked for as text; empty when none was.
    cut : bool
        Whether half a row at the end was left out.
    """

    numbers: tuple[Floats, ...]
    texts: list[str]
    cut: bool


def read_table(text: str, dialect: Dialect, numbers: Sequence[int], texts: int | None = None) -> Table:
    """Read the rows below the header.

    Parameters
    ----------
    text : str
        The whole file, lines ended by LF.
    dialect : Dialect
        How it is written.
    numbers : sequence of int
        Columns to read as numbers.
    texts : int, optional
        Column to read as text.

    Returns
    -------
    Table
        The columns in the order asked for.

    Raises
    ------
    InputError
        If there are fewer than two rows, a row has another number of cells than there are titles, or a
        cell is no finite number. The error names the line.
    """
    stop, cut = _stop(text, dialect)
    body = _Text(text, dialect.body, stop)
    if len(dialect.first) != len(dialect.titles):
        raise _first_problem(body.all(), dialect, numbers)
    wanted = sorted({*numbers, *(() if texts is None else (texts,))})
    # with all columns read pandas itself refuses rows that are too long, and a short one lacks a number
    if dialect.delimiter != " " and len(wanted) < len(dialect.titles) and _ragged(body.all(), dialect):
        raise _first_problem(body.all(), dialect, numbers)
    try:
        columns = _parse(body.without_comments(), dialect, wanted, texts)
    except ValueError:
        raise _first_problem(body.all(), dialect, numbers) from None
    if len(columns[wanted[0]]) < 2 or not all(np.isfinite(columns[place].sum()) for place in numbers):
        raise _first_problem(body.all(), dialect, numbers)
    return Table(
        tuple(columns[place] for place in numbers), [] if texts is None else list(columns[texts]), cut
    )


def row_line(text: str, dialect: Dialect, row: int) -> int:
    """Give the line in the file, counted from 1, of a row counted from 0.

    Parameters
    ----------
    text : str
        The whole file.
    dialect : Dialect
        How it is written.
    row : int
        Which row.

    Returns
    -------
    int
        Its line.
    """
    lines = [number for number, _ in _rows(text[dialect.body :], dialect)]
    return lines[row] if row < len(lines) else dialect.line


class _Text:
    """A part of a text to be read piece by piece: a million rows are not copied for it."""

    def __init__(self, text: str, start: int, stop: int) -> None:
        self._text, self._start, self._place, self._stop = text, start, start, stop

    def read(self, size: int = -1) -> str:
        start = self._place
        self._place = self._stop if size < 0 else min(start + size, self._stop)
        return self._text[start : self._place]

    def __iter__(self) -> Iterator[str]:
        return iter(self.all().splitlines(keepends=True))

    def all(self) -> str:
        return self._text[self._start : self._stop]

    def without_comments(self) -> _Text:
        if self._text.find("#", self._start, self._stop) < 0:
            return self
        rest = re.sub(r"^#.*\n?", "", self.all(), flags=re.MULTILINE)
        return _Text(rest, 0, len(rest))


def _parse(body: _Text, dialect: Dialect, wanted: list[int], texts: int | None) -> dict[int, Any]:
    """Read columns with pandas, which only this place knows; it comes late because its import takes long."""
    import pandas as pd  # noqa: PLC0415

    everything = len(wanted) == len(dialect.titles)
    spaces = dialect.delimiter == " "
    frame = pd.read_csv(
        body,
        sep=r"\s+" if spaces else dialect.delimiter,
        header=None,
        usecols=None if everything else wanted,
        dtype={place: str if place == texts else np.float64 for place in wanted},
        decimal=dialect.decimal,
        skipinitialspace=True,
        na_filter=False,
        engine="c",
    )
    if (
        everything
        and len(frame.columns) > len(wanted)
        and (frame.iloc[:, len(wanted) :] != "").any(axis=None)
    ):
        raise ValueError("cells beyond the last title")
    return {place: frame[place].to_numpy() for place in wanted}


def _stop(text: str, dialect: Dialect) -> tuple[int, bool]:
    """Say where the rows end, and whether a last one that lacks cells and its line end was left out."""
    place = text.rfind("\n") + 1
    last = text[place:]
    if place > dialect.body and last.strip() and len(split(last, dialect.delimiter)) < len(dialect.titles):
        return place, True
    return len(text), False


def _ragged(body: str, dialect: Dialect) -> bool:
    """Tell whether rows may differ in their number of cells (quoted delimiters count, too)."""
    characters = np.frombuffer(body.encode(), np.uint8)
    ends = np.append(np.flatnonzero(characters == ord("\n")), characters.size)
    delimiters = np.flatnonzero(characters == ord(dialect.delimiter))
    cells = np.diff(np.searchsorted(delimiters, ends), prepend=0)
    filled = np.diff(ends, prepend=-1) > 1
    return bool(np.ptp(cells[filled])) and any(
        len(split(row, dialect.delimiter)) != len(dialect.titles) for _, row in _rows(body, dialect)
    )


def _rows(body: str, dialect: Dialect) -> list[tuple[int, str]]:
    """Give line and text of each row."""
    return [
        (number, row)
        for number, row in enumerate(body.split("\n"), start=dialect.body_line)
        if row.strip() and not row.startswith("#")
    ]


def _first_problem(body: str, dialect: Dialect, numbers: Sequence[int]) -> InputError:
    """Look for the first row that cannot be read, once it is known that there is one."""
    rows = _rows(body, dialect)
    if len(rows) < 2:
        return InputError(
            "fewer than two rows of numbers follow the header",
            todo="record for some seconds",
            line=dialect.line,
        )
    for line, row in rows:
        cells = split(row, dialect.delimiter)
        if len(cells) != len(dialect.titles):
            return InputError(
                f"this row has {len(cells)} cells, but the header names {len(dialect.titles)} columns",
                todo="correct or delete the row",
                line=line,
            )
        for place in sorted(numbers):
            if number_in(cells[place], dialect.decimal) is None:
                return _bad_cell(cells[place], dialect, place, line)
    return InputError(
        "the rows cannot be read as numbers", todo="save the table again as CSV", line=dialect.line
    )


def _bad_cell(cell: str, dialect: Dialect, place: int, line: int) -> InputError:
    what = f"{cell[:30]!r} is not a finite number" if cell else "the cell is empty"
    other = re.fullmatch(r"[+-]?\d*[.,]\d+", cell)
    todo = "write the decimal sign alike in all rows" if other else "correct or delete the row"
    return InputError(f"in column {dialect.titles[place]!r}, {what}", todo=todo, line=line)
