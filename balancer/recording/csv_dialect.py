"""The dialect of a table: its characters, its delimiter, its decimal sign, and where its numbers begin."""

from __future__ import annotations

import codecs
import csv
import math
import re
from dataclasses import dataclass, replace

from balancer.errors import InputError
from balancer.recording.csv_units import acceleration_unit, time_unit

_HEAD_CHARACTERS = 1 << 16
_HEAD_LINES = 400
_PROBED = 4  # rows looked at to learn what a row is like
_DELIMITERS = ("\t", ";", "|", ",", " ")
_WORDS = {"\t": "tabs", ";": "semicolons", "|": "bars", ",": "commas", " ": "spaces"}
_COMMA_NUMBER = re.compile(r"[+-]?\d*,\d+([eE][+-]?\d+)?")
_POINT_NUMBER = re.compile(r"[+-]?\d+\.\d*([eE][+-]?\d+)?")
_DATE = r"(?P<date>\d{4}-\d{2}-\d{2}|\d{1,2}[./-]\d{1,2}[./-]\d{2,4}|\d{4}/\d{2}/\d{2})"
TIME_OF_DAY = re.compile(
    rf"({_DATE}[T ]+)?(?P<clock>\d{{1,2}}:\d{{2}}:\d{{2}}([.,]\d+)?)\s*"
    r"(?P<zone>Z|[+-]\d{2}:?\d{2}|[AaPp][Mm])?"
)
"""A date and a time of day, or a time of day alone, as a cell may hold it."""


@dataclass(frozen=True)
class Dialect:
    """How a table is written.

    Parameters
    ----------
    delimiter : str
        Tab, semicolon, bar, comma, or a space for any run of spaces.
    decimal : str
        Point or comma.
    titles : tuple of str
        Of the columns; where the units stand in a line of their own they are added in brackets.
    line : int
        Line of the titles, counted from 1.
    body : int
        Where the rows begin, in characters.
    body_line : int
        Line of the first row, counted from 1.
    first : tuple of str
        Cells of the first row.
    encoding : str
        ``UTF-8``, ``UTF-16`` or ``Windows-1252``.
    """

    delimiter: str
    decimal: str
    titles: tuple[str, ...]
    line: int
    body: int
    body_line: int
    first: tuple[str, ...]
    encoding: str = "UTF-8"

    @property
    def words(self) -> str:
        """The dialect in words."""
        sign = ", decimal commas" if self.decimal == "," else ""
        return f"table with {_WORDS[self.delimiter]} between the cells{sign}, {self.encoding}"


@dataclass(frozen=True)
class _Line:
    number: int  # counted from 1
    start: int  # in characters
    text: str


def decode(data: bytes) -> tuple[str, str]:
    """Turn bytes into text: UTF-8, UTF-16 when a byte order mark says so, else Windows-1252.

    Parameters
    ----------
    data : bytes
        A whole file.

    Returns
    -------
    text, encoding : str
        The text with every line end as LF, and the name of the encoding.
    """
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        text, encoding = data.decode("utf-16", "replace"), "UTF-16"
    else:
        try:
            text, encoding = data.decode("utf-8-sig"), "UTF-8"
        except UnicodeDecodeError:
            text, encoding = data.decode("cp1252", "replace"), "Windows-1252"
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    return text, encoding


def sniff(text: str, encoding: str = "UTF-8") -> Dialect:
    """Find the rows of numbers and the header above them.

    Parameters
    ----------
    text : str
        The whole file, lines ended by LF.
    encoding : str
        Its name, handed on.

    Returns
    -------
    Dialect
        How the table is written. Titles are empty when nothing above the numbers can be a header.

    Raises
    ------
    InputError
        If there is no table, or commas separate both cells and decimals. The error names the line.
    """
    lines = _head_lines(text)
    plain = [line for line in lines if not line.text.lstrip().startswith("#")]
    for place, line in enumerate(plain):
        probes = [other.text for other in plain[place : place + _PROBED]]
        for delimiter in _by_numbers(probes):
            before = [other for other in lines if other.start < line.start]
            header = _header(before, delimiter, len(split(probes[0], delimiter)))
            return _dialect(text, line, probes, delimiter, header, encoding)
    return _without_rows(plain, encoding)


def split(row: str, delimiter: str) -> tuple[str, ...]:
    """Split a row into its cells, quotes taken off.

    Parameters
    ----------
    row : str
        Without its line end.
    delimiter : str
        As in `Dialect`.

    Returns
    -------
    tuple of str
        The cells, blanks around them taken off; an empty one behind a last delimiter is left out.
    """
    if delimiter == " ":
        cells = [cell.strip('"') for cell in re.findall(r'"[^"]*"|\S+', row)]
    else:
        cells = next(csv.reader([row], delimiter=delimiter, skipinitialspace=True), [])
    cells = [cell.strip() for cell in cells]
    return tuple(cells[:-1] if len(cells) > 2 and not cells[-1] else cells)


