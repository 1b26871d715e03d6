"""One run of a device's counters while it comes: sample times, mark times and gaps."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from balancer.live.clock import Placed, RunningClock
from balancer.recording.blocks import FAULT, OVERRUN, Block
from balancer.recording.clock import nearest_turn
from balancer.recording.hello import Hello
from balancer.recording.model import Gap
from balancer.recording.segments import INDEX_BITS, packets_missing

Integers = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class DecodedBlock:
    """Samples and marks that came next.

    Parameters
    ----------
    segment : int
        Counts the runs of the device's counters; times of different ones are not related.
    hello : Hello
        What the device said of itself in this segment.
    times : array, shape (n,)
        Of the samples in s from the first of the segment, rising.
    samples : array, shape (axes, n)
        In m/s^2.
    marks : array, shape (m,)
        Times of the marks on the same clock, rising from block to block. A mark comes with or after the
        sample before it.
    gaps : tuple of Gap
        Gaps that end in this block.
    """

    segment: int
    hello: Hello
    times: Floats
    samples: Floats
    marks: Floats
    gaps: tuple[Gap, ...]


@dataclass(frozen=True)
class _Told:
    """A gap that the device tells of: it lies between two sample indices."""

    after: int
    before: int
    reason: str
    lost: int


class LiveSegment:
    """Puts the records of one segment on its clock.

    Parameters
    ----------
    number : int
        Of the segment.
    hello : Hello
        What the records mean.
    first : int
        Index of the first sample, as sent.
    counted : Counter of str
        Takes what is noticed.
    """

    def __init__(self, number: int, hello: Hello, first: int, counted: Counter[str]) -> None:
        self._number, self._hello, self._counted = number, hello, counted
        self.last_index = first - 1
        self._first = first
        self._clock = RunningClock(hello.tick_hz, hello.tick_bits, hello.rate_hz)
        self._counts = np.zeros((len(hello.axes), 0))
        self._origin: float | None = None
        self._marks: list[tuple[int, int]] = []  # index of the sample before, tick: those without a time yet
        self.last_mark: int | None = None
        self._last_mark_time = -np.inf
        self._told: list[_Told] = []
        self._last_placed: tuple[int, float] | None = None
        self._last_gap_end = first - 1
        self._sequence: int | None = None
        # counters of a device that began to count just now began with nothing
        self._status: Integers | None = np.zeros(3, np.int64) if first < 2 * hello.rate_hz else None
        self._status_index = first

    @property
    def rate(self) -> float:
        """Measured sample rate in Hz, 0 while it is unknown."""
        return self._clock.rate

    def add(self, block: Block) -> DecodedBlock | None:
        """Take records whose samples are all new and in order; give what is complete now.

        Parameters
        ----------
        block : Block
            The records.

        Returns
        -------
        DecodedBlock or None
            None when there is nothing yet.
        """
        index = self.last_index + np.cumsum(
            nearest_turn(np.diff(block.index, prepend=self.last_index), INDEX_BITS)
        )
        self._take_marks(block, index)
        self._take_status(block, index)
        self._take_flags(block, index)
        if index.size:
            self.last_index = int(index[-1])
        self._counts = np.concatenate((self._counts, block.counts), axis=1)
        return self._emit(self._clock.add(index, block.stamped, block.tick))

    def close(self) -> DecodedBlock | None:
        """Give what was held back."""
        none = np.zeros(0, np.int64)
        return self._emit(self._clock.add(none, none, none, last=True))

    def _index_before(self, block: Block, index: Integers, lines: Integers) -> Integers:
        """Give the index of the sample that stands before each line."""
        known = np.concatenate(([self.last_index], index))
        return np.asarray(known[np.searchsorted(block.sample_lines, lines)])

    def _index_after(self, block: Block, index: Integers, lines: Integers) -> Integers:
        """Give the index of the sample that stands at or after each line."""
        known = np.append(index, (index[-1] if index.size else self.last_index) + 1)
        return np.asarray(known[np.searchsorted(block.sample_lines, lines)])

    def _take_marks(self, block: Block, index: Integers) -> None:
        before = self._index_before(block, index, block.mark_lines)
        for number, tick, place in zip(
            block.mark_index.tolist(), block.mark_tick.tolist(), before.tolist(), strict=True
        ):
            step = 1
            if self.last_mark is not None:
                half = 1 << (block.counter_bits - 1)
                step = (number - self.last_mark + half) % (2 * half) - half
            if step <= 0:
                self._counted["late"] += 1
                continue
            self._counted["marks_lost"] += step - 1
            self.last_mark = number
            self._marks.append((place, tick))

    def _take_status(self, block: Block, index: Integers) -> None:
        before = self._index_before(block, index, block.status_lines)
        for row, place in zip(block.status[:, 3:], before.tolist(), strict=True):
            if self._status is not None:
                growth = row - self._status
                growth = growth & 0xFFFF if block.counter_bits == 16 else np.maximum(growth, 0)
                for name, more in zip(
                    ("overruns", "records_lost", "marks_lost_on_board"), growth.tolist(), strict=True
                ):
                    self._counted[name] += more
                if growth[0]:
                    self._told.append(_Told(self._status_index, place, "status", -1))
            self._status, self._status_index = row, place

    def _take_flags(self, block: Block, index: Integers) -> None:
        self._counted["faults"] += int(((block.flags & FAULT) > 0).sum())
        overruns = block.flag_lines[(block.flags & OVERRUN) > 0]
        before = self._index_before(block, index, overruns)
        after = self._index_after(block, index, overruns)
        self._told += [
            _Told(*ends, "overrun", -1) for ends in zip(before.tolist(), after.tolist(), strict=True)
        ]
        if not block.sequence.size:
            return
        known = [] if self._sequence is None else [self._sequence]
        sequence = np.concatenate((np.array(known, np.int64), block.sequence))
        self._sequence = int(block.sequence[-1])
        lines = block.sequence_lines[-(sequence.size - 1) :] if sequence.size > 1 else np.zeros(0, np.int64)
        holes = lines[packets_missing(sequence) > 0]
        before = self._index_before(block, index, holes)
        after = self._index_after(block, index, holes)
        self._told += [
            _Told(*ends, "packet", 0) for ends in zip(before.tolist(), after.tolist(), strict=True)
        ]

    def _emit(self, placed: Placed) -> DecodedBlock | None:
        if self._origin is None:
            if not placed.index.size:
                return None
            self._origin = float(placed.ticks[0])
        times = (placed.ticks - self._origin) / self._hello.tick_hz
        samples = self._counts[:, : times.size] * self._hello.factor
        self._counts = self._counts[:, times.size :]
        gaps = self._gaps(placed, times)
        if times.size:
            self._last_placed = (int(placed.index[-1]), float(times[-1]))
        times, samples = self._rising_only(times, samples)
        marks = self._mark_times()
        self._counted["samples"] += times.size
        self._counted["marks"] += marks.size
        self._counted["gaps"] += len(gaps)
        self._counted["lost"] += sum(gap.lost for gap in gaps if gap.lost > 0)
        self._counted["stamps_off"] += self._clock.stamps_off
        self._clock.stamps_off = 0
        if not (times.size or marks.size):
            return None
        return DecodedBlock(self._number, self._hello, times, samples, marks, gaps)

    def _mark_times(self) -> Floats:
        """Give the times of the marks whose preceding sample has its time."""
        assert self._origin is not None
        reached = self._last_placed[0] if self._last_placed else -1
        ready = [mark for mark in self._marks if mark[0] <= max(reached, self._first)]
        self._marks = self._marks[len(ready) :]
        if not ready:
            return np.zeros(0)
        place, tick = np.array(ready, np.int64).T
        near = self._clock.height(place)
        turn = 1 << self._hello.tick_bits
        times = (tick + np.rint((near - tick) / turn) * turn - self._origin) / self._hello.tick_hz
        latest = np.maximum.accumulate(np.concatenate(([self._last_mark_time], times[:-1])))
        times = times[times > latest]
        if times.size:
            self._last_mark_time = float(times[-1])
        return np.asarray(times)

    def _gaps(self, placed: Placed, times: Floats) -> tuple[Gap, ...]:
        """List the gaps before these samples: by index and clock first, then those only told of."""
        if not times.size:
            return ()
        at, when = placed.index, times
        lost = np.rint(placed.slips).astype(np.int64)
        if self._last_placed is not None:
            at, when = np.append(self._last_placed[0], at), np.append(self._last_placed[1], when)
        else:
            lost = lost[1:]
        skipped = np.diff(at) - 1
        lost = lost + skipped
        gaps = []
        for k in np.flatnonzero(lost > 0).tolist():
            reason = "index" if skipped[k] > 0 else "silent"
            gaps.append(Gap(float(when[k]), float(when[k + 1]), int(lost[k]), reason))
            self._counted[f"gaps_{reason}"] += 1
            self._counted[f"lost_{reason}"] += int(lost[k])
        ends = at[1:][lost > 0]
        ready = [told for told in self._told if told.before <= at[-1]]
        self._told = [told for told in self._told if told.before > at[-1]]
        for told in ready:
            if self._last_gap_end > told.after or np.any((ends > told.after) & (ends <= told.before)):
                continue
            start, stop = np.searchsorted(at, (told.after, told.before))
            if stop > 0:
                gaps.append(Gap(float(when[start]), float(when[stop]), told.lost, told.reason))
        if ends.size:
            self._last_gap_end = int(ends[-1])
        return tuple(sorted(gaps, key=lambda gap: gap.start))

    def _rising_only(self, times: Floats, samples: Floats) -> tuple[Floats, Floats]:
        """Leave out samples whose time does not rise: nonsense stamps that nothing could mend."""
        if not times.size or np.all(np.diff(times) > 0):
            return times, samples
        latest = np.maximum.accumulate(times)
        kept = np.concatenate(([True], times[1:] > latest[:-1]))
        self._counted["out_of_time"] += int(kept.size - kept.sum())
        return times[kept], samples[:, kept]
