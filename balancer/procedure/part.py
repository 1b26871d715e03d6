"""The part on the bench, as the person declares it: what it is, what it weighs, where masses may go."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from balancer.core.grade import DEFAULT_GRADE, permissible_unbalance
from balancer.core.places import Places
from balancer.errors import InputError

Kind = Literal["propeller", "bell", "adapter"]
Hand = Literal["ccw", "cw"]


@dataclass(frozen=True)
class Part:
    """A part, or an assembly such as a propeller on its motor.

    Parameters
    ----------
    kind : {"propeller", "bell", "adapter"}
        What is balanced; a propeller stands on its motor, whose bell is balanced first.
    mass : float
        Of all that turns, in kg, above 0.
    places : Places
        Where masses may go.
    name : str
        As the person calls it.
    hand : {"ccw", "cw"}
        How it turns, seen from the front.
    grade : float
        Balance quality grade asked for in m/s; model propellers are not listed in ISO 21940-11, so this is
        the person's choice (6.3e-3 as for fans by default, 2.5e-3 for a camera build).

    Raises
    ------
    InputError
        If a size is not above 0, or the places are not those of such a part.
    """

    kind: Kind
    mass: float
    places: Places
    name: str = ""
    hand: Hand = "ccw"
    grade: float = DEFAULT_GRADE

    def __post_init__(self) -> None:
        for what, size in (("mass", self.mass), ("grade", self.grade)):
            if not 0 < size < math.inf:
                raise InputError(
                    f"the {what} of the part must be a number above 0", todo="weigh all that turns"
                )
        if (self.kind == "propeller") != bool(self.places.blades):
            raise InputError(
                "a propeller has blades, and nothing else has", todo="give the blades of a propeller only"
            )

    @property
    def only_angles(self) -> tuple[float, ...] | None:
        """The only angles in rad that a mass may go to, such as the blades'; None when all may."""
        places = self.places
        if any(not ring.slots for ring in places.rings):
            return None
        slots = [slot.angle for ring in places.rings for slot in ring.slots]
        spots = [angle for spots in places.spots for angle in spots.angles]
        return tuple(sorted({*(blade.angle for blade in places.blades), *slots, *spots}))

    def permissible(self, speed: float) -> float:
        """Give the permissible residual unbalance in kg m at a speed in rad/s (ISO 21940-11)."""
        return permissible_unbalance(self.mass, speed, self.grade)
