"""The rotor on the bench: motor bell and propeller with their unbalance apart."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from typing import Literal

from balancer.simulator.checks import check

Hand = Literal["cw", "ccw"]


@dataclass(frozen=True)
class Rotor:
    """A motor bell with a propeller on it.

    Angles count from the mark, which is on the bell, against the rotation; so `hand` changes no rotor angle,
    only where on the stand a given spot is (see `stand`).

    Parameters
    ----------
    bell : complex
        Unbalance of the bell in kg m.
    propeller : complex, optional
        Unbalance of the propeller in kg m, in the propeller's own frame.
    index : float, optional
        Angle in rad, against the rotation, by which the propeller's frame is turned on the hub.
    bell_mass, propeller_mass : float, optional
        In kg; a bare bell has a propeller mass of 0.
    blades : int, optional
        Number of blades, 0 for a bare bell.
    magnets : int, optional
        Number of magnets in the bell: even, as every pole pair has two.
    hand : {"cw", "ccw"}, optional
        Direction of rotation seen from the front.
    magnet_pull : complex, optional
        Force in N that turns with the rotor while the motor is under power: a bell that is not centred on
        the stator is pulled to the side of the smaller air gap.

    Raises
    ------
    InputError
        If a number is not finite or a mass or count is impossible.
    """

    bell: complex
    propeller: complex = 0j
    index: float = 0.0
    bell_mass: float = 0.025
    propeller_mass: float = 0.0
    blades: int = 0
    magnets: int = 14
    hand: Hand = "ccw"
    magnet_pull: complex = 0j

    def __post_init__(self) -> None:
        check(
            "rotor",
            (all(cmath.isfinite(v) for v in (self.bell, self.propeller)), "the unbalances must be finite"),
            (cmath.isfinite(self.magnet_pull), "magnet_pull must be finite"),
            (math.isfinite(self.index), "index must be finite"),
            (0 < self.bell_mass < math.inf, "bell_mass must be above 0"),
            (0 <= self.propeller_mass < math.inf, "propeller_mass must not be negative"),
            (self.blades >= 0, "blades must not be negative"),
            (self.magnets >= 2 and self.magnets % 2 == 0, "magnets must be even and 2 or more"),
            (self.hand in {"cw", "ccw"}, "hand must be cw or ccw"),
        )

    @property
    def unbalance(self) -> complex:
        """Unbalance of both parts together in kg m, in the frame of the mark."""
        return self.bell + self.propeller * cmath.exp(1j * self.index)

    @property
    def mass(self) -> float:
        """Mass of both parts in kg."""
        return self.bell_mass + self.propeller_mass

    @property
    def sense(self) -> int:
        """1 when it turns counter-clockwise seen from the front, else -1."""
        return 1 if self.hand == "ccw" else -1
