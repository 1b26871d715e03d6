"""Readings typed in by hand: amplitude and phase with what their digits tell of their uncertainty."""

from __future__ import annotations

import cmath
import math
from decimal import Decimal

from balancer.core.runs import Amplitude, Reading
from balancer.core.vectors import Covariance, UncertainComplex

_ROUNDING = 1 / math.sqrt(12)  # standard deviation of a reading rounded to 1


def typed_reading(
    amplitude: int | Decimal,
    phase_deg: int | Decimal | None = None,
    *,
    lead: bool = False,
    sd_amplitude: float | None = None,
    sd_phase_deg: float | None = None,
) -> Reading:
    """Make a reading of what was typed.

    Parameters
    ----------
    amplitude : int or Decimal
        Peak, as typed, not negative: its last digit tells the least uncertainty.
    phase_deg : int or Decimal, optional
        In degrees as typed; left out: an amplitude only.
    lead : bool
        Whether the phase counts as a lead instead of a lag.
    sd_amplitude, sd_phase_deg : float, optional
        Standard uncertainties; that of the last digit by default.

    Returns
    -------
    UncertainComplex or Amplitude
        The reading.

    Examples
    --------
    >>> round(typed_reading(Decimal("7.0")).sd, 4)
    0.0289
    """
    value = float(amplitude)
    along = sd_amplitude if sd_amplitude is not None else _ROUNDING * last_digit(amplitude)
    if phase_deg is None:
        return Amplitude(value, along)
    across = math.radians(sd_phase_deg if sd_phase_deg is not None else _ROUNDING * last_digit(phase_deg))
    lag = math.radians(float(phase_deg))
    direction = cmath.exp(-1j * lag if lead else 1j * lag)
    covariance = Covariance(along**2, (value * across) ** 2).times(direction)
    return UncertainComplex(value * direction, covariance)


def last_digit(typed: int | Decimal) -> float:
    """Give the value of one step of the last digit typed: 0.1 for 7.0, 1 for 160."""
    exponent = Decimal(typed).as_tuple().exponent
    return 10.0**exponent if isinstance(exponent, int) else 0.0
