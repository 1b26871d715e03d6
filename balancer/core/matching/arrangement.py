"""The arrangements of a machine: what each leaves, gains and asks of the hands."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from balancer.core.grade import centrifugal_force, grade_of
from balancer.core.matching.assignment import Goal
from balancer.core.matching.check import check_lists, check_served
from balancer.core.matching.front import Arrangement, front
from balancer.core.matching.gain import Gain, draws, gain
from balancer.core.matching.hub import Fitted, Motor, Propeller, together
from balancer.core.matching.pairs import Measure, Pairs, Seat, all_pairs, factor
from balancer.core.matching.taping import Taping
from balancer.core.pieces import Placement, cutting_error
from balancer.core.vectors import Complexes, Covariance, Floats, UncertainComplex
from balancer.findings import Finding

WORTH = 0.05
"""Share of what the machine has now below which no more hands are laid on it (no source)."""

_SAME_ANGLE = 1e-6  # rad

Move = Literal["stays", "turn", "fit"]


@dataclass(frozen=True)
class Pairing:
    """A propeller on a motor.

    Parameters
    ----------
    motor, propeller : Motor, Propeller
        The two.
    angle : float
        At which the propeller's mark stands, in rad from the motor's mark against the rotation.
    left : UncertainComplex
        Unbalance in kg m in the frame of the motor's mark; after taping where that was asked for.
    move : {"stays", "turn", "fit"}
        What there is to do: nothing, turn the propeller on its hub, or fit it to this motor.
    placement : Placement, optional
        The pieces, in the frame of the propeller's mark.
    """

    motor: Motor
    propeller: Propeller
    angle: float
    left: UncertainComplex
    move: Move
    placement: Placement | None = None

    @property
    def grade(self) -> float:
        """Balance quality grade in m/s of what is left, at the motor's speed in hover."""
        return grade_of(self.left.amplitude, self.motor.mass + self.propeller.mass, self.motor.speed)

    @property
    def force(self) -> float:
        """Force in N of what is left, at the motor's speed in hover."""
        return centrifugal_force(self.left.amplitude, self.motor.speed)


@dataclass(frozen=True)
class Match:
    """An arrangement of the whole machine.

    Parameters
    ----------
    goal : {"worst", "sum"}
        What was made least.
    measure : {"force", "unbalance", "grade"}
        In what: N, kg m or m/s.
    pairings : tuple of Pairing
        One for each motor, in the order given.
    spares : tuple of Pairing
        What is left over, each on the motor where it would leave least: for the day when a blade breaks.
        A propeller that fits nowhere is not among them.
    worst, total : float
        Cost of the worst arm and of all arms together, as measured.
    gain : Gain or None
        Over what is fitted now; None when that is not known for every motor.
    forgone : Gain
        What the best arrangement of all would gain over this one.
    findings : tuple of Finding
        What to say about it.
    """

    goal: Goal
    measure: Measure
    pairings: tuple[Pairing, ...]
    spares: tuple[Pairing, ...]
    worst: float
    total: float
    gain: Gain | None
    forgone: Gain
    findings: tuple[Finding, ...] = ()

    @property
    def moves(self) -> int:
        """How many motors a hand has to go to."""
        return sum(pairing.move != "stays" for pairing in self.pairings)


def match(
    motors: Sequence[Motor],
    propellers: Sequence[Propeller],
    fitted: Sequence[Fitted] = (),
    *,
    goal: Goal = "worst",
    measure: Measure = "force",
    taping: Taping | None = None,
    mounting: float = 0.0,
) -> tuple[Match, ...]:
    """Find the arrangements that leave least, for each number of motors touched.

    Parameters
    ----------
    motors : sequence of Motor
        All of the machine, at least one.
    propellers : sequence of Propeller
        All that may be used, those on the machine and spares; not fewer than motors.
    fitted : sequence of Fitted, optional
        What is on the machine now.
    goal : {"worst", "sum"}, optional
        Make the worst arm as good as can be, and among all such arrangements the sum least; or the sum.
    measure : {"force", "unbalance", "grade"}, optional
        In what the arms are compared: the force in hover, which is what shakes the camera; the bare
        unbalance; or the balance quality grade, which asks less of light rotors.
    taping : Taping, optional
        Compare what is left after the best tape on each pair. Every pair takes a search of some 20 ms, so
        each motor is tried with those propellers only for which pieces of any size would leave least.
    mounting : float, optional
        How differently a propeller sits each time it is fitted: standard deviation in kg m of each component
        (`indexing.Parts.scatter`). It makes the gain less sure.

    Returns
    -------
    tuple of Match
        Fewest motors touched first; each is better than the one before it, the last the best of all. The
        first is what is fitted now, if that is known for every motor. Beyond 12 motors, only the smallest
        and the largest numbers of moves are searched.

    Raises
    ------
    InputError
        If the lists contradict themselves, or there are too few propellers of a hand or a type.
    """
    check_lists(motors, propellers, fitted)
    pairs = all_pairs(motors, propellers, fitted, measure, taping)
    check_served(motors, propellers, pairs.costs)
    machine = _Machine(tuple(motors), tuple(propellers), pairs, goal, measure, mounting)
    arrangements = front(pairs, goal)
    costs = machine.drawn_costs(arrangements)
    known = all(seat is not None for seat in pairs.fitted)
    return tuple(
        machine.match(seats, gain(costs[0], cost) if known else None, gain(cost, costs[-1]))
        for seats, cost in zip(arrangements, costs, strict=True)
    )