def number_in(cell: str, decimal: str = ".") -> float | None:
    """Give the finite number that a cell holds, or None.

    Parameters
    ----------
    cell : str
        A cell.
    decimal : str
        The decimal sign.

    Returns
    -------
    float or None
        The number.
    """
    bare = cell.strip().strip('"')
    if decimal == ",":
        if "." in bare:
            return None
        bare = bare.replace(",", ".")
    if "_" in bare:  # Python takes it, no table means it
        return None
    try:
        value = float(bare)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _head_lines(text: str) -> list[_Line]:
    lines, start = [], 0
    for number, row in enumerate(text[:_HEAD_CHARACTERS].split("\n")[:_HEAD_LINES], start=1):
        if row.strip():
            lines.append(_Line(number, start, row))
        start += len(row) + 1
    return lines


def _is_number(cell: str) -> bool:
    return bool(number_in(cell) is not None or _COMMA_NUMBER.fullmatch(cell))


def _numbers(row: str, delimiter: str) -> int:
    """Count the cells that are numbers or times; 0 when the row cannot be one of a table of numbers."""
    cells = split(row, delimiter)
    found = sum(_is_number(cell) or bool(TIME_OF_DAY.fullmatch(cell)) for cell in cells)
    return found if len(cells) > 1 and found > 1 and 3 * found >= len(cells) else 0


def _by_numbers(probes: list[str]) -> list[str]:
    """Give the delimiter that makes the first two rows rows of most numbers, if any does."""
    score = {d: min(_numbers(row, d) for row in probes[:2]) for d in _DELIMITERS}
    for delimiter in _DELIMITERS:
        widths = {len(split(row, delimiter)) for row in probes[:2]}
        if len(widths) > 1 and len(probes) > 2:
            score[delimiter] = 0
    best = max(_DELIMITERS, key=lambda d: score[d])
    return [best] if score[best] else []


def _dialect(
    text: str,
    line: _Line,
    probes: list[str],
    delimiter: str,
    header: tuple[int, tuple[str, ...]],
    encoding: str,
) -> Dialect:
    number, titles = header
    rows = [split(row, delimiter) for row in probes]
    if delimiter == "," and titles and len(rows[0]) >= 2 * len(titles) - 1 and len(rows[0]) > len(titles):
        raise InputError(
            f"commas stand between the {len(titles)} columns and, it seems, in the numbers too",
            todo="export the table with semicolons or with decimal points",
            line=line.number,
        )
    cells = [cell for row in rows for cell in row]
    commas = any(_COMMA_NUMBER.fullmatch(cell) for cell in cells)
    points = any(_POINT_NUMBER.fullmatch(cell) for cell in cells)
    if not commas and not points and delimiter != ",":
        commas = text.find(",", line.start) >= 0 and text.find(".", line.start) < 0
    decimal = "," if commas and not points else "."
    return Dialect(delimiter, decimal, titles, number, line.start, line.number, rows[0], encoding)


def _header(before: list[_Line], delimiter: str, width: int) -> tuple[int, tuple[str, ...]]:
    """Find the titles among the lines above the numbers: line (0 when there is none) and titles."""
    found: list[tuple[int, tuple[str, ...]]] = []
    for line in reversed(before[-6:]):
        bare = line.text.lstrip().lstrip("#").strip()
        comment = line.text.lstrip().startswith("#")
        # a row of spaced numbers may stand under titles with commas or tabs, and words hold spaces
        cells = max(
            (split(bare, d) for d in ({delimiter} if delimiter != " " else {" ", "\t", ";", ","})),
            key=lambda row: -abs(len(row) - width),
            default=(),
        )
        fits = len(cells) == width if comment or found else len(cells) > 1
        if not fits:
            if comment or not found:
                continue
            break
        if found and (comment or len(cells) != len(found[0][1])):
            break
        found.append((line.number, cells))
        if comment or not _only_units(cells):
            break
    if not found:
        return 0, ()
    if len(found) > 1:
        return found[1][0], tuple(
            f"{title} [{unit.strip('[]()')}]" if unit.strip("[]() -") else title
            for title, unit in zip(found[1][1], found[0][1], strict=True)
        )
    return found[0]


def _only_units(cells: tuple[str, ...]) -> bool:
    """Tell whether a line under the titles states units and nothing else."""
    bare = [cell.strip("[]() ") for cell in cells]
    return sum(bool(acceleration_unit(cell) or time_unit(cell)) for cell in bare) >= 2


def _without_rows(plain: list[_Line], encoding: str) -> Dialect:
    """Take the first line for a header with nothing below it, or refuse."""
    if not plain:
        raise no_header("there is no header line", 1)
    line = plain[0]
    delimiter = max("\t;|,", key=line.text.count)
    titles = split(line.text, delimiter)
    if len(titles) == 1:
        raise no_header("this line names a single column", line.number)
    start = line.start + len(line.text) + 1
    return replace(
        Dialect(delimiter, ".", titles, line.number, start, line.number + 1, ()), encoding=encoding
    )


def no_header(what: str, line: int) -> InputError:
    """Make the refusal of a table that does not say what its columns are.

    Parameters
    ----------
    what : str
        What is wrong.
    line : int
        Where, counted from 1.

    Returns
    -------
    InputError
        With what to do.
    """
    todo = "put a line in front that names each column with its unit, such as time_s,x_m/s^2,mark"
    return InputError(what, todo=todo, line=line)
