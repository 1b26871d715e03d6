"""Counters and clocks: roll-over undone, and the true time of each sample from a line through its stamps."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.linalg import solveh_banded

Integers = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

KNOT_EVERY = 5.0
"""Seconds between the knots of the line through the stamps: the oscillator of a sensor drifts more slowly."""

_WINDOW = 16
_SHORT_RUN = 4
_GAP_TOLERANCE = 0.01


@dataclass(frozen=True, eq=False)
class SampleClock:
    """When the samples were taken, in ticks.

    Parameters
    ----------
    times : array, shape (n,)
        Ticks from the first stamp on, on the line through the stamps.
    period : float
        Typical ticks from sample to sample.
    breaks : array of int64, shape (k,)
        Samples before which time and index part ways for good; the line begins anew there.
    slips : array, shape (k,)
        By how many sample periods time runs ahead of the index at each break.
    stamps_off : int
        Single stamps more than half a period off, which were put where their neighbours say.
    scatter : float
        Root mean square of stamps against line, in ticks.
    """

    times: Floats
    period: float
    breaks: Integers
    slips: Floats
    stamps_off: int
    scatter: float


def unwrap_counter(raw: Integers, bits: int) -> Integers:
    """Undo the roll-over of a counter: each value is taken nearest to the one before.

    Parameters
    ----------
    raw : array of int64, shape (n,)
        Values from 0 to 2**bits - 1.
    bits : int
        Width of the counter.

    Returns
    -------
    array of int64, shape (n,)
        The same without roll-over, beginning with ``raw[0]``.

    Examples
    --------
    >>> unwrap_counter(np.array([254, 255, 0, 3, 2]), 8)
    array([254, 255, 256, 259, 258])
    """
    steps = np.diff(raw)
    if steps.size == 0 or (steps.min() > 0 and steps.max() < 1 << (bits - 1)):
        return raw
    return np.concatenate(([raw[0]], raw[0] + np.cumsum(nearest_turn(steps, bits))))


def nearest_turn(steps: Integers, bits: int) -> Integers:
    """Reduce differences of a counter to -2**(bits-1) .. 2**(bits-1)-1."""
    half = 1 << (bits - 1)
    return ((steps + half) & ((1 << bits) - 1)) - half


def unwrap_ticks(raw: Integers, index: Integers, bits: int, period: float) -> Integers:
    """Undo the roll-over of time stamps, over long pauses too, with the help of the sample index.

    Parameters
    ----------
    raw : array of int64, shape (n,)
        Stamps from 0 to 2**bits - 1.
    index : array of int64, shape (n,)
        Sample index, rising.
    bits : int
        Width of the tick counter.
    period : float
        Expected ticks from sample to sample.

    Returns
    -------
    array of int64, shape (n,)
        Stamps without roll-over, beginning with ``raw[0]``.
    """
    steps, turn = np.diff(raw), 1 << bits
    skipped = np.diff(index)
    if steps.size == 0 or (steps.min() > 0 and skipped.max() * period < turn / 4):
        return raw
    missing = skipped * period
    missing -= steps
    missing /= turn
    np.rint(missing, out=missing)
    unwrapped = np.empty_like(raw)
    unwrapped[0] = raw[0]
    np.copyto(unwrapped[1:], missing, casting="unsafe")
    unwrapped[1:] *= turn
    unwrapped[1:] += steps
    return np.cumsum(unwrapped, out=unwrapped)


def typical_period(raw: Integers, index: Integers, bits: int) -> float:
    """Estimate the ticks from sample to sample; the stamps may still roll over.

    Parameters
    ----------
    raw, index : array of int64, shape (n,)
        Stamps, and the index without roll-over, rising.
    bits : int
        Width of the tick counter.

    Returns
    -------
    float
        The median over up to 1,000 neighbours; 1.0 for a single sample.
    """
    if raw.size < 2:
        return 1.0
    every = 1 + raw.size // 1000
    steps = (raw[1::every] - raw[:-1:every]) & ((1 << bits) - 1)
    return float(max(np.median(steps / (index[1::every] - index[:-1:every])), 1e-9))


def fit_sample_clock(
    index: Integers, tick: Integers, tick_hz: float, stamped: Integers | None = None, nominal: float = 1.0
) -> SampleClock:
    """Place each sample on a line through the stamps, so that their jitter averages out.

    The line is piecewise straight in the sample index, joined continuously about every `KNOT_EVERY` seconds,
    by least squares. Where time steps against the index and stays there (samples lost in silence), it is
    broken off and begun anew.

    Parameters
    ----------
    index : array of int64, shape (n,)
        Sample index, rising, without roll-over; n is 1 or more.
    tick : array of int64, shape (s,)
        Stamps without roll-over, one or more.
    tick_hz : float
        Ticks in a second.
    stamped : array of int64, shape (s,), optional
        The samples to which the stamps belong, rising; left out when each sample has its own.
    nominal : float, optional
        Expected ticks from sample to sample, used when there is but one stamp.

    Returns
    -------
    SampleClock
        The times and what was noticed.
    """
    if stamped is not None:
        return _spread(fit_sample_clock(index[stamped], tick, tick_hz), index, stamped, nominal)
    stamps = (tick - tick[0]).astype(np.float64)
    period = _precise_period(index, stamps)
    breaks, slips, off = _steps_against_index(index, stamps, period)
    knot_every = KNOT_EVERY * tick_hz / period
    times = np.empty_like(stamps)
    for start, stop in zip([0, *breaks], [*breaks, stamps.size], strict=True):
        times[start:stop] = _broken_line(index[start:stop], stamps[start:stop], knot_every)
    stamps -= times
    scatter = (_sum_of_products(stamps, stamps) / stamps.size) ** 0.5
    return SampleClock(times, period, breaks, slips, off, scatter)


def _spread(clock: SampleClock, index: Integers, stamped: Integers, nominal: float) -> SampleClock:
    """Place the samples without a stamp on the line through the stamps of the others.

    What was lost in silence between two stamps is taken to be lost right behind the first.
    """
    period = clock.period if stamped.size > 1 else nominal
    breaks = stamped[clock.breaks - 1] + 1
    times = np.empty(index.size)
    starts, stops = [0, *breaks.tolist()], [*breaks.tolist(), index.size]
    firsts, lasts = [0, *clock.breaks.tolist()], [*clock.breaks.tolist(), stamped.size]
    for start, stop, first, last in zip(starts, stops, firsts, lasts, strict=True):
        times[start:stop] = _read_line(
            index[start:stop], index[stamped[first:last]], clock.times[first:last], period
        )
    return replace(clock, times=times, period=period, breaks=breaks)


def _read_line(index: Integers, places: Integers, heights: Floats, period: float) -> Floats:
    """Read a line of straight pieces, given at some places, at each index; it goes on beyond its ends."""
    line = np.interp(index, places, heights)
    for end, step in ((0, 1), (-1, -2)):
        outside = index < places[0] if end == 0 else index > places[-1]
        slope = period
        if places.size > 1:
            slope = (heights[step] - heights[end]) / (places[step] - places[end])
        line[outside] = heights[end] + slope * (index[outside] - places[end])
    return line


def _precise_period(index: Integers, stamps: Floats) -> float:
    """Give the median slope between up to 101 places along the recording."""
    if stamps.size < 2:
        return 1.0
    places = np.unique(np.linspace(0, stamps.size - 1, min(stamps.size, 102)).astype(np.int64))
    slope = float(np.median(np.diff(stamps[places]) / np.diff(index[places])))
    return max(slope, 1e-9)


def _steps_against_index(index: Integers, stamps: Floats, period: float) -> tuple[Integers, Floats, int]:
    """Find where time steps against the index: for good (a break), or for a moment (stamps that are off).

    Stamps that are off are put where their neighbours say, and counted.
    """
    level = index * -period
    level += stamps
    slip = np.diff(level)
    if max(slip.max(initial=0.0), -slip.min(initial=0.0)) <= period / 2:
        return np.zeros(0, np.int64), np.zeros(0), 0
    # a long gap cannot be foretold better than the rate is known
    limit = period * (0.5 + _GAP_TOLERANCE * (np.diff(index) - 1))
    suspects = np.flatnonzero(np.abs(slip) > limit)
    breaks: list[int] = []
    slips: list[float] = []
    stamps_off = 0
    if not 0 < suspects.size <= max(_WINDOW, stamps.size // 8):
        # all is well, or so many stamps are late that none of them tells a loss from a delay
        return np.zeros(0, np.int64), np.zeros(0), 0
    runs = np.split(level, suspects + 1)
    starts = [0, *(suspects + 1).tolist()]
    first = next((run for run in runs if len(run) >= _SHORT_RUN), runs[0])
    now = float(np.median(first[:_WINDOW]))
    for k, (run, start) in enumerate(zip(runs, starts, strict=True)):
        bound = limit[start - 1] if start else limit[suspects[0]]
        step = float(np.median(run[:_WINDOW])) - now
        if abs(step) > bound and _returns(runs[k : k + 2], now, bound):
            stamps[start : start + len(run)] = index[start : start + len(run)] * period + now
            stamps_off += len(run)
            continue
        if abs(step) > bound:
            breaks.append(start)
            slips.append(step / period)
        now = float(np.median(run[-_WINDOW:]))
    return np.array(breaks, np.int64), np.array(slips), stamps_off


def _returns(runs: list[Floats], level: float, bound: float) -> bool:
    """Tell whether the first run is a short excursion: the next is at the level again, or there is none."""
    if len(runs[0]) >= _SHORT_RUN:
        return False
    return len(runs) == 1 or abs(float(np.median(runs[1][:_WINDOW])) - level) <= bound


def _broken_line(index: Integers, stamps: Floats, knot_every: float) -> Floats:
    """Fit a continuous line of straight pieces, knots `knot_every` apart, and read it at each index."""
    if stamps.size < 2:
        return stamps
    pieces = round((index[-1] - index[0]) / knot_every)
    pieces = int(np.clip(pieces, 1, max(1, stamps.size // _WINDOW)))
    # knots lie at samples, so that no piece is empty however long a gap is
    knots = np.linspace(0, stamps.size - 1, pieces + 1).astype(np.int64)
    bands, right = np.zeros((2, pieces + 1)), np.zeros(pieces + 1)
    for k, (start, stop) in enumerate(zip(knots[:-1], knots[1:] + 1, strict=True)):
        x, y = _unit_interval(index, start, stop), stamps[start:stop] - stamps[0]
        sum_x, sum_xx, sum_y, sum_xy = x.sum(), _sum_of_products(x, x), y.sum(), _sum_of_products(x, y)
        bands[1, k] += x.size - 2 * sum_x + sum_xx
        bands[1, k + 1] += sum_xx
        bands[0, k + 1] = sum_x - sum_xx
        right[k] += sum_y - sum_xy
        right[k + 1] += sum_xy
    heights = solveh_banded(bands, right)
    line = np.empty_like(stamps)
    for k, (start, stop) in enumerate(zip(knots[:-1], knots[1:] + 1, strict=True)):
        x = _unit_interval(index, start, stop)
        x *= heights[k + 1] - heights[k]
        x += heights[k] + stamps[0]
        line[start:stop] = x
    return line


def _sum_of_products(a: Floats, b: Floats) -> float:
    # np.dot would share even this little work among threads, which wait for each other on a busy machine
    return float(np.einsum("i,i", a, b))


def _unit_interval(index: Integers, start: int, stop: int) -> Floats:
    """Map the index from a knot to the next one to 0 .. 1."""
    part = index[start:stop]
    unit: Floats = (part - part[0]) / (part[-1] - part[0])
    return unit
