"""One run of a rotor: what was measured and which masses were fitted meanwhile."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from balancer.core.masses import Mass, total_unbalance
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError


@dataclass(frozen=True)
class Amplitude:
    """An amplitude without a phase.

    Parameters
    ----------
    value : float
        Peak, not negative.
    sd : float
        Standard uncertainty, not negative.
    """

    value: float
    sd: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.sd)) or self.value < 0 or self.sd < 0:
            raise InputError(f"{self.value:g} with uncertainty {self.sd:g} is no amplitude")

    def times(self, factor: float) -> Amplitude:
        """Give the product with a constant that is not negative."""
        return Amplitude(self.value * factor, self.sd * factor)


Reading = UncertainComplex | Amplitude

# An unbalance pulls with the square of the speed. How the stand answers adds to that: nothing on a soft
# stand, up to two powers more on a stiff one, and other powers near a resonance. A doubt of one power made
# the stated uncertainty true on average over simulated stands of all kinds.
_POWER, _POWER_SD = 2.0, 1.0


@dataclass(frozen=True)
class Run:
    """A run at one speed.

    Parameters
    ----------
    readings : tuple of UncertainComplex, or tuple of Amplitude
        One for each channel, all of one kind.
    masses : tuple of Mass
        All that was fitted during the run beyond the rotor as it was found.
    purpose : str
        ``as-is``, ``trial``, ``correction``, ``trim`` or ``check``; empty when not said.
    speed : float, optional
        In rad/s.
    """

    readings: tuple[Reading, ...]
    masses: tuple[Mass, ...] = ()
    purpose: str = ""
    speed: float | None = None

    @property
    def unbalance(self) -> complex:
        """What the fitted masses add, in kg m."""
        return total_unbalance(self.masses)

    @property
    def has_phase(self) -> bool:
        """Whether every reading has a phase."""
        return all(isinstance(reading, UncertainComplex) for reading in self.readings)

    def at_speed(self, speed: float) -> Run:
        """Convert acceleration readings to a speed (rad/s) a little off that of the run.

        Hands on a throttle never meet the same speed twice; 0.3 % of speed is 0.6 % of the reading, more
        than its noise. The readings are scaled with the square of the speed and made less sure by a share
        that grows with the difference.

        Parameters
        ----------
        speed : float
            In rad/s.

        Returns
        -------
        Run
            The run as it would have been; itself when its speed is not known.
        """
        if self.speed is None or self.speed == speed:
            return self
        factor = (speed / self.speed) ** _POWER
        doubt = _POWER_SD * abs(speed - self.speed) / self.speed
        return replace(self, readings=tuple(_scaled(r, factor, doubt) for r in self.readings), speed=speed)


def _scaled(reading: Reading, factor: float, doubt: float) -> Reading:
    if isinstance(reading, Amplitude):
        return Amplitude(reading.value * factor, math.hypot(reading.sd, doubt * reading.value) * factor)
    more = Covariance.circular((doubt * reading.amplitude * factor) ** 2)
    return UncertainComplex(reading.value * factor, reading.covariance.times(factor).plus(more))
