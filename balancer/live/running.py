"""The 1x vector while the rotor runs: block by block, over the last seconds and over the whole run.

Blocks hold whole revolutions, about a sixteenth of a second of them, as sums of products that `core.orders`
fits. The whole run keeps at most `MOST_BLOCKS`: then neighbours are added up two by two, so the memory stays
the same however long it lasts.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline

from balancer.core.orders import FEWEST_REVOLUTIONS, fit_sums, order_sums
from balancer.core.vectors import OrderVector
from balancer.errors import InputError
from balancer.live.segment import DecodedBlock
from balancer.live.shaft import Turned, turned
from balancer.recording.hello import Hello

Floats = npt.NDArray[np.float64]

BLOCK = 1 / 16
"""Least length of a block in s."""

REPORT_EVERY = 0.12
"""Least time between results in s."""

STALE = 1.5
"""Seconds without a new speed after which it counts as unknown."""

MOST_BLOCKS = 512
"""Blocks kept of the whole run, of whatever length they have come to have."""

ORDERS = (1, 2, 3)

_FEWEST_BLOCKS = 8  # for an uncertainty that means something
_MOST_WAITING = 10.0  # s of samples without a countable mark


@dataclass(frozen=True)
class LiveVectors:
    """What the rotor does now.

    Parameters
    ----------
    time : float
        End of the last block, in s on the device's clock.
    speed : float
        Mean speed over the last block in rad/s.
    slowest, fastest : float
        Speeds of blocks within the window, in rad/s.
    span : float
        How much of the window is filled, in s.
    revolutions : int
        Whole revolutions since the beginning or the last `RunningOrders.restart`.
    recent, whole : tuple of OrderVector
        The 1x vector of each channel over the window and since the beginning; empty while there is too
        little.
    """

    time: float
    speed: float
    slowest: float
    fastest: float
    span: float
    revolutions: int
    recent: tuple[OrderVector, ...]
    whole: tuple[OrderVector, ...]

    @property
    def spread(self) -> float:
        """Fastest less slowest within the window, as a fraction of the speed."""
        return (self.fastest - self.slowest) / self.speed

    def is_steady(self, band: float, hold: float) -> bool:
        """Tell whether the speed has stayed within `band` (a fraction) for `hold` s, at most the window."""
        return bool(self.span >= hold - BLOCK and self.spread <= band)


@dataclass(frozen=True, eq=False)
class _Sums:
    """One block: its sums, how long it lasted in s, and its whole revolutions."""

    sums: Floats
    duration: float
    revolutions: int

    @property
    def speed(self) -> float:
        return 2 * np.pi * self.revolutions / self.duration

    def plus(self, other: _Sums) -> _Sums:
        return _Sums(
            self.sums + other.sums, self.duration + other.duration, self.revolutions + other.revolutions
        )


class RunningOrders:
    """Takes what the decoder gives and keeps the 1x vectors up to date.

    Parameters
    ----------
    window : float, optional
        Seconds of the recent vector.

    Attributes
    ----------
    latest : LiveVectors or None
        The newest result.
    """

    def __init__(self, window: float = 3.0) -> None:
        self._window = window
        self.latest: LiveVectors | None = None
        self._hello: Hello | None = None
        self._segment = -1
        self._orders: tuple[int, ...] = ()
        self._recent: deque[_Sums] = deque()
        self._whole: list[_Sums] = []
        self._whole_from = -np.inf
        self._growing: _Sums | None = None  # of the whole run: becomes a block of the length it has by now
        self._per_block = 1
        self._in_growing = 0
        self._times, self._samples, self._marks = _nothing(0)
        self._reported = -np.inf
        self._done = -np.inf  # time of the last mark up to which blocks are made

    @property
    def revolutions(self) -> int:
        """Whole revolutions since the beginning or the last restart."""
        growing = self._growing.revolutions if self._growing else 0
        return growing + sum(one.revolutions for one in self._whole)

    def restart(self, after: float = -np.inf) -> None:
        """Let the whole run begin now, with the first block after this time of the segment in s."""
        self._whole_from = after
        self._whole, self._growing, self._per_block, self._in_growing = [], None, 1, 0

    def add(self, block: DecodedBlock) -> LiveVectors | None:
        """Take samples and marks.

        Parameters
        ----------
        block : DecodedBlock
            What came next.

        Returns
        -------
        LiveVectors or None
            A new result, if there is one.
        """
        if block.segment != self._segment:
            self._segment, self._hello, self._whole_from = block.segment, block.hello, -np.inf
            self._forget()
            self._clear_unless_one_mark()
        self._times = np.concatenate((self._times, block.times))
        self._samples = np.concatenate((self._samples, block.samples), axis=1)
        self._marks = np.concatenate((self._marks, block.marks))
        self._drop_old()
        return self._advance()

    def _forget(self) -> None:
        """Begin with new clocks: nothing before can be joined up."""
        self._times, self._samples, self._marks = _nothing(len(self._hello.axes) if self._hello else 0)
        self._reported = self._done = -np.inf

    def _clear_unless_one_mark(self) -> None:
        """With several marks a turn, angle 0 may be another one after a restart."""
        assert self._hello is not None
        axes = len(self._hello.axes)
        changed = bool(self._whole) and self._whole[0].sums.shape[0] != 1 + 2 * len(self._orders) + axes
        if self._hello.marks_per_rev > 1 or changed:
            self._recent.clear()
            self.restart()

    def _drop_old(self) -> None:
        """Let go of samples for which no marks come."""
        if self._times.size and self._times[-1] - self._times[0] > _MOST_WAITING:
            late = self._times[-1] - _MOST_WAITING / 2
            start = int(np.searchsorted(self._times, late))
            self._times, self._samples = self._times[start:], self._samples[:, start:]
            self._marks = self._marks[self._marks >= late]

    def _advance(self) -> LiveVectors | None:
        """Make blocks of the revolutions that are complete and have marks behind them."""
        assert self._hello is not None
        if not self._times.size or not self._marks.size:
            return None
        begun = self._done if np.isfinite(self._done) else self._marks[0]
        if self._marks[-1] - begun < BLOCK:
            return None
        shaft = turned(self._marks, self._hello.marks_per_rev, self._done, float(self._times[-1]))
        if shaft is None or not self._make_blocks(shaft) or self._done - self._reported < REPORT_EVERY:
            return None
        self._reported = self._done
        return self.renew()

    def _make_blocks(self, shaft: Turned) -> bool:
        times, turns = shaft.times, shaft.turns
        made, start = False, int(shaft.whole[0])
        for stop in shaft.whole[1:].tolist():
            if times[stop] - times[start] >= BLOCK:
                revolutions = int(np.rint(turns[stop] - turns[start]))
                self._add_block(shaft.curve, times[start], times[stop], revolutions)
                made, start = True, stop
        if made:
            self._done = float(times[start])
            self._marks = self._marks[self._marks >= shaft.context(start)]
            first = int(np.searchsorted(self._times, self._done))
            self._times, self._samples = self._times[first:], self._samples[:, first:]
        return made

    def _add_block(self, shaft: CubicSpline, start: float, stop: float, revolutions: int) -> None:
        assert self._hello is not None
        span = slice(*np.searchsorted(self._times, (start, stop)))
        frequency = revolutions / (stop - start)
        rate = (span.stop - span.start) / (stop - start)
        orders = tuple(order for order in ORDERS if order * frequency < 0.45 * rate)
        if not orders or span.stop - span.start <= 2 * (1 + 2 * len(orders)):
            return
        if orders != self._orders:
            self._orders = orders
            self._recent.clear()
            self.restart()
        turns = np.asarray(shaft(self._times[span]))
        block = _Sums(order_sums(turns, self._samples[:, span], orders), stop - start, revolutions)
        self._recent.append(block)
        while sum(one.duration for one in self._recent) > self._window + BLOCK:
            self._recent.popleft()
        if start >= self._whole_from:
            self._add_to_whole(block)

    def _add_to_whole(self, block: _Sums) -> None:
        """Let the run grow; add neighbours up when it has too many blocks."""
        self._growing = block if self._growing is None else self._growing.plus(block)
        self._in_growing += 1
        if self._in_growing == self._per_block:
            self._whole.append(self._growing)
            self._growing, self._in_growing = None, 0
        if len(self._whole) == MOST_BLOCKS:
            pairs = zip(self._whole[0::2], self._whole[1::2], strict=True)
            self._whole = [one.plus(other) for one, other in pairs]
            self._per_block *= 2

    def renew(self) -> LiveVectors | None:
        """Work out the result from all blocks so far; `add` does so by itself several times a second."""
        if not self._recent:
            return None
        speeds = [one.speed for one in self._recent]
        whole = self._whole if len(self._whole) > 1 or self._growing is None else [self._growing]
        self.latest = LiveVectors(
            time=self._done,
            speed=speeds[-1],
            slowest=min(speeds),
            fastest=max(speeds),
            span=sum(one.duration for one in self._recent),
            revolutions=self.revolutions,
            recent=self._vectors(list(self._recent)),
            whole=self._vectors(whole),
        )
        return self.latest

    def _vectors(self, blocks: list[_Sums]) -> tuple[OrderVector, ...]:
        assert self._hello is not None
        revolutions = sum(one.revolutions for one in blocks)
        if len(blocks) < _FEWEST_BLOCKS or revolutions < FEWEST_REVOLUTIONS:
            return ()
        duration = sum(one.duration for one in blocks)
        speeds = np.array([one.speed for one in blocks])
        try:
            fit = fit_sums(
                np.array([one.sums for one in blocks]), self._orders, duration, revolutions, speeds
            )
        except (InputError, np.linalg.LinAlgError):
            return ()
        return tuple(
            OrderVector(
                value=complex(fit.vectors[k, 0]),
                covariance=fit.covariance(k, 1),
                channel=axis,
                unit="m/s^2",
                order=1,
                speed=2 * np.pi * revolutions / duration,
                revolutions=float(revolutions),
            )
            for k, axis in enumerate(self._hello.axes)
        )


def _nothing(axes: int) -> tuple[Floats, Floats, Floats]:
    """Give no times, no samples and no marks."""
    return np.zeros(0), np.zeros((axes, 0)), np.zeros(0)
