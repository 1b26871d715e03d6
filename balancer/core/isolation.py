"""Vibration isolation: what a mount on springs and dampers lets through.

S. S. Rao, Mechanical Vibrations, chapter 9 (vibration isolation) and section 3.6 (base motion); from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from balancer.errors import InputError
from balancer.units import G_STANDARD


@dataclass(frozen=True)
class Mount:
    """A mass on springs and viscous dampers.

    Parameters
    ----------
    frequency : float
        Undamped natural frequency in Hz, above 0.
    damping : float
        Damping ratio, 0 or more.

    Raises
    ------
    InputError
        If the numbers are outside of that.

    Examples
    --------
    >>> round(Mount(20.0, 0.1).transmissibility(20.0 * math.sqrt(2)), 9)
    1.0
    """

    frequency: float
    damping: float

    def __post_init__(self) -> None:
        if not 0 < self.frequency < math.inf:
            raise InputError("the natural frequency of the mount must be above 0 Hz")
        if not 0 <= self.damping < math.inf:
            raise InputError("the damping ratio of the mount must be 0 or more")

    def transmissibility(self, frequency: float) -> float:
        """Give the amplitude passed on at a frequency in Hz, over that which comes in."""
        return transmissibility(frequency / self.frequency, self.damping)

    def passed_on(self, frequency: float) -> complex:
        """Give the same with its phase: motion of what is carried over motion of the base, as exp(+j w t)."""
        r = frequency / self.frequency
        through = 2j * self.damping * r
        return (1 + through) / (1 - r**2 + through)

    @property
    def isolates_from(self) -> float:
        """Frequency in Hz above which less comes out than goes in, whatever the damping: sqrt(2) fn."""
        return math.sqrt(2) * self.frequency

    @property
    def sag(self) -> float:
        """Static deflection in m under the weight of what it carries, for a linear spring: g / wn^2."""
        return G_STANDARD / (2 * math.pi * self.frequency) ** 2

    def tuned(self, frequency: float) -> Mount:
        """Give a mount of another stiffness with the same damping ratio, as rubber of one kind keeps it."""
        return Mount(frequency, self.damping)


def transmissibility(ratio: float, damping: float) -> float:
    """Give sqrt((1 + (2 zeta r)^2) / ((1 - r^2)^2 + (2 zeta r)^2)).

    Parameters
    ----------
    ratio : float
        Frequency over natural frequency, 0 or more.
    damping : float
        Damping ratio.

    Returns
    -------
    float
        Output over input amplitude; infinite at resonance without damping.

    Examples
    --------
    >>> round(transmissibility(3.0, 0.0), 4)
    0.125
    """
    through = (2 * damping * ratio) ** 2
    below = (1 - ratio**2) ** 2 + through
    return math.sqrt((1 + through) / below) if below > 0 else math.inf
