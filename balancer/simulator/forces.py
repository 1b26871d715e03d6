"""What shakes the stand: unbalance, forces at multiples of the shaft speed, and lines that are no order.

Where the signs come from. Count directions on the stand in the direction of rotation from the pick-up. The
mark passes the pick-up at theta = 0, so it stands at theta; a mass m at the rotor angle phi (against the
rotation) stands at a = theta - phi. Its place is r (cos a, sin a), hence its acceleration
r theta'' (-sin a, cos a) - r theta'^2 (cos a, sin a), and it pushes the stand with minus m times that. Along
the direction b the push is

    F = m r (theta'^2 cos(a - b) + theta'' sin(a - b)) = Re(U exp(j b) (theta'^2 + j theta'') exp(-j theta)),

U = m r exp(j phi). Directions on the stand are given counter-clockwise (see `stand`): b = sense * direction.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.interpolate import PchipInterpolator

from balancer.simulator.checks import check
from balancer.simulator.stand import Stand

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]


@dataclass(frozen=True)
class OrderForce:
    """A force with a fixed direction on the stand, at a multiple of the shaft speed.

    It is ``(steady + aerodynamic w^2) cos(order theta - lag)``.

    Parameters
    ----------
    order : float
        Multiple of the shaft speed: 1 or more, or a half (what repeats with every second turn).
    steady : float, optional
        Part of the amplitude in N that does not depend on speed (magnets and windings).
    aerodynamic : float, optional
        Part of the amplitude in N/(rad/s)^2 (air forces grow with the speed squared).
    lag : float, optional
        In rad.
    direction : float, optional
        Direction on the stand in rad, counter-clockwise from the pick-up.
    axial : float, optional
        Axial force per force.
    lateral : float, optional
        Lateral force per force: 0 for one that acts along the shaft alone.

    Raises
    ------
    InputError
        If a number is not finite or the order neither 1 or more nor a half.
    """

    order: float
    steady: float = 0.0
    aerodynamic: float = 0.0
    lag: float = 0.0
    direction: float = 0.0
    axial: float = 0.0
    lateral: float = 1.0

    def __post_init__(self) -> None:
        numbers = (self.steady, self.aerodynamic, self.lag, self.direction, self.axial, self.lateral)
        check(
            "order force",
            (self.order >= 1 or self.order == 0.5, "order must be 1 or more, or a half"),
            (all(math.isfinite(v) for v in numbers), "its numbers must be finite"),
        )


@dataclass(frozen=True)
class Line:
    """A steady vibration that is no multiple of the shaft speed, such as mains hum or a neighbour's motor.

    Parameters
    ----------
    frequency : float
        In Hz.
    amplitudes : tuple of float
        Peak acceleration of the axes x, y and z in m/s^2.
    lag : float, optional
        In rad, at the first sample.

    Raises
    ------
    InputError
        If a number is not finite or the frequency not above 0.
    """

    frequency: float
    amplitudes: tuple[float, float, float]
    lag: float = 0.0

    def __post_init__(self) -> None:
        check(
            "line",
            (0 < self.frequency < math.inf, "frequency must be above 0"),
            (all(math.isfinite(v) for v in (*self.amplitudes, self.lag)), "its numbers must be finite"),
        )


class Moving:
    """An unbalance that changes during a run.

    Parameters
    ----------
    points : sequence of (float, complex)
        Time in s and unbalance in kg m, two or more, rising in time.
    """

    def __init__(self, points: Sequence[tuple[float, complex]]) -> None:
        self._times = np.array([time for time, _ in points])
        values = np.array([value for _, value in points])
        self._parts = PchipInterpolator(self._times, np.stack([values.real, values.imag], axis=1))

    def at(self, times: Floats) -> Complexes:
        """Give the unbalance in kg m at the times (n,) in s."""
        re, im = self._parts(np.clip(times, self._times[0], self._times[-1])).T
        return np.asarray(re + 1j * im)

    def turned(self, times: Floats, unit: Floats) -> Floats:
        """Make the two series of a unit unbalance (2, n) into those of this one.

        With U exp(j b) = u the force is Re(u (unit_0 - j unit_1)), shared out as that of a unit unbalance.
        """
        turning = self.at(times) * (unit[0] - 1j * unit[1])
        return np.stack([turning.real, -turning.imag])


@dataclass(frozen=True)
class Drive:
    """All forces locked to the shaft, as a few time series shared out to the modes of the stand.

    Parameters
    ----------
    unbalance : complex
        In kg m.
    pull : complex
        Force in N that turns with the rotor.
    orders : tuple of OrderForce
        Forces fixed in direction.
    electric : int
        How many of them, at the end, go with the power, as the pull does.
    """

    unbalance: complex
    pull: complex = 0j
    orders: tuple[OrderForce, ...] = ()
    electric: int = 0

    @property
    def powered(self) -> list[int]:
        """Rows of `series` that are there under power only."""
        rows = 4 + len(self.orders)
        return [2, 3, *range(rows - self.electric, rows)]

    @property
    def highest_order(self) -> float:
        """The highest multiple of the shaft speed."""
        return max((force.order for force in self.orders), default=1)

    def series(self, angle: Floats, speed: Floats, acceleration: Floats) -> Floats:
        """Evaluate the time series.

        Parameters
        ----------
        angle, speed, acceleration : array, shape (n,)
            Of the shaft, in rad, rad/s and rad/s^2.

        Returns
        -------
        array, shape (4 + orders, n)
            Two for a unit unbalance, two for a unit turning force, one for each order force (N).
        """
        squared = speed**2
        c, s = np.cos(angle), np.sin(angle)
        rows = [squared * c + acceleration * s, squared * s - acceleration * c, c, s]
        rows += [
            (force.steady + force.aerodynamic * squared) * np.cos(force.order * angle - force.lag)
            for force in self.orders
        ]
        return np.stack(rows)

    def shares(self, stand: Stand, sense: int) -> Floats:
        """Say how much of each time series drives each mode.

        Parameters
        ----------
        stand : Stand
            The stand.
        sense : {1, -1}
            As in `Stand.response`.

        Returns
        -------
        array, shape (3, 4 + orders)
            One row for each of the stand's modes.
        """
        rows = []
        for shape in stand.shapes:
            turned = shape.lateral * cmath.exp(1j * sense * shape.direction)
            unbalance, pull = self.unbalance * turned, self.pull * turned
            fixed = [
                shape.lateral * force.lateral * math.cos(shape.direction - force.direction)
                + shape.axial * force.axial
                for force in self.orders
            ]
            rows.append([unbalance.real, unbalance.imag, pull.real, pull.imag, *fixed])
        return np.array(rows)
