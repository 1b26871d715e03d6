"""Whole lines of a text stream in, records out: the one decoder for files and for what comes over a wire."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from balancer.recording.blocks import Block
from balancer.recording.crc import DIGITS, crc16_of_rows, hex_of_tail, line_check, xor_of_rows
from balancer.recording.fields import Bytes, Fields, Integers, Scratch, Words

Flags = npt.NDArray[np.bool_]

STATUS_FIELDS = 6
_PIECE_BYTES = 1 << 20  # of smaller pieces the calls begin to count, of larger ones the caches overflow
_LINES_AT_ONCE = 1 << 15
_LONGEST_FIELD = 24
_SPARE = 24
_NUMBER = re.compile(rb"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


@dataclass(frozen=True)
class Layout:
    """What has to be known of a stream to read its lines.

    Parameters
    ----------
    axes : int
        Values in a sample, 1 or more.
    check : {"crc16", "xor", "none"}
        How each line is protected.
    """

    axes: int
    check: str


def parse_lines(data: bytes, layout: Layout, start: int = 0, stop: int | None = None) -> Block:
    """Read whole lines.

    Parameters
    ----------
    data : bytes
        Lines, each ended by LF or CRLF.
    layout : Layout
        How they are made.
    start, stop : int, optional
        Which part to read: from the beginning of a line to the end of one.

    Returns
    -------
    Block
        Their records. Nothing is guessed: a line that does not pass its check, or is no record, is damaged.
    """
    stop = len(data) if stop is None else stop
    text, lines = _Text(layout), 0
    samples = _Store(2, layout.axes, _count_lines(data, start, stop))
    stores = {"a": samples, "m": _Store(2, 0), "s": _Store(STATUS_FIELDS, 0)}
    rest: dict[str, list[tuple[int, bytes]]] = {"#": [], "e": [], "other": [], "damaged": []}
    decimals = _has_decimals(data, start, stop)
    for first, last in _pieces(data, start, stop):
        text.load(data, first, last, lines)
        letters = text.characters.take(text.starts)
        left = text.ends > text.starts
        for letter, store in stores.items():
            left[_read_records(text, np.flatnonzero(letters == ord(letter)), store, decimals)] = False
        _sort_rest(text, np.flatnonzero(left), rest)
        lines += text.starts.size
    marks, status = stores["m"], stores["s"]
    return Block(
        index=samples.integers[0, : samples.size],
        tick=samples.integers[1, : samples.size],
        counts=samples.numbers[:, : samples.size],
        sample_lines=samples.lines[: samples.size],
        mark_index=marks.integers[0, : marks.size],
        mark_tick=marks.integers[1, : marks.size],
        mark_lines=marks.lines[: marks.size],
        status=status.integers[:, : status.size].T,
        status_lines=status.lines[: status.size],
        messages=tuple((line, what[2:].decode("utf-8", "replace")) for line, what in rest["e"]),
        others=tuple(rest["other"]),
        comments=tuple(rest["#"]),
        lines=lines,
        damaged=np.array([line for line, _ in rest["damaged"]], np.int64),
        decimals=decimals,
    )


class _Text:
    """Characters with room around them for whole words, and where their lines begin and end.

    The memory is used again for each piece of a file: fresh memory costs as much as the reading.
    """

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        # records up to this length are read all at once; a longer line is no record
        self.longest = 8 + _LONGEST_FIELD * (2 + layout.axes)
        # so far the cursors of `Fields` can run past the beginning of a line that has too few fields
        self._front = 8 * -(-self.longest // 8) + 40 * (STATUS_FIELDS + layout.axes)
        self.characters: Bytes = np.zeros(0, np.uint8)
        self.scratch = Scratch.of(0)
        self.starts: Integers = np.zeros(0, np.int64)
        self.ends = self.starts
        self.first_line = 0

    def load(self, data: bytes, start: int, stop: int, first_line: int) -> None:
        """Take a piece of a file whose first line is line `first_line`; ends exclude CR and LF."""
        front, size = self._front, stop - start
        if self.characters.size < front + size + _SPARE:
            self.characters = np.zeros(front + 8 * -(-(size + _SPARE) // 8), np.uint8)
        piece = self.characters[front : front + size]
        piece[:] = np.frombuffer(data, np.uint8, size, start)
        self.characters[front + size :][:_SPARE] = 0
        self.ends = np.flatnonzero(piece == ord("\n"))
        self.ends += front
        self.starts = np.empty_like(self.ends)
        self.starts[:1] = front
        np.add(self.ends[:-1], 1, out=self.starts[1:])
        if data.find(b"\r", start, stop) >= 0:
            self.ends -= (self.characters.take(self.ends - 1) == ord("\r")) & (self.ends > self.starts)
        self.first_line = first_line
        lines = min(_LINES_AT_ONCE, self.ends.size)
        if self.scratch.lines < lines:
            self.scratch = Scratch.of(lines)

    def line(self, number: int) -> bytes:
        """Give one line of the piece, counted from 0."""
        return bytes(self.characters[self.starts[number] : self.ends[number]])


class _Store:
    """The records of one letter: lines, integers and numbers; the first `size` places are filled."""

    def __init__(self, integers: int, numbers: int, room: int = 0) -> None:
        self.size = 0
        self.lines = np.empty(room, np.int64)
        self.integers = np.empty((integers, room), np.int64)
        self.numbers = np.empty((numbers, room))

    def make_room(self, count: int) -> None:
        """Make room for so many records more."""
        if self.size + count > self.lines.size:
            self.lines = _grown(self.lines, count)
            self.integers, self.numbers = _grown(self.integers, count), _grown(self.numbers, count)

    def keep(self, lines: Integers, read: Flags) -> None:
        """Count in those of the records behind the filled places that were read."""
        room, kept = slice(self.size, self.size + read.size), int(np.count_nonzero(read))
        self.size += kept
        self.lines[room][:kept] = lines
        if kept < read.size:
            self.integers[:, room][:, :kept] = self.integers[:, room][:, read]
            self.numbers[:, room][:, :kept] = self.numbers[:, room][:, read]


def _grown(array: npt.NDArray[Any], count: int) -> npt.NDArray[Any]:
    more = np.empty((*array.shape[:-1], max(count, array.shape[-1])), array.dtype)
    return np.concatenate((array, more), axis=-1)


def _pieces(data: bytes, start: int, stop: int) -> Iterator[tuple[int, int]]:
    """Cut between lines."""
    while start < stop:
        cut = data.rfind(b"\n", start, min(start + _PIECE_BYTES, stop)) + 1
        cut = cut or data.find(b"\n", start, stop) + 1 or stop
        yield start, cut
        start = cut


def _count_lines(data: bytes, start: int, stop: int) -> int:
    pieces = (
        np.frombuffer(data, np.uint8, min(_PIECE_BYTES, stop - first), first)
        for first in range(start, stop, _PIECE_BYTES)
    )
    return sum(int(np.count_nonzero(piece == ord("\n"))) for piece in pieces)


def _has_decimals(data: bytes, start: int, stop: int) -> bool:
    """Tell whether a point stands somewhere else than in a line that begins with #."""
    place = data.find(b".", start, stop)
    while place >= 0:
        if data[data.rfind(b"\n", start, place) + 1 or start] != ord("#"):
            return True
        place = data.find(b".", data.find(b"\n", place), stop)
    return False


