"""Masses on a rotor as vectors: unbalance = mass times radius, at an angle against the rotation."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterable
from dataclasses import dataclass

from balancer.errors import InputError


@dataclass(frozen=True)
class Mass:
    """A mass fitted to the rotor (or removed from it).

    Parameters
    ----------
    mass : float
        In kg; negative means removed.
    radius : float
        Distance of its centre from the shaft in m, above 0.
    angle : float
        In rad from the mark, against the rotation.

    Raises
    ------
    InputError
        If a number is not finite or the radius is not above 0.
    """

    mass: float
    radius: float
    angle: float

    def __post_init__(self) -> None:
        if not all(math.isfinite(v) for v in (self.mass, self.radius, self.angle)):
            raise InputError("a mass, its radius and its angle must be finite numbers")
        if self.radius <= 0:
            raise InputError("the radius of a mass must be above 0", todo="give radius_mm")

    @classmethod
    def of_unbalance(cls, unbalance: complex, radius: float) -> Mass:
        """Give the (positive) mass that makes `unbalance` (kg m) at `radius` (m)."""
        return cls(abs(unbalance) / radius, radius, cmath.phase(unbalance))

    @property
    def unbalance(self) -> complex:
        """Mass times radius in kg m, with its direction."""
        return self.mass * self.radius * cmath.exp(1j * self.angle)

    def moved_to(self, radius: float) -> Mass:
        """Give the mass that makes the same unbalance at another radius (m)."""
        return Mass(self.mass * self.radius / radius, radius, self.angle)


def total_unbalance(masses: Iterable[Mass]) -> complex:
    """Add up masses.

    Parameters
    ----------
    masses : iterable of Mass
        Any number of them.

    Returns
    -------
    complex
        Their unbalance in kg m.
    """
    return sum((m.unbalance for m in masses), 0j)


def split(unbalance: complex, first: float, second: float) -> tuple[float, float]:
    """Split an unbalance into two at given angles.

    Parameters
    ----------
    unbalance : complex
        In any unit.
    first, second : float
        The two angles in rad.

    Returns
    -------
    tuple of float
        The parts in the unit of `unbalance`; a negative part means that the target lies outside the pair.

    Raises
    ------
    InputError
        If the two angles are the same or 180 degrees apart: no splitting then serves (W. C. Foiles,
        "Weight Splitting into More than Two Locations").
    """
    across = math.sin(second - first)
    if abs(across) < 1e-9:
        raise InputError(
            "two places at the same angle or 180 degrees apart cannot share an unbalance between them",
            todo="choose two other places",
        )
    size, angle = cmath.polar(unbalance)
    return size * math.sin(second - angle) / across, size * math.sin(angle - first) / across
