"""From the records of a stream, text or binary, to one recording: restarts, clocks, and what was noticed."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np

from balancer.errors import InputError
from balancer.findings import Finding
from balancer.recording.blocks import Block, join_blocks
from balancer.recording.hello import Hello
from balancer.recording.model import Channel, Gap, Recording, SensorFacts
from balancer.recording.segments import Segment, build_segment, cut_at_restarts, goes_on
from balancer.recording.stream_findings import sample_findings

PAUSE = 1.0
"""Seconds put between two segments: how long a restart really took is not known."""


def check_same_axes(hellos: list[Hello], name: str) -> None:
    """Refuse a file whose channels or marks change on the way.

    Parameters
    ----------
    hellos : list of Hello
        All that it holds.
    name : str
        Its name, for the message.

    Raises
    ------
    InputError
        If they differ in axes or marks a turn.
    """
    if len({(hello.axes, hello.marks_per_rev) for hello in hellos}) > 1:
        raise InputError(
            "axes or marks_per_rev change in mid-file", todo="cut the file in two at that header", file=name
        )


def assemble(
    runs: list[tuple[Hello, Block]], counted: Counter[str], findings: list[Finding], name: str
) -> Recording:
    """Make a recording of records.

    Parameters
    ----------
    runs : list of (Hello, Block)
        The records under each `sid`, two samples or more in all; the list is emptied to save memory.
    counted : Counter of str
        How often what was noticed so far.
    findings : list of Finding
        What was noticed about header and lines.
    name : str
        Of the file.

    Returns
    -------
    Recording
        Samples in m/s^2; the first one is at 0 s.
    """
    first = runs[0][0]
    whole_counts = not any(block.decimals for _, block in runs)
    segments = _segments(runs, counted)
    longest = max(segments, key=lambda segment: segment.times.size)
    samples = sum(segment.times.size for segment in segments)
    findings = findings + sample_findings(counted, samples, longest.rate, first)
    recording = _join(segments, first, name, tuple(findings))
    if whole_counts:
        return recording
    return replace(recording, sensor=replace(recording.sensor, resolution=None))


def sensor_facts(hello: Hello) -> SensorFacts:
    """Say what a hello tells of the sensor, in SI."""
    one_count = abs(hello.factor)
    return SensorFacts(
        name=hello.sensor,
        board=hello.board,
        full_scale=None if hello.full_scale is None else hello.full_scale * one_count,
        resolution=one_count,
        lowpass=hello.lowpass_hz,
        nominal_rate=hello.rate_hz,
        mark_edge=hello.mark_edge,
        check=hello.check,
    )


def _segments(runs: list[tuple[Hello, Block]], counted: Counter[str]) -> list[Segment]:
    """Put the records of each run of the counters on a clock; count what was noticed."""
    joined: list[tuple[Hello, Block]] = []
    for hello, block in runs:
        if joined and joined[-1][0].check == hello.check and goes_on(joined[-1][1], block):
            # the counters did not restart: only the header line was damaged
            counted["headers_damaged"] += 1
            joined[-1] = (joined[-1][0], join_blocks([joined[-1][1], block]))
        else:
            joined.append((hello, block))
    runs.clear()
    segments = []
    for hello, block in joined:
        parts, implausible = cut_at_restarts(block)
        counted["implausible"] += implausible
        segments += [build_segment(part, hello) for part in parts]
    for segment in segments:
        counted.update(segment.counted)
    counted["restarts"] = len(segments) - 1
    return segments


def _join(segments: list[Segment], hello: Hello, name: str, findings: tuple[Finding, ...]) -> Recording:
    """Put the segments one after the other, a pause between them."""
    whole = segments[0]
    starts: list[int] = []
    for part in segments[1:]:
        starts.append(whole.times.size)
        whole = _append(whole, part)
    return Recording(
        whole.times,
        whole.samples,
        tuple(Channel(axis, "m/s^2") for axis in hello.axes),
        marks=whole.marks if whole.marks.size else None,
        marks_per_rev=hello.marks_per_rev,
        sensor=sensor_facts(hello),
        gaps=whole.gaps,
        segment_starts=tuple(starts),
        source=name,
        findings=findings,
    )


def _append(whole: Segment, part: Segment) -> Segment:
    end = max(whole.times[-1:].tolist() + whole.marks[-1:].tolist())
    shift = end + PAUSE - min(part.times[:1].tolist() + part.marks[:1].tolist())
    pause = Gap(float(whole.times[-1]), float(part.times[0] + shift), -1, "restart")
    later = tuple(replace(gap, start=gap.start + shift, end=gap.end + shift) for gap in part.gaps)
    return replace(
        whole,
        times=np.concatenate((whole.times, part.times + shift)),
        samples=np.concatenate((whole.samples, part.samples), axis=1),
        marks=np.concatenate((whole.marks, part.marks + shift)),
        gaps=(*whole.gaps, pause, *later),
    )
