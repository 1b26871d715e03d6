"""Which propeller fits on which motor, and at which turn on the hub a pair leaves least."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from balancer.core.places import Places
from balancer.core.vectors import Floats, UncertainComplex
from balancer.errors import InputError

Hand = Literal["ccw", "cw"]

MOST_POSITIONS = 72


@dataclass(frozen=True)
class Hub:
    """How a propeller can be turned on a motor.

    Parameters
    ----------
    positions : int
        How many, evenly round the hub: 2 for a shaft with two flats or two screws, n for n screws; 0 where
        it can be clamped at any angle.
    first : float
        Angle in rad at which the propeller's mark stands in the first position, from the motor's mark against
        the rotation; 0 where one position brings mark over mark. It is the same for all propellers only if
        their marks lie alike to their holes, such as in line with the first blade.

    Raises
    ------
    InputError
        If the number of positions is none.
    """

    positions: int = 0
    first: float = 0.0

    def __post_init__(self) -> None:
        if not 0 <= self.positions <= MOST_POSITIONS or not math.isfinite(self.first):
            raise InputError(
                f"a propeller can sit in 1 to {MOST_POSITIONS} positions on a hub, or at any angle",
                todo="count the holes, or give 0 for any angle",
            )

    @property
    def angles(self) -> Floats:
        """The allowed angles in rad; empty where every angle is."""
        return self.first + math.tau * np.arange(self.positions) / max(self.positions, 1)


@dataclass(frozen=True)
class Motor:
    """A motor on its arm.

    Parameters
    ----------
    name : str
        As the person calls it, such as ``arm 3``; no two alike.
    bell : UncertainComplex
        Own unbalance of the bell in kg m, in the frame of its mark.
    hand : {"ccw", "cw"}
        How it turns, seen from the front.
    mass : float
        Of the bell in kg, above 0.
    speed : float
        At which it turns in hover, in rad/s, above 0.
    hub : Hub
        How a propeller can be turned on it.
    takes : str
        Type of propeller that belongs there, such as ``12x4.5``; empty: any.
    places : Places, optional
        Where masses may go on the bell, in the frame of its mark; it has no blades.

    Raises
    ------
    InputError
        If mass or speed are not above 0.
    """

    name: str
    bell: UncertainComplex
    hand: Hand
    mass: float
    speed: float
    hub: Hub = Hub()
    takes: str = ""
    places: Places | None = None

    def __post_init__(self) -> None:
        _check(self.name, self.bell, mass=self.mass, speed=self.speed)


@dataclass(frozen=True)
class Propeller:
    """A propeller, on the machine or spare.

    Parameters
    ----------
    name : str
        As its label says; no two alike.
    own : UncertainComplex
        Its own unbalance in kg m, in the frame of its own mark.
    hand : {"ccw", "cw"}
        For which rotation it is made, seen from the front.
    mass : float
        In kg, above 0.
    type : str
        Such as ``12x4.5``; empty: any.
    hub : Hub, optional
        How it can be turned on a motor where that is not the motor's own hub: the fewer of two sets of holes
        never limit it, but a hub at any angle needs both.
    places : Places, optional
        Where masses may go on it, in the frame of its own mark.

    Raises
    ------
    InputError
        If the mass is not above 0.
    """

    name: str
    own: UncertainComplex
    hand: Hand
    mass: float
    type: str = ""
    hub: Hub | None = None
    places: Places | None = None

    def __post_init__(self) -> None:
        _check(self.name, self.own, mass=self.mass)


@dataclass(frozen=True)
class Fitted:
    """What is on the machine now: a propeller on a motor.

    Parameters
    ----------
    motor, propeller : str
        Their names.
    angle : float
        At which the propeller's mark stands, in rad from the motor's mark against the rotation.
    """

    motor: str
    propeller: str
    angle: float = 0.0


def hub_of(motor: Motor, propeller: Propeller) -> Hub | None:
    """Say how a propeller can be turned on a motor.

    Parameters
    ----------
    motor : Motor
        The motor.
    propeller : Propeller
        The propeller.

    Returns
    -------
    Hub or None
        None if it does not belong there: the other hand, another type, or holes that do not meet. Of two
        sets of holes one must hold a whole multiple of the other, and the larger gives the positions.
    """
    if motor.hand != propeller.hand or (motor.takes and propeller.type and motor.takes != propeller.type):
        return None
    if propeller.hub is None:
        return motor.hub
    fewer, more = sorted((motor.hub, propeller.hub), key=lambda hub: hub.positions)
    if fewer.positions == 0:
        return motor.hub if more.positions == 0 else None
    return Hub(more.positions, motor.hub.first) if more.positions % fewer.positions == 0 else None


def best_angle(bell: complex, propeller: complex, hub: Hub) -> float:
    """Give the angle at which |bell + propeller exp(j angle)| is least.

    Parameters
    ----------
    bell, propeller : complex
        Own unbalances in kg m, each in its own frame.
    hub : Hub
        The allowed angles.

    Returns
    -------
    float
        In rad, 0 to 2 pi. At any angle the heavy spots go opposite, which leaves ||bell| - |propeller||; of
        positions that are alike the first.
    """
    if hub.positions == 0:
        return (cmath.phase(bell) - cmath.phase(propeller) + math.pi) % math.tau
    angles = hub.angles
    left = np.abs(bell + propeller * np.exp(1j * angles))
    # rounding must not choose between positions that are alike, as all are where one part has no unbalance
    alike = left <= left.min() + 1e-12 * (abs(bell) + abs(propeller))
    return float(angles[int(np.argmax(alike))]) % math.tau


def together(motor: Motor, propeller: Propeller, angle: float) -> UncertainComplex:
    """Give the unbalance in kg m of a propeller on a motor, in the frame of the motor's mark.

    Parameters
    ----------
    motor : Motor
        The motor.
    propeller : Propeller
        The propeller.
    angle : float
        At which the propeller's mark stands, in rad.

    Returns
    -------
    UncertainComplex
        Bell and propeller, whose errors are independent.
    """
    turned = propeller.own.times(cmath.exp(1j * angle))
    return UncertainComplex(motor.bell.value + turned.value, motor.bell.covariance.plus(turned.covariance))


def _check(name: str, vector: UncertainComplex, **above_zero: float) -> None:
    if not cmath.isfinite(vector.value):
        raise InputError(f"the unbalance of {name} is not a finite number", todo="measure it again")
    for what, value in above_zero.items():
        if not (math.isfinite(value) and value > 0):
            raise InputError(f"the {what} of {name} must be a number above 0", todo=f"give the {what}")
