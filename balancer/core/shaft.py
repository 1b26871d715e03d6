"""Shaft angle between the marks: a cubic spline through the counted turns."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline

from balancer.core.marks import MendedMarks
from balancer.errors import InputError

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Stretch:
    """A stretch of samples over which the shaft angle is known.

    Parameters
    ----------
    start, stop : int
        The samples are ``start`` to ``stop - 1``.
    turns : array, shape (stop - start,)
        Shaft position at each sample in revolutions.
    """

    start: int
    stop: int
    turns: Floats


def shaft_turns(times: Floats, marks: MendedMarks) -> tuple[Stretch, ...]:
    """Interpolate the shaft position at the sample times.

    A cubic beats a straight line when the speed wanders: K. R. Fyfe and E. D. S. Munck, "Analysis of
    computed order tracking", Mechanical Systems and Signal Processing 11 (1997) 187-205.

    Parameters
    ----------
    times : array, shape (n,)
        Sample times in s, rising, on the clock of the marks.
    marks : MendedMarks
        Marks with their turns.

    Returns
    -------
    tuple of Stretch
        One for each run of countable marks, in order of time, each trimmed to whole revolutions.

    Raises
    ------
    InputError
        If no stretch holds a whole revolution.
    """
    edges = [0, *marks.breaks.tolist(), marks.times.size]
    stretches = []
    for first, last in pairwise(edges):
        stretch = _stretch(times, marks.times[first:last], marks.turns[first:last])
        if stretch is not None:
            stretches.append(stretch)
    if not stretches:
        raise InputError(
            "the marks and the samples share no whole revolution",
            todo="check that both come from the same run and record for some seconds",
        )
    return tuple(stretches)


def _stretch(times: Floats, marks: Floats, turns: Floats) -> Stretch | None:
    if marks.size < 3:
        return None
    start, stop = (int(i) for i in np.searchsorted(times, (marks[0], marks[-1])))
    turned = _evaluate(CubicSpline(marks, turns), times[start:stop])
    if turned.size < 2 or np.any(np.diff(turned) <= 0):
        return None
    # any sample may be the first: what counts is that the revolutions are whole
    whole = np.floor(turned[-1] - turned[0])
    length = int(np.searchsorted(turned, turned[0] + whole))
    return Stretch(start, start + length, turned[:length]) if whole >= 1 else None


def _evaluate(spline: CubicSpline, times: Floats) -> Floats:
    """Evaluate at rising times: coefficients repeated per interval, five times faster than a look-up."""
    inner = np.searchsorted(times, spline.x[1:-1])
    counts = np.diff(np.concatenate(([0], inner, [times.size])))
    step = times - np.repeat(spline.x[:-1], counts)
    value = np.repeat(spline.c[0], counts)
    for coefficient in spline.c[1:]:
        value *= step
        value += np.repeat(coefficient, counts)
    return value
