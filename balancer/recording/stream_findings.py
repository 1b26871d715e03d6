"""What reading a stream file brought to light, as findings."""

from __future__ import annotations

from collections import Counter

from balancer.findings import Figure, Finding, Severity
from balancer.recording.blocks import Block
from balancer.recording.headers import Headers
from balancer.recording.hello import Hello

_HARMLESS_PERCENT = 1.0
_FIRST_HEADER_LINES = 3

_COUNTS: tuple[tuple[str, str, Severity], ...] = (
    ("headers_damaged", "headers_damaged", "info"),
    ("headers_differ", "headers_differ", "warning"),
    ("last_line_cut", "last_line_cut", "info"),
    ("last_packet_cut", "last_packet_cut", "info"),
    ("implausible", "samples_implausible", "warning"),
    ("late", "lines_out_of_order", "info"),
    ("repeated", "lines_repeated", "info"),
    ("marks_lost", "marks_lost", "warning"),
    ("packets_missing", "packets_missing", "info"),
    ("faults", "sensor_faults", "error"),
    ("overruns", "sensor_overruns", "warning"),
    ("records_lost", "device_records_lost", "warning"),
    ("marks_lost_on_board", "device_marks_lost", "warning"),
    ("stamps_off", "stamps_off", "info"),
    ("out_of_time", "samples_out_of_time", "warning"),
    ("restarts", "device_restarted", "warning"),
)
"""Key in the counter, code of the finding, severity; the figure is always `count`."""


def header_findings(headers: Headers) -> list[Finding]:
    """Tell what the header lines lack.

    Parameters
    ----------
    headers : Headers
        The header lines.

    Returns
    -------
    list of Finding
        ``header_late``, ``header_incomplete``, ``lines_unprotected``, ``lines_weakly_protected``.
    """
    findings = []
    if headers.first_line > _FIRST_HEADER_LINES:
        findings.append(Finding.of("header_late", "info", line=headers.first_line))
    if headers.missing:
        findings.append(Finding.of("header_incomplete", "info", missing=", ".join(headers.missing)))
    checks = {stretch.hello.check for stretch in headers.stretches}
    if "none" in checks:
        findings.append(Finding.of("lines_unprotected", "warning"))
    if "xor" in checks:
        findings.append(Finding.of("lines_weakly_protected", "info"))
    return findings


def line_findings(blocks: list[Block], first_lines: list[int]) -> list[Finding]:
    """Tell about damaged lines, messages and unknown records.

    Parameters
    ----------
    blocks : list of Block
        The records of each stretch of the file.
    first_lines : list of int
        The line in the file, counted from 1, in which each of them begins.

    Returns
    -------
    list of Finding
        ``lines_damaged``, and those of `record_findings`.
    """
    findings = []
    lines, damaged = sum(b.lines for b in blocks), sum(b.damaged.size for b in blocks)
    if damaged:
        first = first_damaged_line(blocks, first_lines)
        findings.append(
            _share("lines_damaged", damaged, lines, lines=lines, damaged=damaged, first_line=first)
        )
    return findings + record_findings(blocks)


def record_findings(blocks: list[Block]) -> list[Finding]:
    """Tell about messages and unknown records.

    Parameters
    ----------
    blocks : list of Block
        All records.

    Returns
    -------
    list of Finding
        ``device_message``, ``records_unknown``.
    """
    findings = []
    messages = [words for b in blocks for _, words in b.messages]
    if messages:
        findings.append(Finding.of("device_message", "info", count=len(messages), text=messages[0][:200]))
    letters = [what[:1].decode("ascii", "replace") for b in blocks for _, what in b.others]
    if letters:
        known = "".join(sorted(set(letters)))
        findings.append(Finding.of("records_unknown", "info", count=len(letters), letters=known))
    return findings


def first_damaged_line(blocks: list[Block], first_lines: list[int]) -> int:
    """Give the line in the file, counted from 1, of the first damaged line; 0 when there is none."""
    places = (
        first + int(b.damaged[0]) for b, first in zip(blocks, first_lines, strict=True) if b.damaged.size
    )
    return next(places, 0)


def sample_findings(counted: Counter[str], samples: int, rate: float, hello: Hello) -> list[Finding]:
    """Tell about samples and marks that are missing or doubtful, and about the rate.

    Parameters
    ----------
    counted : Counter of str
        How often what was noticed.
    samples : int
        Samples read.
    rate : float
        Measured sample rate in Hz.
    hello : Hello
        What the device announced.

    Returns
    -------
    list of Finding
        ``samples_lost``, ``samples_lost_silently``, ``stamps_unsteady``, ``rate_off``, and those of
        `_COUNTS`.
    """
    findings = []
    for reason, code in (("index", "samples_lost"), ("silent", "samples_lost_silently")):
        lost = counted[f"lost_{reason}"]
        if lost:
            gaps = counted[f"gaps_{reason}"]
            findings.append(_share(code, lost, samples + lost, lost=lost, gaps=gaps))
    findings += [
        Finding.of(code, severity, count=counted[key]) for key, code, severity in _COUNTS if counted[key]
    ]
    if counted["unsteady_us"]:
        findings.append(Finding.of("stamps_unsteady", "warning", scatter_us=counted["unsteady_us"]))
    if abs(rate / hello.rate_hz - 1) > hello.rate_tol:
        findings.append(Finding.of("rate_off", "warning", measured_hz=rate, announced_hz=hello.rate_hz))
    return findings


def _share(code: str, part: int, whole: int, **figures: Figure) -> Finding:
    percent = 100 * part / whole
    severity: Severity = "info" if percent < _HARMLESS_PERCENT else "warning"
    return Finding.of(code, severity, **figures, percent=percent)
