"""Runs with the same masses compared with each other: which of them agree, and how far they scatter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from balancer.core.runs import Amplitude, Reading, Run
from balancer.core.scatter import Scatter
from balancer.core.vectors import UncertainComplex

SAME = 0.10
"""Share of the amplitude by which runs may differ and still agree: common practice, no source."""

_WITHIN = 9.0  # chi squared for each number compared: three standard deviations


@dataclass(frozen=True)
class Agreement:
    """How far runs with the same masses agree.

    Parameters
    ----------
    together : tuple of int
        Indices of the largest group in which every pair agrees, the latest of equal groups; a single one
        when no two agree.
    apart : float
        Largest difference between two of all the runs, as a share of their amplitude.
    """

    together: tuple[int, ...]
    apart: float

    @property
    def agree(self) -> bool:
        """Whether two runs agree."""
        return len(self.together) >= 2


def agreement(runs: Sequence[Run]) -> Agreement:
    """Find the runs that agree with each other.

    Two runs agree when they differ by no more than 10 % of the amplitude, or by no more than their own
    uncertainty explains. They are compared at the speed of the first.

    Parameters
    ----------
    runs : sequence of Run
        One or more with the same masses and the same channels.

    Returns
    -------
    Agreement
        Which of them agree.
    """
    speed = runs[0].speed
    compared = [run if speed is None else run.at_speed(speed) for run in runs]
    pairs = {(i, j): _difference(compared[i], compared[j]) for i, j in combinations(range(len(runs)), 2)}
    agreeing = {pair for pair, (share, chi) in pairs.items() if share <= SAME or chi <= _WITHIN}
    together = max(
        (
            group
            for size in range(1, len(runs) + 1)
            for group in combinations(range(len(runs)), size)
            if all(pair in agreeing for pair in combinations(group, 2))
        ),
        key=lambda group: (len(group), group),
    )
    return Agreement(together, max((share for share, _ in pairs.values()), default=0.0))


@dataclass(frozen=True)
class Spread:
    """How far the vectors of one channel scatter from run to run.

    Parameters
    ----------
    size : float
        Of their mean.
    between : float
        Standard deviation of a component from run to run.
    own : float
        The same as each run by itself tells it: what the noise of the readings makes.
    """

    size: float
    between: float
    own: float


def spread_of(vectors: Sequence[UncertainComplex]) -> Spread:
    """Tell how far the vectors of one channel scatter.

    Parameters
    ----------
    vectors : sequence of UncertainComplex
        Of two runs or more at one speed, in one unit.

    Returns
    -------
    Spread
        In that unit.

    Raises
    ------
    InputError
        If there are too few.
    """
    found = Scatter.of_repeats(vectors, circular=True)
    between, own = (float(np.sqrt(np.trace(np.array(rows)) / 2)) for rows in (found.rows, found.noise))
    return Spread(float(abs(np.mean([vector.value for vector in vectors]))), between, own)


def _difference(one: Run, other: Run) -> tuple[float, float]:
    """Give the difference as a share of the larger run, and its chi squared for each number compared."""
    square = chi = size = 0.0
    numbers = 0
    for a, b in zip(one.readings, other.readings, strict=True):
        between, variance, count = _apart(a, b)
        square += between**2
        chi += between**2 / max(variance, 1e-300) * count
        numbers += count
        size += max(_amplitude(a), _amplitude(b)) ** 2
    return (math.sqrt(square / size) if size else 0.0), chi / numbers


def _apart(a: Reading, b: Reading) -> tuple[float, float, int]:
    """Distance of two readings, the variance that it should have, and how many numbers were compared."""
    if isinstance(a, Amplitude) or isinstance(b, Amplitude):
        return abs(_amplitude(a) - _amplitude(b)), _variance(a) + _variance(b), 1
    return abs(a.value - b.value), 2 * (a.covariance.radius**2 + b.covariance.radius**2), 2


def _amplitude(reading: Reading) -> float:
    return reading.value if isinstance(reading, Amplitude) else reading.amplitude


def _variance(reading: Reading) -> float:
    return reading.sd**2 if isinstance(reading, Amplitude) else reading.sd_amplitude**2
