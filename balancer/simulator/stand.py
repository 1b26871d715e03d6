"""The stand: a moving mass on two unequal lateral springs and an axial one, with its closed-form response.

Geometry, seen from the front (propeller towards the viewer): directions on the stand are counted
counter-clockwise from the pick-up. The sensor's x axis lies at `sensor_angle`, y a quarter turn further, z
points at the viewer; the first principal axis lies `turn` beyond x, the second a quarter turn further.

Each mode obeys m q'' + c q' + k q = F. With x(t) = Re(V exp(-j theta)), V = A exp(j lag), a steady force of
frequency w gives q = F / (k - m w^2 - j c w): the lag grows from 0 to 180 degrees across the resonance.
(S. S. Rao, Mechanical Vibrations, chapter 3, forced response of a damped system; from memory, there with
exp(+j w t).)
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, replace

from balancer.simulator.checks import check

AXES = ("x", "y", "z")
"""Names of the sensor axes."""


@dataclass(frozen=True)
class Mode:
    """One degree of freedom of the stand.

    Parameters
    ----------
    frequency : float
        Undamped natural frequency in Hz.
    damping : float
        Damping ratio, above 0 and at most 0.5: a stand rings, and its poles stay apart from the sensor's.

    Raises
    ------
    InputError
        If the numbers are outside of that.
    """

    frequency: float
    damping: float

    def __post_init__(self) -> None:
        check(
            "mode",
            (0 < self.frequency < math.inf, "frequency must be above 0"),
            (0 < self.damping <= 0.5, "damping must be above 0 and at most 0.5"),
        )

    @property
    def pole(self) -> complex:
        """The pole in the upper half plane, in rad/s: free motion goes as the real part of exp(pole t)."""
        across = math.sqrt(1 - self.damping**2)
        return 2 * math.pi * self.frequency * complex(-self.damping, across)

    def accelerance(self, w: float) -> complex:
        """Acceleration per unit force times the moving mass, at the angular frequency `w` in rad/s."""
        natural = 2 * math.pi * self.frequency
        return -(w**2) / (natural**2 - w**2 - 2j * self.damping * natural * w)

    def loaded(self, ratio: float) -> Mode:
        """Give the same spring and damper under a moving mass `ratio` times as large."""
        return Mode(self.frequency / math.sqrt(ratio), self.damping / math.sqrt(ratio))


@dataclass(frozen=True)
class Shape:
    """How a mode is driven and where it is seen.

    Parameters
    ----------
    mode : Mode
        Its frequency and damping.
    direction : float
        Direction on the stand, in rad, of the lateral force that drives it.
    lateral, axial : float
        Share of that force, and of the axial force, which drives it.
    seen : tuple of float
        Its part in the sensor axes x, y and z.
    """

    mode: Mode
    direction: float
    lateral: float
    axial: float
    seen: tuple[float, float, float]


@dataclass(frozen=True)
class Stand:
    """The bench fixture with its sensor position.

    Parameters
    ----------
    moving_mass : float
        All that moves with the sensor in kg, motor, rotor and propeller included.
    first, second : Mode
        The two lateral modes.
    axial : Mode
        The mode along the shaft.
    turn : float, optional
        Angle in rad from the sensor's x axis to the first principal axis.
    sensor_angle : float, optional
        Angle in rad from the pick-up to the sensor's x axis.
    coupling : float, optional
        Share of the force along the first principal axis that also drives the axial mode.

    Raises
    ------
    InputError
        If a number is not finite or the moving mass not above 0.

    Examples
    --------
    >>> stand = Stand(0.25, Mode(21.0, 0.04), Mode(34.0, 0.05), Mode(125.0, 0.03))
    >>> round(abs(stand.response(545.0, "x")) * 1e-6, 3)  # m/s^2 per g mm
    1.262
    """

    moving_mass: float
    first: Mode
    second: Mode
    axial: Mode
    turn: float = 0.0
    sensor_angle: float = 0.0
    coupling: float = 0.0

    def __post_init__(self) -> None:
        check(
            "stand",
            (0 < self.moving_mass < math.inf, "moving_mass must be above 0"),
            (math.isfinite(self.turn + self.sensor_angle), "turn and sensor_angle must be finite"),
            (math.isfinite(self.coupling), "coupling must be finite"),
        )

    @property
    def shapes(self) -> tuple[Shape, Shape, Shape]:
        """The three modes with their directions."""
        c, s = math.cos(self.turn), math.sin(self.turn)
        along = self.sensor_angle + self.turn
        return (
            Shape(self.first, along, 1.0, 0.0, (c, s, 0.0)),
            Shape(self.second, along + math.pi / 2, 1.0, 0.0, (-s, c, 0.0)),
            Shape(self.axial, along, self.coupling, 1.0, (0.0, 0.0, 1.0)),
        )

    def loaded(self, mass: float) -> Stand:
        """Give the same springs and dampers with `mass` (kg, negative when taken off) more to move."""
        ratio = 1 + mass / self.moving_mass
        check("stand", (0 < ratio < math.inf, "the masses taken off are more than the moving mass"))
        first, second, axial = (mode.loaded(ratio) for mode in (self.first, self.second, self.axial))
        return replace(self, moving_mass=self.moving_mass * ratio, first=first, second=second, axial=axial)

    def response(self, speed: float, axis: str, sense: int = 1) -> complex:
        """Give the influence coefficient of an unbalance at steady speed.

        Parameters
        ----------
        speed : float
            Shaft speed in rad/s.
        axis : {"x", "y", "z"}
            The sensor axis.
        sense : {1, -1}, optional
            1 when the rotor turns counter-clockwise seen from the front.

        Returns
        -------
        complex
            H in (m/s^2)/(kg m) of the 1x vector V = A exp(j lag) per unbalance; the sensor is not in it.
        """
        # F along a direction b on the stand: Re(w^2 U exp(j sense b) exp(-j theta)), see forces
        terms = (
            shape.seen[AXES.index(axis)]
            * shape.lateral
            * cmath.exp(1j * sense * shape.direction)
            * shape.mode.accelerance(speed)
            for shape in self.shapes
        )
        return speed**2 / self.moving_mass * sum(terms, 0j)
