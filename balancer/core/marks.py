"""Tachometer marks put right: doubles taken out, missed ones counted, several marks a turn located."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import median_filter, percentile_filter, uniform_filter1d

from balancer.errors import InputError

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_SHORT = 0.6  # of the local spacing: anything closer is a second edge of the same mark
_OFF = 0.3  # of the local spacing: a longer interval this far from a whole number is not trusted
_UNEVEN = 0.2  # share of double or uncountable marks above which several marks a turn are not what was said
_WINDOW = 11  # turns in the running median: follows a throttle, ignores two bad marks in a row


@dataclass(frozen=True, eq=False)
class MendedMarks:
    """Mark times with the turn that each stands for.

    Parameters
    ----------
    times : array, shape (n,)
        Times of the marks kept, in s.
    turns : array, shape (n,)
        Shaft position at each in revolutions; whole numbers where the shaft angle is 0.
    breaks : array of int
        Indices i where the turns between mark i - 1 and i could not be counted.
    missed, doubled : int
        Marks that did not come, and edges taken out.
    jitter : float
        Robust standard deviation of a mark's place in revolutions, 0 with fewer than five marks.
    zero_known : bool
        False when several marks are so evenly spaced that none can be told from the others, or when a
        miscount has moved the zero from one mark to another.
    """

    times: Floats
    turns: Floats
    breaks: Ints
    missed: int
    doubled: int
    jitter: float
    zero_known: bool

    @property
    def trouble(self) -> float:
        """Share of the marks that were missed, doubled or not countable."""
        return (self.missed + self.doubled + self.breaks.size) / self.times.size


def mend_marks(times: Floats, marks_per_rev: int = 1) -> MendedMarks:
    """Find double and missed marks and count the turns.

    An edge nearer to its neighbour than 0.6 of the local spacing (a running median) is one too many: of
    the two the one that fits its surroundings worse goes. A longer interval holds as many missed marks as
    whole spacings fit into it.

    Parameters
    ----------
    times : array, shape (m,)
        Raw mark times in s.
    marks_per_rev : int
        Marks on the rotor, evenly spaced to about a quarter of their spacing. Which of them is angle 0: the
        one after the widest space, when that space stands out.

    Returns
    -------
    MendedMarks
        The marks kept.

    Raises
    ------
    InputError
        If there are fewer than three marks a turn's worth, they come in pairs where one was announced, or
        several are too unevenly spaced to be counted.

    Examples
    --------
    >>> mended = mend_marks(np.array([0.0, 1.0, 1.05, 2.0, 3.0, 5.0, 6.0]))
    >>> mended.turns, mended.doubled, mended.missed
    (array([0., 1., 2., 3., 5., 6.]), 1, 1)
    """
    raw = times if np.all(np.diff(times) > 0) else np.unique(times)
    if raw.size < 2 * marks_per_rev + 1:
        raise InputError(
            f"only {raw.size} marks were seen, too few to count turns",
            todo="check that the pick-up sees the mark and record for some seconds",
        )
    if marks_per_rev == 1:
        _refuse_pairs(raw)
    kept = _without_doubles(raw, marks_per_rev)
    steps, breaks = _count_steps(np.diff(kept), marks_per_rev)
    if marks_per_rev > 1:
        _refuse_uneven(breaks.size + raw.size - kept.size, raw.size, marks_per_rev)
    position = np.concatenate(([0], np.cumsum(steps)))
    turns, zero_known = _turns(kept, position, marks_per_rev)
    if kept.size < raw.size:
        kept = _better_twins(raw, kept, turns)
    return MendedMarks(
        times=kept,
        turns=turns,
        breaks=breaks,
        missed=int(np.sum(steps - 1)),
        doubled=int(raw.size - kept.size),
        jitter=_jitter(kept, steps) / marks_per_rev,
        zero_known=zero_known,
    )


def _local_spacing(intervals: Floats, marks_per_rev: int = 1) -> Floats:
    if 1 < marks_per_rev <= intervals.size:
        # the mean over a turn does not mind uneven places
        intervals = np.asarray(uniform_filter1d(intervals, marks_per_rev, mode="mirror"))
    change = np.diff(intervals)
    if np.all(np.abs(change) < 0.1 * intervals[1:]):
        return intervals  # no mark stands out: the usual case, and the running median is the slow part
    window = min(_WINDOW * marks_per_rev, intervals.size)
    middle = np.asarray(median_filter(intervals, size=window, mode="mirror"))
    # where most marks around are missed the median is two spacings, but a quarter of the intervals is one
    low = np.asarray(percentile_filter(intervals, 25, size=window, mode="mirror"))
    return np.where(np.abs(middle - 2 * low) < 0.3 * low, low, middle)


def _refuse_pairs(times: Floats) -> None:
    """Refuse two marks a turn where one was announced: every phase would be a guess."""
    intervals = np.diff(times)
    if intervals.size < 8:
        return
    single, double = intervals, times[2:] - times[:-2]
    odd, even = np.median(single[::2]), np.median(single[1::2])
    alternating = abs(odd - even) > 0.1 * (odd + even)
    steady = np.median(np.abs(double - _local_spacing(double))) < 0.03 * np.median(double)
    uneven = np.median(np.abs(single - _local_spacing(single))) > 0.05 * np.median(single)
    if alternating and steady and uneven:
        share = 100 * min(odd, even) / (odd + even)
        raise InputError(
            f"the marks come in pairs, the second {share:.0f} % of a turn after the first: "
            "the pick-up sees two marks on the rotor",
            todo="cover the second reflection and record again, or say marks_per_rev = 2",
        )


def _refuse_uneven(odd: int, of: int, marks_per_rev: int) -> None:
    if odd > _UNEVEN * of:
        raise InputError(
            f"the marks do not come {marks_per_rev} to a turn evenly enough to be counted",
            todo="space them evenly to about a quarter of their distance, or use one mark",
        )


def _without_doubles(times: Floats, marks_per_rev: int) -> Floats:
    for _ in range(3):  # a second pass finds what stood behind a double; a third has never been needed
        intervals = np.diff(times)
        spacing = _local_spacing(intervals, marks_per_rev)
        short = np.flatnonzero(intervals < _SHORT * spacing)
        if short.size == 0:
            break
        keep = np.ones(times.size, dtype=bool)
        for i in short:
            if keep[i] and keep[i + 1]:
                keep[_worse(times, int(i), float(spacing[i]))] = False
        times = times[keep]
    return times


def _worse(times: Floats, i: int, spacing: float) -> int:
    """Say which of the marks i and i + 1 fits its surroundings worse."""

    def misfit(candidate: int) -> float:
        others = [times[j] for j in (i - 2, i - 1, i + 2, i + 3) if 0 <= j < times.size]
        steps = np.abs(np.array(others) - times[candidate]) / spacing
        return float(np.sum(np.abs(steps - np.maximum(np.rint(steps), 1.0))))

    return i if misfit(i) > misfit(i + 1) else i + 1


def _better_twins(raw: Floats, kept: Floats, turns: Floats) -> Floats:
    """Put an edge taken out in place of its twin where it fits the turns of the neighbours better.

    With unevenly spaced marks this shows only now that the place of each is known.
    """
    out = np.setdiff1d(raw, kept)
    above = np.clip(np.searchsorted(kept, out), 1, kept.size - 1)
    twin = np.where(out - kept[above - 1] < kept[above] - out, above - 1, above)  # the nearer neighbour
    inside = (twin > 0) & (twin < kept.size - 1)
    out, inner = out[inside], twin[inside]
    before, after = kept[inner - 1], kept[inner + 1]
    share = (turns[inner] - turns[inner - 1]) / (turns[inner + 1] - turns[inner - 1])
    expected = before + share * (after - before)
    better = np.abs(out - expected) < np.abs(kept[inner] - expected)
    mended = kept.copy()
    mended[inner[better]] = out[better]
    return mended


def _count_steps(intervals: Floats, marks_per_rev: int) -> tuple[Ints, Ints]:
    ratio = intervals / _local_spacing(intervals, marks_per_rev)
    steps = np.clip(np.rint(ratio), 1.0, 1e9)  # the upper limit only for what is no row of marks at all
    breaks = np.flatnonzero(np.abs(ratio - steps) > _OFF) + 1
    return steps.astype(np.int64), breaks


def _jitter(times: Floats, steps: Ints) -> float:
    """Scatter of a mark about the cubic through its four neighbours, in mark spacings."""
    regular = np.convolve(steps == 1, np.ones(4), "valid") > 3.5 if steps.size >= 4 else np.zeros(0, bool)
    if not regular.any():
        return 0.0
    around = (-times[:-4] + 4 * times[1:-3] + 4 * times[3:-1] - times[4:]) / 6
    miss = ((times[2:-2] - around) / ((times[4:] - times[:-4]) / 4))[regular]
    # 1.4826 MAD is the standard deviation of a normal scatter; 1 + 34/36 its growth by the interpolation
    return float(1.4826 * np.median(np.abs(miss)) / np.sqrt(1 + 34 / 36))


def _turns(times: Floats, position: Ints, marks_per_rev: int) -> tuple[Floats, bool]:
    if marks_per_rev == 1:
        return position.astype(np.float64), True
    places = _mark_places(times, position, marks_per_rev)
    widths = np.diff(np.concatenate((places, [1.0])))  # width of the space after each mark
    order = np.argsort(widths)
    zero_known = bool(widths[order[-1]] - widths[order[-2]] > 0.01)
    zero = (int(order[-1]) + 1) % marks_per_rev if zero_known else 0
    zero_known = zero_known and _zero_holds(times, position, marks_per_rev, zero)
    turns = position // marks_per_rev + places[position % marks_per_rev] - places[zero]
    return turns, zero_known


def _zero_holds(times: Floats, position: Ints, marks_per_rev: int, zero: int) -> bool:
    """Look every 25 turns whether the widest space still lies before the zero mark: a miscount moves it."""
    widths, single = np.diff(times), np.diff(position) == 1
    after, block = position[1:] % marks_per_rev, position[1:] // (25 * marks_per_rev)
    for one in np.unique(block):
        here = single & (block == one)
        if np.count_nonzero(here) < 5 * marks_per_rev:
            continue
        spaces = [widths[here & (after == k)] for k in range(marks_per_rev)]
        typical = [float(np.median(space)) if space.size else 0.0 for space in spaces]
        if int(np.argmax(typical)) != zero:
            return False
    return True


def _mark_places(times: Floats, position: Ints, marks_per_rev: int) -> Floats:
    """Locate each mark in parts of a turn from the first: the mean over all turns."""
    which, turn = position % marks_per_rev, position // marks_per_rev
    first = which == 0
    if np.count_nonzero(first) < 2:
        return np.arange(marks_per_rev) / marks_per_rev
    seen = np.interp(times, times[first], turn[first].astype(np.float64), left=np.nan, right=np.nan) - turn
    places = np.arange(marks_per_rev) / marks_per_rev
    for k in range(1, marks_per_rev):
        here = seen[(which == k) & np.isfinite(seen)]
        if here.size:
            places[k] = np.median(here)
    return places
