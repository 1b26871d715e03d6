"""The pick-up that sees the mark pass: edges, jitter, missed marks and double ones."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from balancer.recording.model import Floats
from balancer.simulator.checks import check
from balancer.simulator.motion import ShaftPath

Edge = Literal["rising", "falling"]


@dataclass(frozen=True)
class Pickup:
    """A reflective or Hall pick-up; the defaults are one without faults.

    Rotor angle 0 is the leading edge of the first mark, where the pulse rises. With ``edge="falling"`` every
    pulse comes `width` later, so that every angle read from the recording is smaller by `width`.

    Parameters
    ----------
    places : tuple of float, optional
        Rotor angles in rad of the leading edges of all marks, rising from 0 to below a full turn.
    edge : {"rising", "falling"}, optional
        The edge whose time is taken.
    width : float, optional
        Width of a mark in rad.
    jitter : float, optional
        Standard deviation in s of a mark's time.
    miss_probability, double_probability : float, optional
        For each mark, that it is not seen, and that it is seen twice.

    Raises
    ------
    InputError
        If a number is impossible.
    """

    places: tuple[float, ...] = (0.0,)
    edge: Edge = "rising"
    width: float = 0.0
    jitter: float = 0.0
    miss_probability: float = 0.0
    double_probability: float = 0.0

    def __post_init__(self) -> None:
        ends = (*self.places, 2 * math.pi)
        check(
            "pick-up",
            (ends[0] == 0, "the first mark must be at the angle 0"),
            (all(b > a for a, b in pairwise(ends)), "places must rise below a full turn"),
            (self.edge in {"rising", "falling"}, "edge must be rising or falling"),
            (0 <= self.width < math.pi, "width must be from 0 to half a turn"),
            (0 <= self.jitter < math.inf, "jitter must not be negative"),
            (0 <= self.miss_probability < 0.5, "miss_probability must be from 0 to 0.5"),
            (0 <= self.double_probability < 0.5, "double_probability must be from 0 to 0.5"),
        )

    @classmethod
    def even(cls, marks_per_rev: int) -> Pickup:
        """Give a pick-up without faults and evenly spaced marks."""
        return cls(tuple(2 * math.pi * i / marks_per_rev for i in range(marks_per_rev)))

    @property
    def delay_angle(self) -> float:
        """Angle in rad by which the rotor has turned past the leading edge when the time is taken."""
        return self.width if self.edge == "falling" else 0.0

    def start_angle(self, rng: np.random.Generator) -> float:
        """Draw a shaft angle to start at, in rad, such that the first mark to pass is the one at angle 0."""
        last_space = 2 * math.pi - self.places[-1]
        return self.delay_angle - last_space * rng.uniform(0.02, 0.98)

    def see(self, path: ShaftPath, duration: float, rng: np.random.Generator) -> Floats:
        """Record the marks of one run.

        Parameters
        ----------
        path : ShaftPath
            The shaft's angle.
        duration : float
            Time in s, from 0, over which marks are taken.
        rng : numpy.random.Generator
            Source of jitter, misses and doubles.

        Returns
        -------
        array, shape (m,)
            Times of the marks in s, rising.
        """
        passing = [path.passages(place + self.delay_angle, 0.0, duration) for place in self.places]
        times = np.sort(np.concatenate(passing))
        if times.size < 2:
            return times
        spaces = np.diff(times, append=2 * times[-1] - times[-2])
        missed = rng.random(times.size) < self.miss_probability
        doubled = rng.random(times.size) < self.double_probability
        missed[0] = False  # of several marks the first one seen tells which is at angle 0
        # a second edge comes soon after: a scratch, a bolt head, the bounce of a slow comparator
        echoes = times + spaces * rng.uniform(0.02, 0.3, times.size)
        times = times + self.jitter * rng.standard_normal(times.size)
        return np.sort(np.concatenate((times[~missed], echoes[doubled & ~missed])))
