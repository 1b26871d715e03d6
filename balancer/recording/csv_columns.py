"""Tables from phones, loggers and spreadsheets: titles with units, then numbers, one row a sample."""

from __future__ import annotations

import codecs
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from balancer.core.edges import edge_times
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.recording.csv_dialect import Dialect, decode, no_header, sniff
from balancer.recording.csv_header import Columns, sort_columns
from balancer.recording.csv_table import Table, read_table, row_line
from balancer.recording.csv_time import seconds_of_numbers, seconds_of_texts
from balancer.recording.hints import NOTHING, Hints
from balancer.recording.model import Channel, Recording, SensorFacts, Understood
from balancer.recording.stamps import FEWEST, Judged, judge_stamps

NAME = "CSV file with a header such as time_s,x_m/s^2,y_m/s^2,mark"

Floats = npt.NDArray[np.float64]


def detect(head: bytes, name: str) -> bool:
    """Tell whether a file may be a table.

    Parameters
    ----------
    head : bytes
        Its beginning.
    name : str
        Its name: a hint only.

    Returns
    -------
    bool
        True if it is text in whose first lines a delimiter stands, or if it is named like a table.
    """
    wide = head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    if b"\0" in head and not wide:
        return False
    if wide or name.lower().endswith((".csv", ".tsv")):
        return True
    text, _ = decode(head)
    rows = [line for line in text.splitlines() if line.strip() and not line.startswith("#")][:2]
    if rows and all(any(mark in row for mark in ",;\t|") for row in rows):
        return True
    try:
        return bool(sniff(text).first)
    except InputError:
        return False


def read(data: bytes, name: str, hints: Hints = NOTHING) -> Recording:
    """Read a table.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for messages and for `Recording.source`.
    hints : Hints
        What a person says beside.

    Returns
    -------
    Recording
        Samples in m/s^2; the first one is at 0 s. `Recording.understood` says what was taken for what.

    Raises
    ------
    InputError
        If the header does not say which column is what in which unit, a cell is no number, or the times
        make no sense.
    """
    try:
        return _read(data, name, hints)
    except InputError as error:
        raise error.at(name) from None


def _read(data: bytes, name: str, hints: Hints) -> Recording:
    text, encoding = decode(data)
    dialect = sniff(text, encoding)
    if not dialect.titles:
        raise no_header("numbers begin without a header line", dialect.body_line)
    try:
        columns = sort_columns(dialect.titles, dialect.first, hints)
    except InputError as error:
        raise error.at(None, dialect.line) from None
    dated = columns.time_unit == "date"
    time = () if dated or columns.time is None else (columns.time,)
    table = read_table(text, dialect, (*columns.numbers, *time), columns.time if dated else None)
    stamps, start = _seconds(table, columns, hints)
    _check_few(stamps, text, dialect)
    factors = [factor for _, _, factor in columns.channels]
    samples = np.empty((len(factors), stamps.size))
    for row, column, factor in zip(samples, table.numbers, factors, strict=False):
        np.multiply(column, factor, out=row)
    judged = judge_stamps(stamps, samples, hints.stamps, start=start)
    levels = None if columns.mark is None else table.numbers[len(factors)]
    made = _make_recording(samples, levels, judged, columns, _told(table, dialect, columns, judged))
    return replace(made, source=name, understood=_understood(judged, columns, dialect, start))


def _seconds(table: Table, columns: Columns, hints: Hints) -> tuple[Floats, float]:
    if columns.time is None:
        return np.arange(table.numbers[0].size) / (hints.rate or 1.0), 0.0
    if table.texts:
        return seconds_of_texts(table.texts)
    return seconds_of_numbers(table.numbers[-1], columns.time_unit)


def _check_few(stamps: Floats, text: str, dialect: Dialect) -> None:
    """Refuse a handful of rows whose time does not rise: there is no rate to be fitted to them."""
    falling = np.flatnonzero(np.diff(stamps) <= 0)
    if falling.size and stamps.size < FEWEST:
        raise InputError(
            "the time does not rise from the row before to this one",
            todo="sort the rows by time and delete repeated ones",
            line=row_line(text, dialect, int(falling[0]) + 1),
        )


def _make_recording(
    samples: Floats, levels: Floats | None, judged: Judged, columns: Columns, told: list[Finding]
) -> Recording:
    whole = judged.order.size == samples.shape[1]
    whole = whole and bool(np.all(np.diff(judged.order) > 0))
    marks = None
    if levels is not None:
        marks, found = marks_of_levels(judged.times, levels if whole else levels[judged.order])
        told = [*told, found]
    return Recording(
        judged.times,
        samples if whole else samples[:, judged.order],
        tuple(Channel(stem, "m/s^2") for _, stem, _ in columns.channels),
        marks=marks,
        sensor=SensorFacts(mark_edge="rising" if marks is not None else ""),
        gaps=judged.gaps,
        segment_starts=judged.segment_starts,
        findings=tuple(told),
    )


def _told(table: Table, dialect: Dialect, columns: Columns, judged: Judged) -> list[Finding]:
    findings = [Finding.of("last_line_cut", "info", count=1)] if table.cut else []
    if dialect.encoding == "Windows-1252":
        findings.append(Finding.of("encoding_assumed", "info", text=dialect.encoding))
    if columns.ignored:
        findings.append(Finding.of("columns_ignored", "info", names=", ".join(columns.ignored)))
    return [*findings, *judged.findings]


def _understood(judged: Judged, columns: Columns, dialect: Dialect, start: float) -> Understood:
    taken = dict.fromkeys(range(len(dialect.titles)), "not used")
    for (place, stem, _), unit in zip(columns.channels, columns.units, strict=True):
        taken[place] = f"channel {stem} in {unit}"
    if columns.mark is not None:
        taken[columns.mark] = "mark"
    if columns.time is not None:
        words = {"date": "time of day or date", "epoch": "time since 1970"}
        taken[columns.time] = words.get(columns.time_unit, f"time in {columns.time_unit}")
    return Understood(
        form=dialect.words,
        columns=tuple((title, taken[place]) for place, title in enumerate(dialect.titles)),
        stamps="counted" if columns.time is None else judged.kind,
        rate=judged.rate,
        jitter=judged.jitter,
        start=start,
    )


def marks_of_levels(times: Floats, levels: Floats) -> tuple[Floats | None, Finding]:
    """Find the marks in a mark signal that was sampled along.

    Parameters
    ----------
    times, levels : array, shape (n,)
        Of the samples in s, and the signal in any unit.

    Returns
    -------
    marks : array or None
        Their times in s; None when the signal is flat.
    finding : Finding
        How sure they are.
    """
    try:
        edges = edge_times(times, levels)
    except InputError:
        return None, Finding.of("mark_column_flat", "warning")
    return edges.times, Finding.of("mark_resolution", "info", resolution_us=edges.resolution * 1e6)