def _read_records(text: _Text, lines: Integers, store: _Store, decimals: bool) -> Integers:
    """Read those of the lines, all of one letter, that are sound, into the store; tell which these are."""
    check = text.layout.check
    begins, ends = text.starts.take(lines), text.ends.take(lines)
    if check != "none":
        ends -= DIGITS[check] + 1
    fit = (ends > begins) & (ends - begins <= text.longest)
    if not fit.all():
        lines, begins, ends = lines[fit], begins[fit], ends[fit]
    store.make_room(lines.size)
    sound, read = np.ones(lines.size, bool), np.empty(lines.size, bool)
    for first in range(0, lines.size, _LINES_AT_ONCE):
        some = slice(first, first + _LINES_AT_ONCE)
        if check != "none":
            sound[some] = _passes_check(text.characters, begins[some], ends[some], check)
        fields = Fields(text.characters, ends[some], text.scratch)
        place = slice(store.size + first, store.size + first + ends[some].size)
        for number in store.numbers[::-1]:
            fields.take_number(number[place], decimals)
        for integer in store.integers[::-1]:
            fields.take_integer(integer[place])
        read[some] = fields.well_formed(begins[some] + 2)
    read &= sound
    if not read.all():
        for i in np.flatnonzero(sound & ~read).tolist():
            read[i] = _read_slowly(bytes(text.characters[begins[i] : ends[i]]), store, store.size + i)
        lines = lines[read]
    store.keep(lines + text.first_line, read)
    return lines


