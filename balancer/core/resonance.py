"""A resonance: natural frequency and damping ratio, what it does to a rotating force, how slowly to sweep it.

With x(t) = Re(V exp(-j theta)) a force of angular frequency w on a mode gives the acceleration
-w^2 / (wn^2 - w^2 - 2j zeta wn w) per unit of force and modal mass (S. S. Rao, Mechanical Vibrations, chapter
3; from memory, there with exp(+j w t)).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]


@dataclass(frozen=True)
class Resonance:
    """One mode that was measured.

    Parameters
    ----------
    frequency : float
        Undamped natural frequency in Hz.
    damping : float
        Damping ratio.
    sd_frequency : float
        Standard uncertainty in Hz.
    sd_damping : float
        Standard uncertainty of the ratio.
    """

    frequency: float
    damping: float
    sd_frequency: float
    sd_damping: float

    @property
    def speed(self) -> float:
        """The shaft speed in rad/s at which 1x meets it."""
        return 2 * math.pi * self.frequency

    @property
    def half_power(self) -> tuple[float, float]:
        """Frequencies in Hz between which the response is above 1/sqrt(2) of its peak, about 2 zeta apart.

        Rao, section 3.4 (small damping; from memory).
        """
        return self.frequency * (1 - self.damping), self.frequency * (1 + self.damping)

    @property
    def amplification(self) -> float:
        """Response at resonance over the response far above it, 1/(2 zeta)."""
        return 1 / (2 * self.damping)


def pole(frequency: float, damping: float) -> complex:
    """Give the pole in the upper half plane in rad/s: free motion goes as the real part of exp(pole t).

    Parameters
    ----------
    frequency : float
        Undamped natural frequency in Hz.
    damping : float
        Damping ratio, 0 to below 1.
    """
    return 2 * math.pi * frequency * complex(-damping, math.sqrt(1 - damping**2))


def accelerance(speeds: Floats, frequency: float, damping: float) -> Complexes:
    """Give acceleration per unit force and modal mass at steady speeds (rad/s), as A exp(j lag).

    Examples
    --------
    >>> at = accelerance(np.array([2 * math.pi * 50.0]), 50.0, 0.05)
    >>> round(float(abs(at[0])), 6), round(math.degrees(np.angle(at[0])), 6)
    (10.0, -90.0)
    """
    natural = 2 * np.pi * frequency
    return np.asarray(-(speeds**2) / (natural**2 - speeds**2 - 2j * damping * natural * speeds))


def quickest_sweep(frequency: float, damping: float) -> float:
    """Give the rate in Hz/s up to which a linear sweep shows a resonance as a steady speed would.

    Parameters
    ----------
    frequency : float
        Natural frequency in Hz.
    damping : float
        Damping ratio.

    Returns
    -------
    float
        54 f^2 / Q^2 Hz a minute, Q = 1/(2 zeta): ISO 7626-2, swept sine (from memory).

    Examples
    --------
    >>> round(quickest_sweep(50.0, 0.05), 1)
    22.5
    """
    return 54 * (2 * damping * frequency) ** 2 / 60
