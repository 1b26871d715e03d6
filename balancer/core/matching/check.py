"""What a machine's list of motors, propellers and fitted pairs may have wrong, told in one sentence."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np
from scipy.optimize import linear_sum_assignment

from balancer.core.matching.hub import Fitted, Motor, Propeller
from balancer.core.vectors import Floats
from balancer.errors import InputError

_TURNS = {"ccw": "counter-clockwise", "cw": "clockwise"}


def check_lists(motors: Sequence[Motor], propellers: Sequence[Propeller], fitted: Sequence[Fitted]) -> None:
    """Refuse names that do not tell parts apart, and pairs that cannot be.

    Parameters
    ----------
    motors, propellers, fitted
        As in `match`.

    Raises
    ------
    InputError
        If there is no motor, a name is there twice or unknown, or a propeller of the wrong hand is fitted.
    """
    if not motors:
        raise InputError("there is no motor to find a propeller for", todo="name the machine's motors")
    _once("motors are called", [motor.name for motor in motors])
    _once("propellers are called", [propeller.name for propeller in propellers])
    _once("propellers are said to be on", [one.motor for one in fitted])
    _once("motors are said to carry", [one.propeller for one in fitted])
    by_name = {motor.name: motor for motor in motors}
    props = {propeller.name: propeller for propeller in propellers}
    unknown = [one.motor for one in fitted if one.motor not in by_name]
    unknown += [one.propeller for one in fitted if one.propeller not in props]
    if unknown:
        raise InputError(
            f"fitted parts that are not among motors and propellers: {_listed(unknown)}",
            todo="add them, with their unbalance",
        )
    for one in fitted:
        hand, made = by_name[one.motor].hand, props[one.propeller].hand
        if hand != made:
            raise InputError(
                f"{one.propeller} is made to turn {_TURNS[made]}, but {one.motor} turns {_TURNS[hand]}",
                todo="correct the hand of one of them",
            )


def check_served(motors: Sequence[Motor], propellers: Sequence[Propeller], costs: Floats) -> None:
    """Refuse a machine on which some motor stays without a propeller.

    Parameters
    ----------
    motors, propellers
        As in `match`.
    costs : numpy.ndarray of float
        Shape (motors, propellers); inf where they do not go together.

    Raises
    ------
    InputError
        Naming what is missing.
    """
    short = []
    for hand, turns in _TURNS.items():
        wanted = sum(motor.hand == hand for motor in motors)
        there = sum(propeller.hand == hand for propeller in propellers)
        if there < wanted:
            short.append(f"{wanted} to turn {turns}, but there are {there}")
    if short:
        raise InputError(
            f"the machine needs propellers: {' and '.join(short)}",
            todo="add propellers, or correct the hands",
        )
    barred = ~np.isfinite(costs)
    rows, columns = linear_sum_assignment(barred)
    without = [motors[row].name for row, column in zip(rows, columns, strict=True) if barred[row, column]]
    if without:
        raise InputError(
            f"no propeller of the right hand, type and holes is left for {_listed(without)}",
            todo="check types and hub positions, or add propellers",
        )


def _once(what: str, names: Iterable[str]) -> None:
    twice = [name for name, count in Counter(names).items() if count > 1]
    if twice:
        raise InputError(f"several {what} {_listed(twice)}", todo="list each of them once")


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names)
