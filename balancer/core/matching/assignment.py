"""Who goes where: rows given a column each at least cost, in all or in the worst row."""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.optimize import linear_sum_assignment

from balancer.core.vectors import Floats

Goal = Literal["worst", "sum"]
Integers = npt.NDArray[np.intp]


def assign(costs: Floats, goal: Goal, bearable: float = 0.0) -> Integers | None:
    """Give every row a column of its own.

    Parameters
    ----------
    costs : numpy.ndarray of float
        Shape (rows, columns), not negative; inf where a row may not have a column.
    goal : {"worst", "sum"}
        ``sum``: the least sum. ``worst``: the largest cost as small as possible, and among all that have it
        the least sum (a bottleneck assignment: R. Burkard, M. Dell'Amico and S. Martello, Assignment
        Problems, section 6.2, from memory).
    bearable : float, optional
        With ``worst``: no largest cost below this is asked for, as rows not listed here have it already.

    Returns
    -------
    numpy.ndarray of int or None
        The column of each row; None if there is none for some row.
    """
    if costs.shape[0] > costs.shape[1] or served(costs) < costs.shape[0]:
        return None
    if goal == "worst":
        costs = np.where(costs <= max(_bottleneck(costs), bearable), costs, np.inf)
    return np.asarray(linear_sum_assignment(costs)[1])


def served(costs: Floats) -> int:
    """Count the rows that can be given a column at once.

    Parameters
    ----------
    costs : numpy.ndarray of float
        As in `assign`, any shape.

    Returns
    -------
    int
        The size of the largest matching.
    """
    barred = ~np.isfinite(costs)
    rows, columns = linear_sum_assignment(barred)
    return len(rows) - int(barred[rows, columns].sum())


def _bottleneck(costs: Floats) -> float:
    """Find the least limit under which every row has a column, by halving the sorted costs."""
    limits = np.unique(costs[np.isfinite(costs)])
    # no row does better than its own least cost
    low, high = int(np.searchsorted(limits, costs.min(axis=1).max())), len(limits) - 1
    while low < high:
        middle = (low + high) // 2
        above = costs > limits[middle]
        if above[linear_sum_assignment(above)].any():
            low = middle + 1
        else:
            high = middle
    return float(limits[low])
