"""The signal against the shaft angle instead of the time: whole turns beside each other."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline

from balancer.core.shaft import Stretch
from balancer.errors import InputError

Floats = npt.NDArray[np.float64]

_LEAST, _MOST = 64, 1024  # points a turn


def points_a_turn(stretches: Sequence[Stretch]) -> int:
    """Choose points a turn so that no frequency in the samples can fold: twice as many as samples, or more.

    Parameters
    ----------
    stretches : sequence of Stretch
        Where the shaft angle is known.

    Returns
    -------
    int
        A power of two from 64 to 1024, by the slowest part.
    """
    slowest = min(float(np.median(np.diff(s.turns))) for s in stretches)
    return int(min(max(2 ** math.ceil(math.log2(2 / slowest)), _LEAST), _MOST))


def whole_turns(times: Floats, samples: Floats, stretches: Sequence[Stretch], points: int) -> Floats:
    """Put samples onto even steps of the shaft angle, turn by turn from the mark on.

    Each turn that is whole is read off a cubic spline through the samples (computed order tracking: K. R.
    Fyfe and E. D. S. Munck, Mechanical Systems and Signal Processing 11 (1997) 187-205).

    Parameters
    ----------
    times : array, shape (n,)
        Of the samples in s.
    samples : array, shape (channels, n)
        Their values.
    stretches : sequence of Stretch
        Where the shaft angle is known.
    points : int
        Steps a turn, the first at the mark.

    Returns
    -------
    array, shape (channels, turns, points)
        In the unit of the samples.

    Raises
    ------
    InputError
        If no turn is whole.
    """
    found = [turned for s in stretches if (turned := _turned(times, samples, s, points)) is not None]
    if not found:
        raise InputError("no whole turn from mark to mark", todo="record for some seconds")
    return np.concatenate(found, axis=1)


def _turned(times: Floats, samples: Floats, stretch: Stretch, points: int) -> Floats | None:
    first, last = math.ceil(stretch.turns[0]), math.floor(stretch.turns[-1])
    if last <= first:
        return None
    part = slice(stretch.start, stretch.stop)
    angles = first + np.arange((last - first) * points) / points
    at = np.interp(angles, stretch.turns, times[part])
    values = CubicSpline(times[part], samples[:, part], axis=1)(at)
    return np.asarray(values.reshape(samples.shape[0], last - first, points))


def fold(turned: Floats) -> tuple[Floats, Floats]:
    """Lay all turns over each other.

    Parameters
    ----------
    turned : array, shape (channels, turns, points)
        As `whole_turns` gives it.

    Returns
    -------
    mean : array, shape (channels, points)
        Over the turns, each channel's constant part taken out.
    scatter : array, shape (channels, points)
        Standard deviation over the turns; 0 for a single one.
    """
    mean = turned.mean(axis=1)
    return mean - mean.mean(axis=1, keepdims=True), turned.std(axis=1, ddof=min(1, turned.shape[1] - 1))
