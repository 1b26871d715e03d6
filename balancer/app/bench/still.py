"""How long something has stayed within its band: the speed, or without marks the level of the vibration."""

from __future__ import annotations

import math
from collections import deque
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from balancer.recording.model import Floats

MOST = 1024
"""Values remembered; of a longer stillness only its beginning and its extremes are."""

LEVEL_BAND = 0.5
"""Fraction within which the level of the vibration counts as the same: turbulence alone moves it some."""

LEVEL_EVERY = 0.25
"""Seconds over which a level is taken."""


GAP = 3.0
"""Seconds without a value after which nothing is known of the time between."""


class Still:
    """Keeps the longest run of values up to the latest of which largest and smallest lie within a band.

    Parameters
    ----------
    band : float
        Fraction of the latest value.

    Attributes
    ----------
    since : float
        When that run began, in s; infinite before the first value.

    Examples
    --------
    >>> still = Still(0.02)
    >>> for time, speed in ((0.0, 90.0), (1.0, 100.0), (2.0, 101.0)):
    ...     still.add(time, speed)
    >>> still.since, still.seconds
    (1.0, 1.0)
    """

    def __init__(self, band: float) -> None:
        self.band = band
        self.since = math.inf
        self._least = self._most = 0.0
        self._values: deque[tuple[float, float]] = deque(maxlen=MOST)

    @property
    def seconds(self) -> float:
        """How long that run lasts by now."""
        return self._values[-1][0] - self.since if self._values else 0.0

    def restart(self) -> None:
        """Let it begin anew with the next value."""
        self.since = math.inf
        self._values.clear()

    def add(self, time: float, value: float) -> None:
        """Take the value at a time in s, later than the one before."""
        if self._values and time - self._values[-1][0] > GAP:
            self._values.clear()
        self._values.append((time, value))
        if len(self._values) == 1:
            self.since, self._least, self._most = time, value, value
            return
        self._least, self._most = min(self._least, value), max(self._most, value)
        if self._most - self._least > self.band * value:
            self._shorten(value)

    def _shorten(self, latest: float) -> None:
        """Go back from the latest value as far as all lie within the band."""
        values, self._values = self._values, deque(maxlen=MOST)
        self._least = self._most = latest
        for time, value in reversed(values):
            least, most = min(self._least, value), max(self._most, value)
            if most - least > self.band * latest:
                break
            self._least, self._most, self.since = least, most, time
            self._values.appendleft((time, value))


class Level:
    """Takes samples and gives the level of the vibration piece by piece, for rotors without a mark."""

    def __init__(self) -> None:
        self._samples: list[Floats] = []
        self._begun = math.inf

    def add(self, times: Floats, samples: Floats) -> float | None:
        """Give the rms value of all axes over the last piece without their means, once it is complete.

        Parameters
        ----------
        times : array, shape (n,)
            In s, rising.
        samples : array, shape (axes, n)
            In m/s^2.

        Returns
        -------
        float or None
            In m/s^2.
        """
        if not times.size:
            return None
        if not self._samples or times[-1] < self._begun or samples.shape[0] != self._samples[0].shape[0]:
            self._samples, self._begun = [], float(times[0])
        self._samples.append(samples)
        if times[-1] - self._begun < LEVEL_EVERY:
            return None
        piece, self._samples = np.concatenate(self._samples, axis=1), []
        return float(np.sqrt(piece.var(axis=1).sum()))
