"""Balance quality grade and permissible residual unbalance (ISO 21940-11:2016)."""

from __future__ import annotations

import math

from balancer.errors import InputError

DEFAULT_GRADE = 6.3e-3
"""G6.3 in m/s: fans and small motors; model propellers are not listed in the standard."""


def permissible_unbalance(mass: float, speed: float, grade: float = DEFAULT_GRADE) -> float:
    """Give the permissible residual unbalance of a rotor, e_per omega = G.

    Parameters
    ----------
    mass : float
        Of the rotor in kg, above 0.
    speed : float
        In rad/s, above 0.
    grade : float
        Balance quality grade as a speed in m/s (G6.3 is 6.3e-3), above 0.

    Returns
    -------
    float
        In kg m.

    Raises
    ------
    InputError
        If one of the three is not above 0.

    Examples
    --------
    12 g at G6.3 and 5000 rpm, in g mm:

    >>> round(permissible_unbalance(0.012, 5000 * math.pi / 30) * 1e6, 4)
    0.1444
    """
    _check(mass=mass, speed=speed, grade=grade)
    return mass * grade / speed


def grade_of(unbalance: float, mass: float, speed: float) -> float:
    """Give the balance quality grade in m/s that an unbalance (kg m) amounts to; the inverse of the above."""
    _check(mass=mass, speed=speed)
    return unbalance / mass * speed


def centrifugal_force(unbalance: float, speed: float) -> float:
    """Give the force in N of an unbalance (kg m) at a speed (rad/s)."""
    return unbalance * speed**2


def _check(**above_zero: float) -> None:
    for name, value in above_zero.items():
        if not (math.isfinite(value) and value > 0):
            raise InputError(f"the {name} must be a number above 0, not {value:g}", todo=f"give the {name}")
