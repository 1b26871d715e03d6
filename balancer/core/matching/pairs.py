"""Every pair of motor and propeller with its best turn on the hub and what it costs."""

from __future__ import annotations

import cmath
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from balancer.core.grade import centrifugal_force, grade_of
from balancer.core.matching.hub import Fitted, Motor, Propeller, best_angle, hub_of, together
from balancer.core.matching.taping import Taping, best_angle_for_tape, tape_pair
from balancer.core.pieces import Placement
from balancer.core.vectors import Floats

Measure = Literal["force", "unbalance", "grade"]

_MORE = 2  # propellers tried with tape beyond as many as there are motors
_TAPED = 0.01  # of what tape has to carry comes back as error: whole steps, hands


@dataclass(frozen=True, eq=False)
class Seat:
    """A propeller on a motor at an angle.

    Parameters
    ----------
    propeller : int
        Its index.
    angle : float
        In rad.
    left : complex
        Unbalance in kg m in the motor's frame, after tape if any.
    placement : Placement or None
        The tape.
    """

    propeller: int
    angle: float
    left: complex
    placement: Placement | None = None


@dataclass(frozen=True, eq=False)
class Pairs:
    """All pairs.

    Parameters
    ----------
    seats : mapping of (int, int) to Seat
        The best for each motor and propeller that go together.
    costs : numpy.ndarray of float
        Shape (motors, propellers); inf where they do not go together.
    fitted : tuple of (Seat or None)
        What is on each motor now.
    fitted_costs : tuple of float
        What that costs; inf where it is not known.
    """

    seats: Mapping[tuple[int, int], Seat]
    costs: Floats
    fitted: tuple[Seat | None, ...]
    fitted_costs: tuple[float, ...]


def factor(motor: Motor, propeller: Propeller, measure: Measure) -> float:
    """Give the cost of a unit of unbalance (kg m) on a pair: in N, in kg m, or in m/s of grade.

    Parameters
    ----------
    motor : Motor
        The motor.
    propeller : Propeller
        The propeller.
    measure : {"force", "unbalance", "grade"}
        In what.

    Returns
    -------
    float
        The factor.
    """
    if measure == "force":
        return centrifugal_force(1.0, motor.speed)
    return 1.0 if measure == "unbalance" else grade_of(1.0, motor.mass + propeller.mass, motor.speed)


def all_pairs(
    motors: Sequence[Motor],
    propellers: Sequence[Propeller],
    fitted: Sequence[Fitted],
    measure: Measure,
    taping: Taping | None,
) -> Pairs:
    """Put every propeller on every motor.

    Parameters
    ----------
    motors, propellers, fitted, measure, taping
        As in `match`.

    Returns
    -------
    Pairs
        With each pair at its best turn.
    """
    seats = _taped(motors, propellers, taping) if taping else _untaped(motors, propellers)
    costs = np.full((len(motors), len(propellers)), np.inf)
    for (row, column), seat in seats.items():
        costs[row, column] = factor(motors[row], propellers[column], measure) * abs(seat.left)
    number = {propeller.name: index for index, propeller in enumerate(propellers)}
    by_motor = {one.motor: one for one in fitted if one.propeller in number}
    now = [
        _seat(motor, propellers, number[by_motor[motor.name].propeller], by_motor[motor.name].angle, taping)
        if motor.name in by_motor
        else None
        for motor in motors
    ]
    fitted_costs = [
        np.inf if seat is None else factor(motor, propellers[seat.propeller], measure) * abs(seat.left)
        for motor, seat in zip(motors, now, strict=True)
    ]
    return Pairs(seats, costs, tuple(now), tuple(fitted_costs))


def _seat(
    motor: Motor, propellers: Sequence[Propeller], column: int, angle: float, taping: Taping | None
) -> Seat:
    bare = together(motor, propellers[column], angle).value
    if taping is None:
        return Seat(column, angle, bare)
    placement = tape_pair(motor, propellers[column], angle, taping)
    # a placement's left is what would still have to be added, in the propeller's frame
    return Seat(column, angle, -placement.left * cmath.exp(1j * angle), placement)


def _untaped(motors: Sequence[Motor], propellers: Sequence[Propeller]) -> dict[tuple[int, int], Seat]:
    seats = {}
    for row, motor in enumerate(motors):
        for column, propeller in enumerate(propellers):
            hub = hub_of(motor, propeller)
            if hub is not None:
                angle = best_angle(motor.bell.value, propeller.own.value, hub)
                seats[row, column] = _seat(motor, propellers, column, angle, None)
    return seats


def _taped(
    motors: Sequence[Motor], propellers: Sequence[Propeller], taping: Taping
) -> dict[tuple[int, int], Seat]:
    seats = {}
    for row, motor in enumerate(motors):
        promising = []
        for column, propeller in enumerate(propellers):
            hub = hub_of(motor, propeller)
            if hub is not None:
                angle, least = best_angle_for_tape(motor, propeller, hub, taping.stock)
                bare = abs(together(motor, propeller, angle).value)
                promising.append((least + _TAPED * bare, column, angle))
        # the other motors can take no more of the best than there are of them
        for _, column, angle in sorted(promising)[: len(motors) + _MORE]:
            seats[row, column] = _seat(motor, propellers, column, angle, taping)
    return seats
