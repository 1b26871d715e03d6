"""Stream files, version 1, text form: what a device prints is the file."""

from __future__ import annotations

import re
from collections import Counter

from balancer.errors import InputError
from balancer.recording.assembly import assemble, check_same_axes
from balancer.recording.blocks import Block, join_blocks
from balancer.recording.headers import VERSION, Stretch, check_version, read_headers
from balancer.recording.lines import Layout, parse_lines
from balancer.recording.model import Recording
from balancer.recording.stream_findings import first_damaged_line, header_findings, line_findings

NAME = "stream file, version 1, text form (.stream.csv)"
SUFFIX = ".stream.csv"

_RECORD = re.compile(rb"[ams],\d+,\d+(,[^\r\n]*)?(\*[0-9A-Fa-f]{2,4})?\r?\n")


def detect(head: bytes, name: str) -> bool:
    """Tell whether a file is of this format.

    Parameters
    ----------
    head : bytes
        Its beginning, some ten thousand characters.
    name : str
        Its name: a hint only.

    Returns
    -------
    bool
        True if a header line is there, or the first whole lines are records.
    """
    if VERSION.search(head):
        return True
    # the first line of a stream that was joined on its way may be half a line
    records = sum(1 for line in head.splitlines(keepends=True)[1:10] if _RECORD.fullmatch(line))
    return records >= (2 if name.lower().endswith(SUFFIX) else 4)


def read(data: bytes, name: str) -> Recording:
    """Read a stream file.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for messages and for `Recording.source`.

    Returns
    -------
    Recording
        Samples in m/s^2; the first one is at 0 s.

    Raises
    ------
    InputError
        If the header is missing or wrong, or fewer than two samples can be read.
    """
    check_version(data, name)
    headers = read_headers(data, name)
    check_same_axes([stretch.hello for stretch in headers.stretches], name)
    counted: Counter[str] = Counter(headers_damaged=headers.damaged, headers_differ=headers.different)
    blocks = [_read_stretch(data, stretch, counted) for stretch in headers.stretches]
    first_lines = [data.count(b"\n", 0, stretch.start) + 1 for stretch in headers.stretches]
    if sum(block.index.size for block in blocks) < 2:
        raise _too_few_samples(data, name, blocks, first_lines)
    findings = header_findings(headers) + line_findings(blocks, first_lines)
    runs = [(stretch.hello, block) for stretch, block in zip(headers.stretches, blocks, strict=True)]
    blocks.clear()
    return assemble(runs, counted, findings, name)


def _read_stretch(data: bytes, stretch: Stretch, counted: Counter[str]) -> Block:
    """Read one stretch, and the line at its end that lacks its line end if it is sound."""
    layout = Layout(len(stretch.hello.axes), stretch.hello.check)
    start, stop = stretch.start, stretch.stop
    end = data.rfind(b"\n", start, stop) + 1 or start
    block = parse_lines(data, layout, start, end)
    if end == stop:
        return block
    last = parse_lines(data[end:stop] + b"\n", layout)
    # without a check nobody knows whether digits are missing
    if layout.check == "none" or last.damaged.size:
        counted["last_line_cut"] += 1
        return block
    return join_blocks([block, last])


def _too_few_samples(data: bytes, name: str, blocks: list[Block], first_lines: list[int]) -> InputError:
    damaged = sum(block.damaged.size for block in blocks)
    if damaged:
        return InputError(
            f"fewer than two samples can be read, and {damaged} lines are damaged",
            todo="compare this line with 'axes' and 'check' in the header, check cable and baud rate, "
            "and record again",
            file=name,
            line=first_damaged_line(blocks, first_lines),
        )
    last = data.count(b"\n") + (not data.endswith(b"\n"))
    return InputError(
        "fewer than two samples follow the header", todo="record for some seconds", file=name, line=last
    )