def choose(matches: Sequence[Match], grade: float | None = None, worth: float = WORTH) -> Match:
    """Choose the arrangement to recommend.

    Parameters
    ----------
    matches : sequence of Match
        From `match`, not empty.
    grade : float, optional
        Balance quality grade in m/s that is good enough for every arm.
    worth : float, optional
        Share of what the first one leaves that is worth touching more motors.

    Returns
    -------
    Match
        The one with fewest moves in which every arm is within the grade; else the one with fewest moves that
        forgoes no gain both larger than its uncertainty and worth it.
    """
    enough = 0.0 if grade is None else grade
    good = [one for one in matches if all(pairing.grade <= enough for pairing in one.pairings)]
    if good:
        return good[0]
    least = worth * matches[0].forgone.before
    return next(one for one in matches if not one.forgone.sure or one.forgone.expected < least)


@dataclass(frozen=True, eq=False)
class _Machine:
    """What all arrangements have in common."""

    motors: tuple[Motor, ...]
    propellers: tuple[Propeller, ...]
    pairs: Pairs
    goal: Goal
    measure: Measure
    mounting: float

    def match(self, seats: Arrangement, gained: Gain | None, forgone: Gain) -> Match:
        pairings = tuple(self._pairing(row, seat) for row, seat in enumerate(seats))
        costs = [factor(one.motor, one.propeller, self.measure) * one.left.amplitude for one in pairings]
        moves = sum(one.move != "stays" for one in pairings)
        return Match(
            goal=self.goal,
            measure=self.measure,
            pairings=pairings,
            spares=self._spares({seat.propeller for seat in seats}),
            worst=max(costs),
            total=sum(costs),
            gain=gained,
            forgone=forgone,
            findings=_findings(moves, gained, forgone),
        )

    def _pairing(self, row: int, seat: Seat) -> Pairing:
        motor, propeller, now = self.motors[row], self.propellers[seat.propeller], self.pairs.fitted[row]
        covariance = together(motor, propeller, seat.angle).covariance
        left = UncertainComplex(seat.left, covariance.plus(Covariance.circular(self._hands(seat) ** 2)))
        return Pairing(motor, propeller, seat.angle, left, _move(seat, now), seat.placement)

    def _spares(self, used: set[int]) -> tuple[Pairing, ...]:
        costs = self.pairs.costs
        best = [
            (int(costs[:, column].argmin()), column)
            for column in range(len(self.propellers))
            if column not in used and np.isfinite(costs[:, column]).any()
        ]
        return tuple(replace(self._pairing(row, self.pairs.seats[row, c]), move="fit") for row, c in best)

    def _hands(self, seat: Seat) -> float:
        """Give the standard deviation of each component that mounting and cutting add."""
        cut = 0.0 if seat.placement is None else cutting_error(seat.placement)
        return math.hypot(self.mounting, cut / math.sqrt(2))

    def drawn_costs(self, arrangements: Sequence[Arrangement]) -> list[Floats]:
        """Give the goal's cost of each arrangement over the same draws of the true vectors."""
        rng = np.random.default_rng(0)  # the same question gets the same answer
        bells = draws([motor.bell for motor in self.motors], rng)
        props = draws([propeller.own for propeller in self.propellers], rng)
        # what stays keeps the seat that it has, what is fitted anew gets another
        errors = rng.standard_normal((2, *bells.shape, 2)) @ np.array([1, 1j])
        worst = self.goal == "worst"
        found = []
        for seats in arrangements:
            costs = np.column_stack(
                [self._drawn(row, seat, bells, props, errors) for row, seat in enumerate(seats)]
            )
            found.append(costs.max(axis=1) if worst else costs.sum(axis=1))
        return found

    def _drawn(self, row: int, seat: Seat, bells: Complexes, props: Complexes, errors: Complexes) -> Floats:
        motor, propeller = self.motors[row], self.propellers[seat.propeller]
        anew = int(_move(seat, self.pairs.fitted[row]) != "stays")
        bell = bells[:, row] + self._hands(seat) * errors[anew, :, row]
        taped = seat.left - together(motor, propeller, seat.angle).value
        left = bell + props[:, seat.propeller] * cmath.exp(1j * seat.angle) + taped
        return np.asarray(factor(motor, propeller, self.measure) * np.abs(left), float)


def _move(seat: Seat, now: Seat | None) -> Move:
    if now is None or now.propeller != seat.propeller:
        return "fit"
    return "stays" if abs(math.remainder(seat.angle - now.angle, math.tau)) < _SAME_ANGLE else "turn"


def _findings(moves: int, gained: Gain | None, forgone: Gain) -> tuple[Finding, ...]:
    if gained is None:
        return ()
    told = gained if moves else forgone
    share, lower, upper = (
        100 * value / (told.before or 1.0) for value in (told.expected, told.lower, told.upper)
    )
    if moves == 0 and forgone.sure:
        return (Finding.of("match_would_gain", "info", gain_percent=share, lower_percent=lower),)
    if moves == 0:
        return (Finding.of("match_leave_as_is", "info", gain_percent=share, upper_percent=upper),)
    if gained.sure:
        return (Finding.of("match_gains", "info", gain_percent=share, lower_percent=lower),)
    return (
        Finding.of(
            "match_gain_unsure", "warning", gain_percent=share, lower_percent=lower, upper_percent=upper
        ),
    )
