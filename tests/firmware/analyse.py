"""From decoded records to a sample rate and 1x vectors, as a host has to do it."""

from dataclasses import dataclass

import numpy as np

from balancer.core.marks import mend_marks
from balancer.core.orders import fit_orders
from balancer.core.shaft import shaft_turns

GRAVITY = 9.80665  # m/s^2, standard (CGPM 1901)


@dataclass(frozen=True)
class Measured:
    rate: float  # Hz on the board's clock
    jitter: float  # standard deviation of the block stamps about their line, in ticks
    speed: float  # rpm, mean
    vectors: np.ndarray  # 1x of each axis in g, complex, A exp(j lag)
    mean: np.ndarray  # g


def unwrap(ticks):
    """Follow a 32-bit clock over its roll-over."""
    steps = np.diff(np.asarray(ticks, dtype=np.int64))
    return ticks[0] + np.concatenate(([0], np.cumsum((steps + 2**31) % 2**32 - 2**31)))


def last_indices(segment):
    return np.array([n0 + len(rows) - 1 for n0, _, _, rows in segment.blocks])


def block_ticks(segment):
    return unwrap([tick for _, tick, _, _ in segment.blocks])


def mark_ticks(segment):
    """Marks on the same unwrapped clock as the blocks."""
    return unwrap([segment.blocks[0][1], *(tick for _, tick in segment.marks)])[1:]


def counts(segment):
    return np.array([row for _, _, _, rows in segment.blocks for row in rows])


def measure(segment):
    """Fit ticks against index with a straight line, put each sample on it, and fit the orders."""
    last, ticks = last_indices(segment), block_ticks(segment)
    slope, start = np.polyfit(last - last[0], ticks - ticks[0], 1)
    index = np.concatenate([np.arange(n0, n0 + len(rows)) for n0, _, _, rows in segment.blocks])
    tick_hz = segment.hello["tick_hz"]
    times = (start + slope * (index - last[0])) / tick_hz
    marks = mend_marks((mark_ticks(segment) - ticks[0]) / tick_hz)
    samples = counts(segment).T * segment.hello["scale"] / GRAVITY
    fit = fit_orders(shaft_turns(times, marks), times=times, samples=samples, orders=(1, 2, 3))
    return Measured(
        rate=tick_hz / slope,
        jitter=float(np.std(ticks - ticks[0] - start - slope * (last - last[0]))),
        speed=60 * (marks.turns[-1] - marks.turns[0]) / (marks.times[-1] - marks.times[0]),
        vectors=fit.vectors[:, 0],
        mean=fit.mean,
    )
