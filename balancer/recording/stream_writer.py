"""Writes a recording as a stream file, version 1, in either form, as a device would have sent it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from balancer.errors import InputError
from balancer.recording.crc import DIGITS, line_check
from balancer.recording.hello import VERSION_LINE, Hello, hello_line
from balancer.recording.model import Recording
from balancer.recording.packets import (
    LONGEST,
    hello_packets,
    make_packet,
    mark_payload,
    sample_payload,
    status_payload,
)

Integers = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

HELLO_EVERY = 5.0
STATUS_EVERY = 1.0
BLOCK_SAMPLES = 16
"""Samples in a packet of the binary form."""

_FINEST_COUNT = 1e-6
_FULL_COUNT, _MOST_COUNT = 32000, 32767


@dataclass(frozen=True)
class _Segment:
    """One run of the device: its sid, and where its samples and marks lie in the recording."""

    sid: int
    samples: slice
    marks: slice


def make_stream_text(
    recording: Recording,
    *,
    tick_hz: float = 1e6,
    tick_bits: int = 32,
    start_tick: int = 0,
    check: str = "crc16",
    sid: int = 1,
) -> bytes:
    """Write a recording as the text of a stream file.

    Counts are whole numbers if the sensor's resolution is known, else m/s^2 in steps of 1e-6. The sample
    index jumps where samples are missing; index and ticks roll over as a device's do.

    Parameters
    ----------
    recording : Recording
        All channels in m/s^2.
    tick_hz : float
        Clock of the time stamps in Hz.
    tick_bits : int
        The stamps roll over at 2**tick_bits.
    start_tick : int
        Stamp of time 0.
    check : {"crc16", "xor", "none"}
        How each line is protected.
    sid : int
        Of the first segment; each further one counts on.

    Returns
    -------
    bytes
        The file.

    Raises
    ------
    InputError
        If a channel is no acceleration, or the samples are too uneven for the line through their stamps
        that a reader will fit.
    """
    if check not in DIGITS:
        raise InputError(f"the line check {check!r} is unknown", todo=f"use one of {', '.join(DIGITS)}")
    lines: list[str] = []
    for segment, index in _indexed_segments(recording, sid):
        hello = hello_of(recording, segment.sid, tick_hz, tick_bits, check)
        lines += _segment_lines(recording, segment, index, hello, start_tick)
    return ("\n".join(lines) + "\n").encode()


def make_stream_packets(
    recording: Recording,
    *,
    tick_hz: float = 1e6,
    start_tick: int = 0,
    sid: int = 1,
) -> bytes:
    """Write a recording in the binary form, with a 32-bit clock.

    Counts are those of the sensor if its resolution is known, else the largest reading takes 32,000.

    Parameters
    ----------
    recording : Recording
        All channels in m/s^2.
    tick_hz : float
        Clock of the time stamps in Hz.
    start_tick : int
        Stamp of time 0.
    sid : int
        Of the first segment; each further one counts on.

    Returns
    -------
    bytes
        The file.

    Raises
    ------
    InputError
        As in `make_stream_text`, or if a reading does not fit into 16 bits.
    """
    packets: list[bytes] = []
    for segment, index in _indexed_segments(recording, sid):
        hello = with_scale_for_16_bits(hello_of(recording, segment.sid, tick_hz, 32, "crc16"), recording)
        packets += _segment_packets(recording, segment, index, hello, start_tick, len(packets))
    return b"".join(packets)


def _indexed_segments(recording: Recording, sid: int) -> list[tuple[_Segment, Integers]]:
    """Give the segments and the index of their samples; refuse what does not fit into a stream."""
    if any(channel.unit != "m/s^2" for channel in recording.channels):
        raise InputError("only accelerations in m/s^2 fit into a stream file", todo="convert the channels")
    period = 1 / recording.sample_rate
    segments = []
    for segment in _segments(recording, sid):
        index = _sample_index(recording.times[segment.samples], period)
        _check_even(recording.times[segment.samples], index, period, recording.source)
        segments.append((segment, index))
    return segments


def _segments(recording: Recording, sid: int) -> list[_Segment]:
    """Cut at the restarts; the marks of a segment end halfway to the next one."""
    starts = [0, *recording.segment_starts]
    stops = [*recording.segment_starts, recording.times.size]
    marks = recording.marks if recording.marks is not None else np.zeros(0)
    middles = [(recording.times[stop - 1] + recording.times[stop]) / 2 for stop in recording.segment_starts]
    cuts = [0, *np.searchsorted(marks, middles).tolist(), marks.size]
    return [
        _Segment(sid + k, slice(start, stop), slice(cuts[k], cuts[k + 1]))
        for k, (start, stop) in enumerate(zip(starts, stops, strict=True))
    ]


def hello_of(recording: Recording, sid: int, tick_hz: float, tick_bits: int, check: str) -> Hello:
    """Say what a device that made a recording would say of itself."""
    sensor = recording.sensor
    scale = sensor.resolution or 1.0
    return Hello(
        sid=sid,
        axes=tuple(channel.name for channel in recording.channels),
        unit="m/s^2",
        scale=scale,
        rate_hz=sensor.nominal_rate or recording.sample_rate,
        tick_hz=tick_hz,
        tick_bits=tick_bits,
        marks_per_rev=recording.marks_per_rev,
        check=check,
        board=sensor.board,
        sensor=sensor.name,
        full_scale=sensor.full_scale / scale if sensor.full_scale else None,
        lowpass_hz=sensor.lowpass,
        stamp="",
        mark_edge=sensor.mark_edge,
    )


def _sample_index(times: Floats, period: float) -> Integers:
    """Give the samples numbers that jump where samples are missing."""
    steps = np.maximum(np.rint(np.diff(times) / period).astype(np.int64), 1)
    return np.concatenate(([0], np.cumsum(steps)))


def _check_even(times: Floats, index: Integers, period: float, source: str) -> None:
    """Refuse times that stray more than half a sample from the index within a second."""
    slip = times - times[0] - index * period
    window = max(2, round(1 / period))
    parts = [slip[k : k + window] for k in range(0, slip.size, window)]
    if any(part.max() - part.min() > period for part in parts):
        raise InputError(
            "the samples come too unevenly for a stream file", todo="keep them as CSV", file=source or None
        )


@dataclass(frozen=True, eq=False)
class _Course:
    """When what is sent in a segment: times of samples, marks, status records and repeated hellos."""

    times: Floats
    marks: Floats
    beats: Floats
    hellos: Floats

    @classmethod
    def of(cls, recording: Recording, segment: _Segment) -> _Course:
        times = recording.times[segment.samples]
        marks = recording.marks[segment.marks] if recording.marks is not None else np.zeros(0)
        first = min(times[:1].tolist() + marks[:1].tolist())
        last = max(times[-1:].tolist() + marks[-1:].tolist())
        beats = np.arange(first, last, STATUS_EVERY)[1:]
        return cls(times, marks, beats, np.arange(first, times[-1], HELLO_EVERY)[1:])


def _segment_lines(
    recording: Recording, segment: _Segment, index: Integers, hello: Hello, start_tick: int
) -> list[str]:
    """Make all lines of a segment, in the order of their times."""
    course = _Course.of(recording, segment)
    status = _status_rows(course, index, hello, start_tick)
    texts = [
        *_protected(_sample_records(recording, segment, index, hello, start_tick), hello.check),
        *_protected(_mark_records(course.marks, hello, start_tick), hello.check),
        *_protected(["s," + ",".join(map(str, row)) for row in status], hello.check),
        *(f"{VERSION_LINE}\n{hello_line(hello)}" for _ in course.hellos),
    ]
    times = np.concatenate((course.times, course.marks, course.beats, course.hellos))
    order = np.argsort(times, kind="stable")
    return [VERSION_LINE, hello_line(hello), *(texts[k] for k in order.tolist())]


def _segment_packets(
    recording: Recording, segment: _Segment, index: Integers, hello: Hello, start_tick: int, sequence: int
) -> list[bytes]:
    """Make all packets of a segment, in the order of their times."""
    course = _Course.of(recording, segment)
    last, samples = _sample_payloads(recording, segment, index, hello, start_tick)
    ticks = _ticks(course.marks, hello, start_tick)
    bodies = [
        *((b"A", payload) for payload in samples),
        *((b"M", mark_payload(m, tick)) for m, tick in enumerate(ticks)),
        *((b"S", status_payload(*row)) for row in _status_rows(course, index, hello, start_tick)),
        *((b"H", b"") for _ in course.hellos),
    ]
    order = np.argsort(
        np.concatenate((course.times[last], course.marks, course.beats, course.hellos)), kind="stable"
    )
    packets = hello_packets(hello_line(hello), sequence)
    for kind, payload in (bodies[k] for k in order.tolist()):
        number = sequence + len(packets)
        if kind == b"H":
            packets += hello_packets(hello_line(hello), number)
        else:
            packets.append(make_packet(kind, number, payload))
    return packets


def with_scale_for_16_bits(hello: Hello, recording: Recording) -> Hello:
    """Give the hello with a scale by which all readings fit into packets."""
    largest = float(np.abs(recording.samples).max())
    if recording.sensor.resolution is None:
        return replace(hello, scale=max(largest, 1e-9) / _FULL_COUNT, full_scale=None)
    if largest > _MOST_COUNT * hello.scale:
        raise InputError(
            f"readings up to {largest:.0f} m/s^2 do not fit into 16 bits", todo="write the text form"
        )
    return hello


def _sample_payloads(
    recording: Recording, segment: _Segment, index: Integers, hello: Hello, start_tick: int
) -> tuple[Integers, list[bytes]]:
    """Cut the samples into blocks without a jump in the index; give the last sample of each, and payloads."""
    counts = np.rint(recording.samples[:, segment.samples] / hello.scale).astype(np.int16)
    ticks = _ticks(recording.times[segment.samples], hello, start_tick)
    longest = min(BLOCK_SAMPLES, (LONGEST - 14) // (2 * counts.shape[0]))
    starts: list[int] = []
    for run in np.split(np.arange(index.size), np.flatnonzero(np.diff(index) > 1) + 1):
        starts += run[::longest].tolist()
    stops = [*starts[1:], index.size]
    payloads = [
        sample_payload(int(index[a]), ticks[b - 1], 0, counts[:, a:b])
        for a, b in zip(starts, stops, strict=True)
    ]
    return np.array(stops) - 1, payloads


def _protected(records: list[str], check: str) -> list[str]:
    return [record + line_check(check, record.encode()) for record in records]


def _ticks(times: Floats, hello: Hello, start_tick: int) -> list[int]:
    ticks = np.rint(times * hello.tick_hz).astype(np.int64) + start_tick
    rolled: list[int] = (ticks & ((1 << hello.tick_bits) - 1)).tolist()
    return rolled


def _sample_records(
    recording: Recording, segment: _Segment, index: Integers, hello: Hello, start_tick: int
) -> list[str]:
    samples, ticks = (
        recording.samples[:, segment.samples],
        _ticks(recording.times[segment.samples], hello, start_tick),
    )
    heads = [f"a,{n},{t}" for n, t in zip((index & 0xFFFFFFFF).tolist(), ticks, strict=True)]
    if recording.sensor.resolution:
        counts = np.rint(samples / hello.scale).astype(np.int64).T.tolist()
    else:
        # steps of 1e-6, without zeros that say nothing
        counts = (np.rint(samples / _FINEST_COUNT) * _FINEST_COUNT).round(6).T.tolist()
        counts = [[_plain(value) for value in row] for row in counts]
    return [",".join((head, *map(str, row))) for head, row in zip(heads, counts, strict=True)]


def _plain(value: float) -> str:
    """Write a number without an exponent, as small boards print it."""
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _mark_records(marks: Floats, hello: Hello, start_tick: int) -> list[str]:
    return [f"m,{m & 0xFFFFFFFF},{t}" for m, t in enumerate(_ticks(marks, hello, start_tick))]


def _status_rows(course: _Course, index: Integers, hello: Hello, start_tick: int) -> list[tuple[int, ...]]:
    """Say once a second how far the counters are; what was lost before is not known any more."""
    last = np.clip(np.searchsorted(course.times, course.beats, side="right") - 1, 0, None)
    counted = np.searchsorted(course.marks, course.beats, side="right")
    ticks = _ticks(course.beats, hello, start_tick)
    return [
        (t, n & 0xFFFFFFFF, m, 0, 0, 0)
        for t, n, m in zip(ticks, index[last].tolist(), counted.tolist(), strict=True)
    ]
