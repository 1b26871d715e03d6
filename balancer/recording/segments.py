"""From records to samples on one clock: restarts, lost and late lines, gaps, and the times of the marks."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from balancer.recording.blocks import FAULT, OVERRUN, Block, lines_between, samples_kept
from balancer.recording.clock import (
    SampleClock,
    fit_sample_clock,
    nearest_turn,
    typical_period,
    unwrap_counter,
    unwrap_ticks,
)
from balancer.recording.hello import Hello
from balancer.recording.model import Gap

Integers = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

INDEX_BITS = 32
LATE_LINES = 256
"""A line whose index falls by no more than this came late; a deeper fall means that the device began anew."""

FAR = 1 << 24
"""An index that jumps this far ahead means that the device began anew."""


@dataclass(frozen=True, eq=False)
class Segment:
    """The records between two restarts of the device.

    Parameters
    ----------
    times : array, shape (n,)
        Of the samples in s; the first is 0.
    samples : array, shape (axes, n)
        In m/s^2.
    marks : array, shape (m,)
        Times of the marks in s, rising; those before the first sample are negative.
    gaps : tuple of Gap
        Where samples are missing, in s.
    rate : float
        Measured sample rate in Hz.
    counted : Counter of str
        How often what was noticed; the keys are those that `stream_findings` reads.
    """

    times: Floats
    samples: Floats
    marks: Floats
    gaps: tuple[Gap, ...]
    rate: float
    counted: Counter[str]


def cut_at_restarts(block: Block) -> tuple[list[Block], int]:
    """Cut records where the counters began anew.

    Parameters
    ----------
    block : Block
        Records read with one hello.

    Returns
    -------
    blocks : list of Block
        One for each run of the counters; those without a sample are left out.
    implausible : int
        Samples dropped because their index stands alone, far from both neighbours: in a file without
        check such a number is a damaged one.
    """
    index = unwrap_counter(block.index, INDEX_BITS)
    steps = np.diff(index)
    if steps.size == 0 or (steps.min() > 0 and steps.max() < FAR):
        return ([block] if block.index.size else []), 0
    alone = _stand_alone(index)
    if alone.any():
        blocks, more = cut_at_restarts(samples_kept(block, ~alone))
        return blocks, more + int(alone.sum())
    hellos = np.array([line for line, text in block.comments if b"{" in text], np.int64)
    told = np.diff(np.searchsorted(hellos, block.sample_lines)) > 0
    restarts = np.flatnonzero((steps < -LATE_LINES) | (steps >= FAR) | (told & (steps <= 0)))
    cuts = [_first_line_of_restart(block, int(before), hellos) for before in restarts]
    edges = [0, *cuts, block.lines]
    blocks = [lines_between(block, a, b) for a, b in pairwise(edges)]
    return [part for part in blocks if part.index.size], 0


def goes_on(before: Block, after: Block) -> bool:
    """Tell whether the sample counter goes on from one block to the next without a restart.

    Parameters
    ----------
    before, after : Block
        The records before and after a header line.

    Returns
    -------
    bool
        True if both hold samples and the index of `after` follows on.
    """
    if not before.index.size or not after.index.size:
        return False
    step = nearest_turn(after.index[:1] - before.index[-1], INDEX_BITS)
    return bool(0 < step[0] <= LATE_LINES)


def build_segment(block: Block, hello: Hello) -> Segment:
    """Put the records of one run of the counters on a clock of their own.

    Parameters
    ----------
    block : Block
        One or more samples, and what came with them; `counts` is taken over and changed in place.
    hello : Hello
        What the records mean.

    Returns
    -------
    Segment
        Samples, marks, gaps and what was noticed.
    """
    counted: Counter[str] = Counter()
    sent = unwrap_counter(block.index, INDEX_BITS)
    index, order = _put_in_order(sent, counted)
    raw, counts, stamped = block.tick, block.counts, block.stamped
    if order is not None:
        counts = np.ascontiguousarray(counts[:, order])
        raw, stamped = _stamps_in_order(block, sent, order)
    at = index if stamped is None else index[stamped]
    period = typical_period(raw, at, hello.tick_bits)
    tick = unwrap_ticks(raw, at, hello.tick_bits, period)
    clock = fit_sample_clock(index, tick, hello.tick_hz, stamped, hello.tick_hz / hello.rate_hz)
    counted["stamps_off"] = clock.stamps_off
    counted["unsteady_us"] = _unsteadiness(clock, hello)
    # each mark is stamped within half a turn of the clock of the sample that was sent before it
    sample_before = np.clip(np.searchsorted(block.sample_lines, block.mark_lines) - 1, 0, None)
    near = tick[np.clip(np.searchsorted(at, sent[sample_before]), 0, tick.size - 1)]
    marks = _mark_times(block, near, tick[0] + clock.times[0], hello)
    counted["marks_lost"] = _lost_marks(block)
    times = clock.times - clock.times[0]
    times /= hello.tick_hz
    gaps = _gaps(index, times, clock, counted)
    gaps += _flagged_gaps(block, times, gaps, counted)
    gaps += _overrun_gaps(block, times, gaps, hello, counted)
    counts *= hello.factor
    times, counts = _rising_only(times, counts, counted)
    ordered = tuple(sorted(gaps, key=lambda gap: gap.start))
    return Segment(times, counts, marks, ordered, hello.tick_hz / clock.period, counted)


def _stand_alone(index: Integers) -> npt.NDArray[np.bool_]:
    """Find samples far from both neighbours, which follow each other."""
    alone = np.zeros(index.size, bool)
    steps = np.diff(index)
    far = (steps < -LATE_LINES) | (steps > LATE_LINES)
    across = index[2:] - index[:-2]
    alone[1:-1] = far[:-1] & far[1:] & (across > 0) & (across <= LATE_LINES)
    return alone


def _first_line_of_restart(block: Block, before: int, hellos: Integers) -> int:
    """Find the line where the new run begins: a hello or the first mark that counts anew, else the sample."""
    last, first = block.sample_lines[before], block.sample_lines[before + 1]
    fell = 1 + np.flatnonzero(np.diff(block.mark_index) <= 0)
    signs = np.concatenate((hellos, block.mark_lines[fell], [first]))
    return int(signs[(signs > last) & (signs <= first)].min())


def _put_in_order(index: Integers, counted: Counter[str]) -> tuple[Integers, Integers | None]:
    """Sort late lines into their place and leave out repeated ones."""
    steps = np.diff(index)
    if steps.size == 0 or steps.min() > 0:
        return index, None
    ordered, order = np.unique(index, return_index=True)
    late = index < np.maximum.accumulate(index)
    counted["late"] = int(late[order].sum())
    counted["repeated"] = index.size - ordered.size
    return ordered, order


def _stamps_in_order(block: Block, sent: Integers, order: Integers) -> tuple[Integers, Integers | None]:
    """Give the stamps, and to which samples they belong, after the samples were put in order."""
    if block.stamped is None:
        return block.tick[order], None
    places, first = np.unique(sent[block.stamped], return_index=True)
    return block.tick[first], np.searchsorted(sent[order], places)


def _unsteadiness(clock: SampleClock, hello: Hello) -> int:
    """Give the scatter of the stamps in us if it is more than half a sample, else 0."""
    return round(clock.scatter / hello.tick_hz * 1e6) if clock.scatter > clock.period / 2 else 0


def _mark_times(block: Block, near: Integers, origin: float, hello: Hello) -> Floats:
    """Give the times of the marks in s from `origin` (ticks), each stamp nearest to the one in `near`."""
    tick = near + nearest_turn(block.mark_tick - near, hello.tick_bits)
    _, first = np.unique(unwrap_counter(block.mark_index, block.counter_bits), return_index=True)
    seconds: Floats = (np.sort(tick[first]) - origin) / hello.tick_hz
    return seconds


def _lost_marks(block: Block) -> int:
    steps = np.diff(np.unique(unwrap_counter(block.mark_index, block.counter_bits)))
    return int((steps[steps < FAR] - 1).sum())


def _gaps(index: Integers, times: Floats, clock: SampleClock, counted: Counter[str]) -> list[Gap]:
    """List the gaps that the index and the clock show."""
    lost = np.diff(index) - 1
    lost[clock.breaks - 1] += np.rint(clock.slips).astype(np.int64)
    places = np.flatnonzero(lost > 0)
    skipped = index[places + 1] - index[places] > 1
    for reason, of_this in (("index", skipped), ("silent", ~skipped)):
        counted[f"gaps_{reason}"] = int(of_this.sum())
        counted[f"lost_{reason}"] = int(lost[places[of_this]].sum())
    return [
        Gap(float(times[place]), float(times[place + 1]), int(lost[place]), "index" if by_index else "silent")
        for place, by_index in zip(places.tolist(), skipped.tolist(), strict=True)
    ]


def _flagged_gaps(block: Block, times: Floats, known: list[Gap], counted: Counter[str]) -> list[Gap]:
    """List the gaps that only flags and sequence numbers of packets show."""
    overruns = block.flag_lines[(block.flags & OVERRUN) > 0]
    counted["overruns"] = overruns.size
    counted["faults"] = int(((block.flags & FAULT) > 0).sum())
    missing = packets_missing(block.sequence)
    counted["packets_missing"] = int(missing.sum())
    after = block.sequence_lines[1:][missing > 0]
    gaps: list[Gap] = []
    for lines, reason, lost in ((overruns, "overrun", -1), (after, "packet", 0)):
        places = np.unique(np.searchsorted(block.sample_lines, lines))
        places = places[(places > 0) & (places < times.size)]
        starts, ends = np.array([(gap.start, gap.end) for gap in (*known, *gaps)]).reshape(-1, 2).T
        for start, stop in zip(times[places - 1].tolist(), times[places].tolist(), strict=True):
            if not np.any((starts < stop) & (ends > start)):
                gaps.append(Gap(start, stop, lost, reason))
    return gaps


def packets_missing(sequence: Integers) -> Integers:
    """Count the packets that are missing before each but the first, from their sequence numbers.

    Parameters
    ----------
    sequence : array of int64, shape (p,)
        Sequence numbers, 0 to 255, in the order of arrival.

    Returns
    -------
    array of int64, shape (max(p - 1, 0),)
        How many are missing; 0 where a packet came late or twice. More than 127 in a row cannot be told from
        that: the sample index shows them.
    """
    missing = (np.diff(sequence) & 0xFF) - 1
    return np.where((missing >= 0) & (missing < 128), missing, 0)


def _overrun_gaps(
    block: Block, times: Floats, known: list[Gap], hello: Hello, counted: Counter[str]
) -> list[Gap]:
    """Read the status counters; list the stretches in which the sensor overran and no gap is known."""
    if not block.status.size:
        return []
    status, places = block.status, np.searchsorted(block.sample_lines, block.status_lines)
    if block.index[0] < 2 * hello.rate_hz:
        # the device began to count just before the recording: its counters began with nothing
        status, places = np.vstack((np.zeros_like(status[:1]), status)), np.concatenate(([0], places))
    growth = np.diff(status[:, 3:], axis=0)
    # the short counters of packets roll over, which those of lines never do
    growth = growth & 0xFFFF if block.counter_bits == 16 else np.maximum(growth, 0)
    for name, total in zip(
        ("overruns", "records_lost", "marks_lost_on_board"), growth.sum(axis=0), strict=True
    ):
        counted[name] = max(int(total), counted[name])
    gaps = []
    for k in np.flatnonzero(growth[:, 0]):
        start, stop = (float(times[np.clip(places[j], 0, times.size - 1)]) for j in (k, k + 1))
        if not any(gap.start <= stop and gap.end >= start for gap in known):
            gaps.append(Gap(start, stop, -1, "status"))
    return gaps


def _rising_only(times: Floats, samples: Floats, counted: Counter[str]) -> tuple[Floats, Floats]:
    """Leave out samples that do not come after all before: nonsense stamps that nothing could mend."""
    if times.size < 2 or np.diff(times).min() > 0:
        return times, samples
    latest = np.maximum.accumulate(times)
    kept = np.concatenate(([True], times[1:] > latest[:-1]))
    counted["out_of_time"] = int(kept.size - kept.sum())
    return times[kept], np.ascontiguousarray(samples[:, kept])