def _passes_check(text: Bytes, begins: Integers, ends: Integers, check: str) -> Flags:
    """Tell which lines pass; `ends` is where the star stands."""
    lengths = ends - begins
    words = -(-int(lengths.max()) // 8)
    rows = _right_aligned(text, ends, words)
    star, said = hex_of_tail(rows[:, words], DIGITS[check])
    _clear_before(rows, 8 * words - lengths)
    line = rows[:, :words]
    made = xor_of_rows(line) if check == "xor" else crc16_of_rows(line, lengths)
    passed: Flags = star & (said == made)
    return passed


def _right_aligned(text: Bytes, ends: Integers, words: int) -> Words:
    """Copy, for each line, so many words before its end and the one after, shape (lines, words + 1)."""
    size = 8 * (words + 1)
    # indexing an array of overlapping items copies each line in one go
    windows = np.ndarray((text.size - size + 1,), f"V{size}", text, strides=(1,))
    return windows[ends - 8 * words].view(np.uint64).reshape(-1, words + 1)


def _clear_before(rows: Words, before: Integers) -> None:
    """Clear so many bytes at the beginning of each row."""
    kept = np.array([-1 << 8 * cleared & (1 << 64) - 1 for cleared in range(9)], np.uint64)
    for word in range(-(-int(before.max()) // 8)):
        rows[:, word] &= kept.take(np.clip(before - 8 * word, 0, 8))


def _read_slowly(line: bytes, store: _Store, place: int) -> bool:
    """Read one sound line in whatever form numbers take; tell whether it is a record."""
    letter, *fields = line.split(b",")
    whole, rest = fields[: len(store.integers)], fields[len(store.integers) :]
    if len(letter) != 1 or len(whole) < len(store.integers) or len(rest) != len(store.numbers):
        return False
    if not all(field.isdigit() and len(field) < 19 for field in whole):
        return False
    if not all(_NUMBER.fullmatch(field) and math.isfinite(float(field)) for field in rest):
        return False
    store.integers[:, place] = [int(field) for field in whole]
    store.numbers[:, place] = [float(field) for field in rest]
    return True


def _sort_rest(text: _Text, lines: Integers, rest: dict[str, list[tuple[int, bytes]]]) -> None:
    """Sort the lines that are no sample, mark or status: comments, messages, other records, damaged ones."""
    for line in lines.tolist():
        whole = text.line(line)
        record = _without_check(whole, text.layout.check)
        if whole.startswith(b"#"):
            kind, record = "#", whole
        elif record is None or not re.match(rb"[A-Za-z],", record) or record[:1] in b"ams":
            kind, record = "damaged", whole
        else:
            kind = "e" if record[:1] == b"e" else "other"
        rest[kind].append((text.first_line + line, record))


def _without_check(line: bytes, check: str) -> bytes | None:
    """Take the star and its digits off one line; None when they are missing or wrong."""
    if check == "none":
        return line
    record, star, _ = line.rpartition(b"*")
    sound = star and line_check(check, record).encode() == line[len(record) :].upper()
    return record if sound else None
