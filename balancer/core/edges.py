"""Edge times of a mark signal that was sampled along with the vibration: analog, or 0 and 1."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from balancer.errors import InputError

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

_LEVEL_PERCENTILES = (0.1, 99.9)
_LOWER, _UPPER = 0.3, 0.7
_MOST_BETWEEN = 0.35


@dataclass(frozen=True, eq=False)
class Edges:
    """When a mark signal passed its threshold.

    Parameters
    ----------
    times : array, shape (m,)
        In s, rising.
    resolution : float
        Width in s of the stretch in which an edge lies: the step from sample to sample for a signal of 0 and
        1 (its middle is given), 0 for an analog signal, whose edges are interpolated.
    """

    times: Floats
    resolution: float


def edge_times(times: Floats, levels: Floats, *, edge: Literal["rising", "falling"] = "rising") -> Edges:
    """Find the edges of a mark signal.

    An edge counts when the signal goes from below 30 % to above 70 % of its swing (falling: the other way
    round), so that noise near the threshold makes no edges; its time is that of the last passage of 50 %
    before, by linear interpolation.

    Parameters
    ----------
    times : array, shape (n,)
        Of the samples in s, rising.
    levels : array, shape (n,)
        The signal in any unit.
    edge : {"rising", "falling"}
        Which edge is the mark.

    Returns
    -------
    Edges
        Times and resolution; a signal that is up (or down) at the beginning has had its edge before.

    Raises
    ------
    InputError
        If the signal is flat, or is not high and low with a clear swing between, or a value is not finite.

    Examples
    --------
    >>> edge_times(np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 0.0, 4.0, 0.0])).times
    array([1.5])
    """
    if times.shape != levels.shape or times.ndim != 1:
        raise InputError(f"{levels.size} mark levels do not fit {times.size} times")
    if not np.all(np.isfinite(levels)):
        raise InputError("a mark level is not a finite number", todo="correct the mark column")
    signal = levels if edge == "rising" else -levels
    low, high = _levels(signal)
    before, after = _swings(signal, low + _LOWER * (high - low), low + _UPPER * (high - low))
    middle = (low + high) / 2
    passages = np.flatnonzero((signal[:-1] < middle) & (signal[1:] >= middle))
    at = passages[np.searchsorted(passages, after) - 1] if after.size else before
    part = (middle - signal[at]) / (signal[at + 1] - signal[at])
    found = times[at] + part * (times[at + 1] - times[at])
    two_valued = bool(np.all((signal == low) | (signal == high)))
    step = float(np.median(np.diff(times))) if two_valued and times.size > 1 else 0.0
    return Edges(found, step)


def _levels(signal: Floats) -> tuple[float, float]:
    """Give the low and the high level; refuse a signal that does not go back and forth between two."""
    if signal.size:
        low, high = (float(level) for level in np.percentile(signal, _LEVEL_PERCENTILES, method="nearest"))
        # the percentiles overlook a spike, but pulses that are very short as well
        for levels in ((low, high), (float(signal.min()), float(signal.max()))):
            if _goes_between(signal, *levels):
                return levels
    raise InputError(
        "the mark signal is flat: it shows no marks",
        todo="check the pick-up and its distance to the mark, or leave the mark column out",
    )


def _goes_between(signal: Floats, low: float, high: float) -> bool:
    """Tell marks from noise: noise stays near its middle, marks pass it quickly (a sine takes 26 %)."""
    if high <= low:
        return False
    between = (signal > low + _LOWER * (high - low)) & (signal < low + _UPPER * (high - low))
    return bool(between.mean() < _MOST_BETWEEN)


def _swings(signal: Floats, lower: float, upper: float) -> tuple[Integers, Integers]:
    """Give, for each swing from below `lower` to above `upper`, the last sample below and the first above."""
    clear = np.flatnonzero((signal <= lower) | (signal >= upper))
    is_up = signal[clear] >= upper
    swing = np.flatnonzero(~is_up[:-1] & is_up[1:])
    return clear[swing], clear[swing + 1]
