"""What the polar picture shows: vectors and limits, checked where they are made."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

from balancer.core.vectors import SDS_95, Covariance
from balancer.errors import InputError
from balancer.figures import svg
from balancer.figures.dial import Direction, shown_angle
from balancer.figures.palette import CIRCLES, ROLES, CircleRole, Role, Style


@dataclass(frozen=True)
class PolarPoint:
    """One vector of the polar picture.

    Parameters
    ----------
    label : str
        Its name; any text.
    value : complex
        In the unit of the picture, its angle against the rotation from the mark.
    covariance : Covariance or None
        Of `value`, in the square of that unit.
    role : str
        One of ``palette.ROLES``.

    Raises
    ------
    InputError
        If the value is not finite or the role is not known.
    """

    label: str
    value: complex
    covariance: Covariance | None = None
    role: Role = "other"

    def __post_init__(self) -> None:
        if not cmath.isfinite(self.value):
            raise InputError(
                f"the vector {self.label!r} is not a finite number", todo="measure this run again"
            )
        if self.role not in ROLES:
            raise InputError(f"a vector has the role {self.role!r}", todo="use " + ", ".join(ROLES))

    @property
    def style(self) -> Style:
        """How it is drawn."""
        return ROLES[self.role]

    @property
    def reach(self) -> float:
        """How far it and its ellipse can lie from the centre."""
        spread = self.covariance.axes()[0] if self.covariance else 0.0
        return abs(self.value) + SDS_95 * spread

    def reading(self, unit: str, direction: Direction) -> str:
        """Say amplitude and angle in words."""
        angle = shown_angle(math.degrees(cmath.phase(self.value)), direction)
        return f"{svg.significant(abs(self.value))} {unit}" + (f" at {angle}°" if self.value else "")


@dataclass(frozen=True)
class NamedCircle:
    """A limit drawn round the centre.

    Parameters
    ----------
    label : str
        What it means.
    radius : float
        In the unit of the picture, not negative.
    role : {"permissible", "noise"}
        How it is drawn.

    Raises
    ------
    InputError
        If the radius is no size or the role is not known.
    """

    label: str
    radius: float
    role: CircleRole = "permissible"

    def __post_init__(self) -> None:
        if not (math.isfinite(self.radius) and self.radius >= 0):
            raise InputError(
                f"the circle {self.label!r} has the radius {self.radius}", todo="give one of 0 or more"
            )
        if self.role not in CIRCLES:
            raise InputError(f"a circle has the role {self.role!r}", todo="use " + ", ".join(CIRCLES))

    def reading(self, unit: str) -> str:
        """Say the radius in words."""
        return f"{svg.significant(self.radius)} {unit}"
