"""Stream files, version 1, binary form: what a device sends is the file."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from balancer.errors import InputError
from balancer.findings import Finding, Severity
from balancer.recording.assembly import assemble, check_same_axes
from balancer.recording.blocks import Block
from balancer.recording.hello import Hello, missing_for_the_record, parse_hello
from balancer.recording.model import Recording
from balancer.recording.packets import HelloPieces, open_packet, parse_packets
from balancer.recording.stream_findings import record_findings

NAME = "stream file, version 1, binary form (.stream)"
SUFFIX = ".stream"

_KINDS = b"HAMSE"


@dataclass(frozen=True)
class _Said:
    """A hello, the packet that completed it, and its line."""

    place: int
    hello: Hello
    line: str


def detect(head: bytes, name: str) -> bool:
    """Tell whether a file is of this format.

    Parameters
    ----------
    head : bytes
        Its beginning, some ten thousand bytes.
    name : str
        Its name: a hint only.

    Returns
    -------
    bool
        True if some packets in it are sound.
    """
    sound = 0
    needed = 1 if name.lower().endswith(SUFFIX) else 2
    for packet in head.split(b"\0")[:-1]:
        body = open_packet(packet)
        sound += body is not None and body[0] in _KINDS
        if sound >= needed:
            return True
    return False


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
        If the hello is missing or wrong, or fewer than two samples can be read.
    """
    *framed, rest = data.split(b"\0")
    packets = [open_packet(packet) for packet in framed if packet]
    said = _hellos(packets, name)
    check_same_axes([one.hello for one in said], name)
    counted: Counter[str] = Counter(last_packet_cut=int(bool(rest)))
    runs = _runs(packets, said, counted)
    damaged = sum(block.damaged.size for _, block in runs)
    if sum(block.index.size for _, block in runs) < 2:
        raise InputError(
            "fewer than two samples can be read" + (f", and {damaged} packets are damaged" * bool(damaged)),
            todo="check cable and baud rate, and record for some seconds",
            file=name,
        )
    findings = _packet_findings(said[0].line, damaged, len(packets), counted)
    findings += record_findings([block for _, block in runs])
    return assemble(runs, counted, findings, name)


def _hellos(packets: list[bytes | None], name: str) -> list[_Said]:
    """Find the hellos: the first one, and every later one with another `sid`."""
    pieces, said = HelloPieces(), list[_Said]()
    for place, body in enumerate(packets):
        if body is None or body[:1] != b"H":
            continue
        line = pieces.add(body[2:])
        if line is None:
            continue
        try:
            hello = parse_hello(line)
        except InputError as problem:
            raise problem.at(name) from None
        if not said or said[-1].hello.sid != hello.sid:
            said.append(_Said(place, hello, line))
    if not said:
        raise InputError(
            "the hello that says what the numbers mean is missing",
            todo="let the device send it at the beginning and every 5 s, and record again",
            file=name,
        )
    return said


def _runs(packets: list[bytes | None], said: list[_Said], counted: Counter[str]) -> list[tuple[Hello, Block]]:
    """Read the packets between one `sid` and the next; those before the first hello go with it."""
    edges = [0, *(one.place for one in said[1:]), len(packets)]
    runs = [
        (one.hello, parse_packets(packets[edges[k] : edges[k + 1]], len(one.hello.axes)))
        for k, one in enumerate(said)
    ]
    for hello, block in runs:
        counted["headers_differ"] += sum(
            text.startswith(b"# {") and parse_hello(text.decode()) != hello for _, text in block.comments
        )
    return runs


def _packet_findings(first_hello: str, damaged: int, packets: int, counted: Counter[str]) -> list[Finding]:
    findings = []
    missing = missing_for_the_record(first_hello)
    if missing:
        findings.append(Finding.of("header_incomplete", "info", missing=", ".join(missing)))
    if damaged:
        percent = 100 * damaged / packets
        severity: Severity = "info" if percent < 1 else "warning"
        findings.append(
            Finding.of("packets_damaged", severity, damaged=damaged, packets=packets, percent=percent)
        )
    return findings
