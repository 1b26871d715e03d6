"""Sample times of a running stream: a straight line through the latest stamps, renewed every few seconds.

A time that was given out never changes, and it depends on the records alone, not on how they were cut up on
their way here: lines are renewed at certain samples, not at certain calls.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from balancer.recording.clock import fit_sample_clock, typical_period, unwrap_ticks

Integers = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

FIRST_FIT = 0.25
"""Seconds of samples that are held back at the beginning, until there is a line."""

RENEW_EVERY = 2.0
"""Seconds between renewals once the stream is that old; before, the age doubles."""

WINDOW = 5.0
"""Seconds of stamps in a line."""

_FEWEST_STAMPS = 4
_CONFIRM = 4  # stamps that must agree before time is taken to have stepped against the index
_GAP_TOLERANCE = 0.01


@dataclass(frozen=True, eq=False)
class Placed:
    """Samples that have got their times.

    Parameters
    ----------
    index : array of int64, shape (n,)
        Their indices, as they were put in, in order.
    ticks : array, shape (n,)
        Their times in ticks, without roll-over.
    slips : array, shape (n,)
        By how many periods time stepped against the index before each: 0 for nearly all.
    """

    index: Integers
    ticks: Floats
    slips: Floats


class RunningClock:
    """Places samples in time.

    Parameters
    ----------
    tick_hz : float
        Ticks in a second.
    tick_bits : int
        Width of the tick counter.
    rate : float
        Sample rate in Hz that the device announces; only for telling how long to wait.
    """

    def __init__(self, tick_hz: float, tick_bits: int, rate: float) -> None:
        self._tick_hz, self._bits, self._turn = tick_hz, tick_bits, 1 << tick_bits
        self._nominal = tick_hz / rate
        self._index = np.zeros(0, np.int64)  # samples that have no time yet
        self._at, self._raw = np.zeros(0, np.int64), np.zeros(0, np.int64)  # and their stamps
        self._anchor, self._height, self._slope = 0, 0.0, 0.0
        self._line_begun = 0
        self._next_fit: int | None = None  # None: there is no line yet
        self._last_stamp = 0
        self._known: list[tuple[Integers, Floats]] = []  # stamps since the line began, at most a window
        self._slip = 0.0  # of the next sample
        self._done: list[Placed] = []
        self.stamps_off = 0

    @property
    def rate(self) -> float:
        """Measured sample rate in Hz, 0 while it is unknown."""
        return 0.0 if self._next_fit is None else self._tick_hz / self._slope

    @property
    def ready(self) -> bool:
        """Whether there is a line."""
        return self._next_fit is not None

    def height(self, index: Integers) -> Floats:
        """Give the time in ticks at sample indices, by the line as it is now."""
        return np.asarray(self._height + self._slope * (index - self._anchor))

    def add(self, index: Integers, stamped: Integers | None, raw: Integers, last: bool = False) -> Placed:
        """Take samples, and give those that can be placed.

        Parameters
        ----------
        index : array of int64, shape (n,)
            Sample index without roll-over, rising from call to call, too.
        stamped : array of int64, shape (s,), or None
            The samples to which the stamps belong; None when each has its own.
        raw : array of int64, shape (s,)
            Stamps as sent.
        last : bool
            Whether nothing more will come, so that nothing needs to be waited for.

        Returns
        -------
        Placed
            Samples from this or earlier calls.
        """
        self._index = np.concatenate((self._index, index))
        self._at = np.concatenate((self._at, index if stamped is None else index[stamped]))
        self._raw = np.concatenate((self._raw, raw))
        if self._next_fit is None and not self._begin(last):
            return _joined([])
        while self._at.size and self._step(last):
            pass
        done, self._done = self._done, []
        return _joined(done)

    def _begin(self, last: bool) -> bool:
        """Fit the first line once enough stamps are there; tell whether it is."""
        enough = (self._at - self._at[:1]) * self._nominal >= FIRST_FIT * self._tick_hz
        enough[: _FEWEST_STAMPS - 1] = False
        if not enough.any() and not (last and self._at.size):
            return False
        stamps = int(np.argmax(enough)) + 1 if enough.any() else self._at.size
        at, raw = self._at[:stamps], self._raw[:stamps]
        count = int(np.searchsorted(self._index, at[-1], side="right"))
        index = self._index[:count]
        period = typical_period(raw, at, self._bits)
        ticks = unwrap_ticks(raw, at, self._bits, period)
        stamped = np.searchsorted(index, at)
        clock = fit_sample_clock(index, ticks, self._tick_hz, stamped, self._nominal)
        slips = np.zeros(count)
        slips[clock.breaks] = clock.slips
        self.stamps_off += clock.stamps_off
        self._done.append(Placed(index, clock.times + ticks[0], slips))
        first = int(clock.breaks[-1]) if clock.breaks.size else 0
        slope = clock.period
        if count - first > 1:
            slope = float(clock.times[-1] - clock.times[-2]) / int(index[-1] - index[-2])
        self._set_line(int(index[-1]), float(clock.times[-1] + ticks[0]), slope)
        after = at >= index[first]
        self._start_line(int(index[first]), int(at[-1]))
        if not clock.stamps_off:
            self._known = [(at[after], ticks[after].astype(np.float64))]
        self._drop(stamps, count)
        return True

    def _step(self, last: bool) -> bool:
        """Place samples up to the next renewal or the next stamp that is odd; tell whether to go on."""
        assert self._next_fit is not None
        line = self.height(self._at)
        ticks = self._raw + np.rint((line - self._raw) / self._turn) * self._turn
        off = ticks - line
        skipped = np.diff(self._at, prepend=self._last_stamp)
        odd = np.abs(off) > self._slope * (0.5 + _GAP_TOLERANCE * np.maximum(skipped - 1, 0))
        due = int(np.searchsorted(self._at, self._next_fit)) + 1  # stamps up to the renewal
        sound = int(np.argmax(odd)) if odd.any() else self._at.size
        take = min(due, sound)
        if take:
            self._known.append((self._at[:take], ticks[:take]))
            self._release(take)
            if take == due:
                self._renew()
            return self._at.size > 0
        window = off[:_CONFIRM]
        if window.size < _CONFIRM and not last:
            return False
        step = float(np.median(window))
        if window.size > 1 and np.all(np.abs(window - step) < self._slope / 2):
            self._slip += step / self._slope
            self._height += step
            self._start_line(int(self._at[0]), int(self._at[0]))
        else:
            self.stamps_off += 1
            self._release(1)
        return self._at.size > 0

    def _release(self, stamps: int) -> None:
        """Place the samples up to the last of so many stamps on the line."""
        count = int(np.searchsorted(self._index, self._at[stamps - 1], side="right"))
        index, slips = self._index[:count], np.zeros(count)
        if count:
            slips[0], self._slip = self._slip, 0.0
        self._done.append(Placed(index, self.height(index), slips))
        self._drop(stamps, count)

    def _drop(self, stamps: int, samples: int) -> None:
        self._last_stamp = int(self._at[stamps - 1])
        self._index, self._at, self._raw = self._index[samples:], self._at[stamps:], self._raw[stamps:]

    def _start_line(self, begun: int, now: int) -> None:
        self._line_begun, self._known = begun, []
        self._next_fit = now + self._samples(FIRST_FIT)

    def _renew(self) -> None:
        """Fit the line anew to the stamps of the last seconds."""
        at, ticks = (np.concatenate(parts) for parts in zip(*self._known, strict=True))
        now = int(at[-1])
        recent = at >= now - self._samples(WINDOW)
        at, ticks = at[recent], ticks[recent]
        self._known = [(at, ticks)]
        if at.size >= _FEWEST_STAMPS:
            x, middle = at - at.mean(), ticks.mean()
            slope = float(np.dot(x, ticks - middle) / np.dot(x, x))
            self._set_line(now, middle + slope * float(now - at.mean()), slope)
        age = (now - self._line_begun) / self._samples(1.0)
        self._next_fit = now + self._samples(min(max(age, FIRST_FIT), RENEW_EVERY))

    def _set_line(self, anchor: int, height: float, slope: float) -> None:
        self._anchor, self._height, self._slope = anchor, height, max(slope, 1e-9)

    def _samples(self, seconds: float) -> int:
        return max(round(seconds * self._tick_hz / self._nominal), 1)


def _joined(parts: list[Placed]) -> Placed:
    if not parts:
        return Placed(np.zeros(0, np.int64), np.zeros(0), np.zeros(0))
    return Placed(
        np.concatenate([part.index for part in parts]),
        np.concatenate([part.ticks for part in parts]),
        np.concatenate([part.slips for part in parts]),
    )
