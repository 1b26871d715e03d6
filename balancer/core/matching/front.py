"""The best arrangement for every number of motors touched."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np

from balancer.core.matching.assignment import Goal, assign
from balancer.core.matching.pairs import Pairs, Seat

_SUBSETS = 5000  # sets of motors that are tried: all of them up to 12 motors
_BETTER = 1e-9

Arrangement = tuple[Seat, ...]


def front(pairs: Pairs, goal: Goal) -> list[Arrangement]:
    """Find the arrangements worth showing: more motors touched only where that leaves less.

    For each set of motors that may be touched the others keep their propellers, and the rest is an assignment
    of its own: exact, where a penalty on moves would miss some.

    Parameters
    ----------
    pairs : Pairs
        All pairs; at least one arrangement of them is possible.
    goal : {"worst", "sum"}
        What is to be least.

    Returns
    -------
    list of tuple of Seat
        A seat for each motor; fewest touched first, each better than the one before it.
    """
    shown: list[Arrangement] = []
    least: tuple[float, ...] = (math.inf,)
    for touched in _sizes(pairs):
        options = (_rearranged(pairs, rows, goal) for rows in touched)
        found = [one for one in options if one is not None]
        if not found:
            continue
        key, best = min(found, key=lambda one: one[0])
        if _less(key, least):
            least = key
            shown.append(best)
    return shown


def _less(key: tuple[float, ...], least: tuple[float, ...]) -> bool:
    """Compare in order; what differs by rounding only is the same."""
    for new, old in zip(key, least, strict=False):
        if not math.isclose(new, old, rel_tol=_BETTER):
            return new < old
    return False


def _sizes(pairs: Pairs) -> Iterator[Iterator[tuple[int, ...]]]:
    """List sets of motors by their number; motors without a known propeller are in every set."""
    bare = [row for row, seat in enumerate(pairs.fitted) if seat is None]
    settled = [row for row, seat in enumerate(pairs.fitted) if seat is not None]
    tried = 0
    for count in range(len(settled) + 1):
        tried += math.comb(len(settled), count)
        if tried <= _SUBSETS or count == len(settled):
            yield (tuple(sorted((*bare, *rows))) for rows in combinations(settled, count))


def _rearranged(
    pairs: Pairs, touched: Sequence[int], goal: Goal
) -> tuple[tuple[float, ...], Arrangement] | None:
    """Keep what is on the other motors and give the touched ones the best of what is left."""
    rows = set(touched)
    kept = {row: seat for row, seat in enumerate(pairs.fitted) if row not in rows and seat is not None}
    taken = {seat.propeller for seat in kept.values()}
    free = [column for column in range(pairs.costs.shape[1]) if column not in taken]
    costs = pairs.costs[np.ix_(touched, free)]
    kept_costs = [pairs.fitted_costs[row] for row in kept]
    columns = assign(costs, goal, max(kept_costs, default=0.0)) if touched else np.empty(0, np.intp)
    if columns is None:
        return None
    seats = kept | {row: pairs.seats[row, free[c]] for row, c in zip(touched, columns, strict=True)}
    all_costs = [*kept_costs, *(costs[i, c] for i, c in enumerate(columns))]
    total = float(sum(all_costs))
    key = (float(max(all_costs)), total) if goal == "worst" else (total,)
    return key, tuple(seats[row] for row in range(len(pairs.fitted)))
