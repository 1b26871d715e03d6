"""Whole turns of the shaft while they come: samples on even steps of the angle, each turn worked out once."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline

from balancer.core.angular import whole_turns
from balancer.core.shaft import Stretch
from balancer.errors import InputError
from balancer.live.shaft import Turned, turned
from balancer.recording.hello import Hello

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

SLOWEST_HZ = 20.0
"""From this speed (1,200 rpm) on there are at least as many steps in a turn as samples."""

_FEWEST, _MOST = 64, 128  # steps: more than a picture has room for serve nobody
_ROUND = 8  # samples on either side, so that the curve through them has no end in a turn
_GAP = 1.6  # of the usual step between samples


@dataclass(frozen=True, eq=False)
class Turns:
    """Whole turns in order.

    Parameters
    ----------
    values : array, shape (turns, axes, steps)
        The samples on even steps of the shaft angle, the first at the mark.
    starts, ends : array, shape (turns,)
        When each began and ended in s.
    """

    values: Floats
    starts: Floats
    ends: Floats

    def vectors(self) -> Complexes:
        """Give the 1x vector of each turn and axis, shape (turns, axes): A exp(j lag), peak.

        It is the first line of the discrete Fourier transform over the turn, which no other whole order and
        no constant part touches; conjugated, since x(t) = A cos(shaft - lag).
        """
        steps = self.values.shape[2]
        wave = np.exp(2j * np.pi * np.arange(steps) / steps)
        return np.asarray(2 / steps * (self.values @ wave))


class Turner:
    """Takes samples and marks of one segment and gives each whole turn once.

    Parameters
    ----------
    hello : Hello
        Of the segment.

    Attributes
    ----------
    steps : int
        Steps a turn.
    """

    def __init__(self, hello: Hello) -> None:
        self._per_rev = hello.marks_per_rev
        wanted = 2 ** math.ceil(math.log2(hello.rate_hz / SLOWEST_HZ))
        self.steps = int(min(max(wanted, _FEWEST), _MOST))
        self._times, self._marks = np.zeros(0), np.zeros(0)
        self._samples = np.zeros((len(hello.axes), 0))
        self._done = -np.inf  # when the last turn given out ended

    def add(self, times: Floats, samples: Floats, marks: Floats) -> Turns | None:
        """Take what came next.

        Parameters
        ----------
        times : array, shape (n,)
            Of the samples in s, rising from call to call.
        samples : array, shape (axes, n)
            The samples.
        marks : array, shape (m,)
            Times of the marks, rising likewise.

        Returns
        -------
        Turns or None
            Those that are complete now and have marks behind them; None when there is none. A turn in which
            samples are missing is left out.
        """
        self._times = np.concatenate((self._times, times))
        self._samples = np.concatenate((self._samples, samples), axis=1)
        self._marks = np.concatenate((self._marks, marks))
        if self._times.size < 4 * _ROUND:
            return None
        shaft = turned(self._marks, self._per_rev, self._done, float(self._times[-_ROUND]))
        return None if shaft is None else self._turn(shaft)

    def forget(self, before: float) -> None:
        """Let go of samples and marks up to a time for which no turns came."""
        if self._times.size and self._times[0] < before:
            start = int(np.searchsorted(self._times, before))
            self._times, self._samples = self._times[start:], self._samples[:, start:]
            self._marks = self._marks[self._marks >= before]
            self._done = max(self._done, before)

    def _turn(self, shaft: Turned) -> Turns | None:
        start, stop = int(shaft.whole[0]), int(shaft.whole[-1])
        found = self._between(shaft.curve, shaft.times[start], shaft.times[stop], shaft.turns[start])
        self._done = float(shaft.times[stop])
        self._marks = self._marks[self._marks >= shaft.context(stop)]
        first = max(int(np.searchsorted(self._times, self._done)) - 2 * _ROUND, 0)
        self._times, self._samples = self._times[first:], self._samples[:, first:]
        return found

    def _between(self, shaft: CubicSpline, start: float, stop: float, zero: float) -> Turns | None:
        low, high = np.searchsorted(self._times, (start, stop)).tolist()
        part = slice(max(low - _ROUND, 0), high + _ROUND)
        times = self._times[part]
        position = np.asarray(shaft(times)) - zero
        if times.size < 2 or np.any(np.diff(position) <= 0):
            return None
        try:
            stretch = Stretch(0, times.size, position)
            values = whole_turns(times, self._samples[:, part], [stretch], self.steps).transpose(1, 0, 2)
        except InputError:
            return None
        number = math.ceil(position[0]) + np.arange(values.shape[0])
        edges = np.interp(np.append(number, number[-1] + 1), position, times)
        step = np.diff(times)
        holes = times[:-1][step > _GAP * np.median(step)]
        # a turn is left out when a hole begins in it or just before it
        torn = np.histogram(holes, edges)[0] + np.histogram(holes + step.max(), edges)[0] if holes.size else 0
        kept = (number >= 0) & (number < round(float(shaft(stop)) - zero)) & (torn == np.zeros(number.size))
        if not kept.any():
            return None
        return Turns(values[kept], edges[:-1][kept], edges[1:][kept])
