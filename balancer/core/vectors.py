"""The measured vector: a complex number that knows its 2 by 2 covariance."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from balancer.errors import InputError

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

SDS_95 = math.sqrt(-2.0 * math.log(0.05))
"""Standard deviations to the ellipse within which 95 % of the vectors lie: the root of 5.991, the 95 % point
of chi-square with 2 degrees of freedom (NIST/SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.4)."""


@dataclass(frozen=True)
class Covariance:
    """Covariance of the real and imaginary part of a complex number, in the square of its unit.

    Parameters
    ----------
    re, im : float
        Variances of the real and the imaginary part, not negative.
    cross : float
        Their covariance.

    Raises
    ------
    InputError
        If the three numbers are no covariance.
    """

    re: float
    im: float
    cross: float = 0.0

    def __post_init__(self) -> None:
        finite = all(math.isfinite(v) for v in (self.re, self.im, self.cross))
        slack = 1e-9 * max(self.re, self.im, 0.0)
        # the root of each: the product of two small variances may come out as 0
        if (
            not finite
            or min(self.re, self.im) < 0
            or abs(self.cross) > math.sqrt(self.re) * math.sqrt(self.im) + slack
        ):
            raise InputError(f"({self.re}, {self.im}, {self.cross}) is not a covariance")

    @classmethod
    def of_matrix(cls, matrix: Floats) -> Covariance:
        """Make one from a symmetric 2 by 2 array."""
        re, im = float(matrix[0, 0]), float(matrix[1, 1])
        # a line turned onto an axis leaves a variance of 0, which rounding may put just below
        rounding = 1e-12 * (re + im)
        re, im = (0.0 if -rounding < variance < 0 else variance for variance in (re, im))
        return cls(re, im, float(matrix[0, 1] + matrix[1, 0]) / 2)

    @classmethod
    def circular(cls, variance: float) -> Covariance:
        """Make one with the same variance in every direction (of each component)."""
        return cls(variance, variance)

    @property
    def matrix(self) -> Floats:
        """The covariance as a (2, 2) array."""
        return np.array([[self.re, self.cross], [self.cross, self.im]])

    @property
    def radius(self) -> float:
        """The root of the mean variance of a component: one figure for "how far off"."""
        return math.sqrt((self.re + self.im) / 2)

    def along(self, angle: float) -> float:
        """Give the standard deviation of the component in the direction `angle` (rad)."""
        c, s = math.cos(angle), math.sin(angle)
        return math.sqrt(max(c * c * self.re + s * s * self.im + 2 * c * s * self.cross, 0.0))

    def times(self, factor: complex) -> Covariance:
        """Give the covariance of the number multiplied by a complex constant."""
        a, b = factor.real, factor.imag
        turn = np.array([[a, -b], [b, a]])
        return Covariance.of_matrix(turn @ self.matrix @ turn.T)

    def plus(self, other: Covariance) -> Covariance:
        """Give the covariance of the sum of two independent numbers."""
        return Covariance(self.re + other.re, self.im + other.im, self.cross + other.cross)

    def axes(self) -> tuple[float, float, float]:
        """Give the standard deviations along the principal axes and the first one's direction.

        Returns
        -------
        major, minor : float
            Standard deviations, the larger first.
        direction : float
            Angle of the major axis in rad.
        """
        values, directions = np.linalg.eigh(self.matrix)
        major, minor = (math.sqrt(max(float(v), 0.0)) for v in (values[1], values[0]))
        return major, minor, math.atan2(float(directions[1, 1]), float(directions[0, 1]))


@dataclass(frozen=True)
class UncertainComplex:
    """A complex value with its covariance.

    Parameters
    ----------
    value : complex
        Amplitude exp(j lag), peak.
    covariance : Covariance
        Of its real and imaginary part.
    """

    value: complex
    covariance: Covariance

    @property
    def amplitude(self) -> float:
        """The modulus."""
        return abs(self.value)

    @property
    def lag(self) -> float:
        """The angle in rad, growing against the rotation as mass angles do."""
        return cmath.phase(self.value)

    @property
    def sd_amplitude(self) -> float:
        """Standard uncertainty of the modulus (first order; Rician bias is not corrected)."""
        return self.covariance.along(self.lag)

    @property
    def sd_lag(self) -> float:
        """Standard uncertainty of the angle in rad, pi/sqrt(3) (nothing known) at the most."""
        unknown = math.pi / math.sqrt(3)
        across = self.covariance.along(self.lag + math.pi / 2)
        return min(across / self.amplitude, unknown) if self.amplitude > 0 else unknown

    def times(self, factor: complex) -> UncertainComplex:
        """Give the product with a complex constant."""
        return UncertainComplex(self.value * factor, self.covariance.times(factor))


@dataclass(frozen=True)
class OrderVector(UncertainComplex):
    """Amplitude and phase of one order of one channel.

    The signal is ``amplitude * cos(order * shaft_angle - lag)`` and `value` is ``amplitude * exp(j lag)``.

    Parameters
    ----------
    value : complex
        In the channel's unit, peak.
    covariance : Covariance
        Of `value`.
    channel : str
        The channel's name.
    unit : str
        The channel's unit, ``m/s^2`` unless the reading was typed in.
    order : int
        Multiple of the shaft speed, 1 or more.
    speed : float
        Mean shaft speed in rad/s.
    revolutions : float
        How many revolutions were used.
    """

    channel: str
    unit: str
    order: int
    speed: float
    revolutions: float

    def as_velocity(self) -> OrderVector:
        """Turn an acceleration (m/s^2) into the velocity (m/s) of the same motion."""
        return self._integrated(1j / (self.order * self.speed), "m/s")

    def as_displacement(self) -> OrderVector:
        """Turn an acceleration (m/s^2) into the displacement (m) of the same motion."""
        return self._integrated(-1.0 / (self.order * self.speed) ** 2, "m")

    def _integrated(self, factor: complex, unit: str) -> OrderVector:
        if self.unit != "m/s^2":
            raise InputError(
                f"channel {self.channel} is in {self.unit}, not in m/s^2", todo="measure acceleration"
            )
        # x = Re(V exp(-j k theta)), so a time derivative multiplies V by -j k w
        return replace(self, value=self.value * factor, covariance=self.covariance.times(factor), unit=unit)
