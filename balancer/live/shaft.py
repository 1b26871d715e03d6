"""The shaft while marks come: which whole revolutions are complete, and the curve through their marks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline

from balancer.core.marks import mend_marks
from balancer.errors import InputError

Floats = npt.NDArray[np.float64]

_CONTEXT = 6  # revolutions kept before what is new, so that the curve through the marks has no end there
_AHEAD = 2  # marks that must follow, for the same reason


@dataclass(frozen=True, eq=False)
class Turned:
    """How the shaft has turned since the last break in the marks.

    Parameters
    ----------
    times, turns : array, shape (n,)
        Of the mended marks: s, and revolutions.
    whole : array of int
        Which of them are at whole revolutions that are new and have marks behind them; two at the least.
    curve : CubicSpline
        Gives the revolutions at a time in s.
    """

    times: Floats
    turns: Floats
    whole: npt.NDArray[np.intp]
    curve: CubicSpline

    def context(self, done: int) -> float:
        """Give the time from which on marks are kept when those up to one of `whole` are done with.

        It is that of a whole revolution, so that the same one of several marks stays the first.
        """
        whole = np.flatnonzero(_at_zero(self.turns) & (self.turns <= self.turns[done] - _CONTEXT))
        return float(self.times[whole[-1] if whole.size else 0])


def turned(marks: Floats, per_rev: int, done: float, end: float) -> Turned | None:
    """Follow the shaft through the marks that have come.

    Parameters
    ----------
    marks : array, shape (n,)
        Their times in s, rising, from a whole revolution on.
    per_rev : int
        Marks a revolution.
    done : float
        Time in s up to which revolutions were worked out before.
    end : float
        Time in s up to which there are samples.

    Returns
    -------
    Turned or None
        None while no new revolution is complete.
    """
    new = marks.size - int(np.searchsorted(marks, done, side="right"))
    if new < (_AHEAD + 1) * per_rev:
        return None
    try:
        mended = mend_marks(marks, per_rev)
    except InputError:
        return None
    first = int(mended.breaks[-1]) if mended.breaks.size else 0
    times, turns = mended.times[first:], mended.turns[first:]
    reach = min(float(times[-1 - min(_AHEAD, times.size - 1)]), end)
    whole = np.flatnonzero(_at_zero(turns) & (times >= done) & (times <= reach))
    if times.size < 4 or whole.size < 2:
        return None
    return Turned(times, turns, whole, CubicSpline(times, turns))


def _at_zero(turns: Floats) -> npt.NDArray[np.bool_]:
    return np.asarray(np.abs(turns - np.rint(turns)) < 1e-9)
